"""How each lane is drawn: colours, pens and tints of its series, its fairway, its height."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from ui.curves import Axis
from ui.strip import PENS, Look, Row
from ui.theme import Theme

if TYPE_CHECKING:
    from meter.lanes import Lane
    from meter.targets import Target

PAD_PX: Final = 2.0

_WEIGHTS: Final = {
    "loudness": 1.8,
    "time_over": 2.0,
    "room": 1.8,
    "ear": 2.0,
    "ear_used": 1.3,
    "peak": 1.3,
    "mono": 1.2,
    "sub": 1.4,
    "kick": 1.2,
    "club": 1.3,
}

_FILLED_FROM: Final = {"loudness": "lowest", "time_over": "lowest", "mono": "highest"}
"""From which end of its axis the main line of a lane is tinted: loudness stands on the ground, what
is lost hangs from the surface."""

THIN: Final = ("true_peak_dbtp",)
"""Series that change from slot to slot: thick, they would be a wall."""


def weight_of(lane: Lane) -> float:
    """How high a lane is against the others."""
    return _WEIGHTS.get(lane.key, 1.0)


def look_of(lane: Lane, target: Target | None, theme: Theme, *, rows: int, device_ratio: float) -> Look:
    """The look of a lane whose plot is `rows` device pixels high."""
    lines = [series for series in lane.series if series.role != "marks"]
    end = _FILLED_FROM.get(lane.key)
    found = tuple(
        Row(
            key=series.key,
            colour=theme.series[number % len(theme.series)],
            pen=PENS[1 if series.key in THIN else number % len(PENS)],
            fill_to=getattr(lane, end) if end and number == 0 else None,
        )
        for number, series in enumerate(lines)
    )
    limit = lane.band(target)
    return Look(
        theme=theme,
        axis=Axis(lowest=lane.lowest, highest=lane.highest, rows=rows, pad=PAD_PX * device_ratio),
        device_ratio=device_ratio,
        rows=found,
        ticks=tuple(lane.ticks),
        fairway=lane.wanted
        if limit is None
        else (
            -math.inf if limit.min is None else limit.min,
            math.inf if limit.max is None else limit.max,
        ),
        over_key=next((series.key for series in lane.series if series.role == "marks"), None),
    )


def band_text(lane: Lane, target: Target | None, *, is_narrow: bool = False) -> str:
    """What the fairway says: whose it is, where there is room, and from where to where."""
    if lane.wanted_text:
        return lane.wanted_text
    limit = lane.band(target)
    if limit is None or target is None:
        return ""
    decimals = 2 if lane.unit == "r" else 1
    unit = "" if lane.unit == "r" else f" {lane.unit}"
    title = "" if is_narrow else f"{target.title}: "
    return f"{title}{limit.text(decimals).replace('-', '−')}{unit}"
