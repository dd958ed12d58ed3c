"""The lanes: which question each asks, what it draws, and the flags that tell its reading now."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from meter.music_sentences import LOUDNESS_KEYS, band_text, short_term_ceiling_lufs
from meter.now import Now
from meter.soundings import Reading
from meter.targets import MEASURES, SHORT_TERM_KEY, Limit, Target, value_text
from meter.units import amplitude_to_db

NOT_KNOWN: Final = "--"
BELOW: Final = "fold_loss_db.below_crossover"


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneSeries:
    """One line of a lane.

    Attributes
    ----------
    key : str
        Of `meter.timeline.KEYS`.
    label : str
    role : str
        "main": the line that the flag rides on; "beside": thinner; "marks": a mark at each slot
        that is not 0.
    """

    key: str
    label: str
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One strip of the window.

    Attributes
    ----------
    key, question, unit : str
    lowest, highest : float
        Of its axis; what lies outside is drawn at the edge.
    ticks : tuple of float
    series : tuple of LaneSeries
        The main one first.
    """

    key: str
    question: str
    unit: str
    lowest: float
    highest: float
    ticks: tuple[float, ...]
    series: tuple[LaneSeries, ...]

    def band(self, target: Target | None) -> Limit | None:
        """What of the lane a target allows; None without one, or where it says nothing."""
        limits = {} if target is None else target.limits_for(live=True)
        keys = _BAND_KEYS[self.key]
        return next((limits[key] for key in keys if key in limits), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A reading as it rides on its line.

    Attributes
    ----------
    key : str
        Of the series at whose tip it rides; of no series ("loudest_30s_lufs", ...) when it tells of
        the whole pass.
    name, value_text, unit : str
        "S", "-8.3", "LUFS". A value that is not known is "--".
    glyph, word : str
        The verdict; both empty when there is none.
    """

    key: str
    name: str
    value_text: str
    unit: str
    glyph: str = ""
    word: str = ""

    @property
    def text(self) -> str:
        """All of it in one line."""
        parts = (self.name, self.value_text, self.unit, self.glyph, self.word)
        return " ".join(part for part in parts if part)


_BAND_KEYS: Final = {
    "loudness": LOUDNESS_KEYS,
    "peak": ("true_peak_dbtp",),
    "sides": ("correlation",),
    "mono": (BELOW,),
}

LANES: Final = (
    Lane(
        key="loudness",
        question="How loud?",
        unit="LUFS",
        lowest=-24.0,
        highest=0.0,
        ticks=(-24.0, -18.0, -12.0, -6.0, 0.0),
        series=(
            LaneSeries(key="short_term_lufs", label="S short-term", role="main"),
            LaneSeries(key="momentary_lufs", label="M momentary", role="beside"),
        ),
    ),
    Lane(
        key="peak",
        question="Any overs?",
        unit="dBTP",
        lowest=-18.0,
        highest=3.0,
        ticks=(-18.0, -12.0, -6.0, 0.0, 3.0),
        series=(
            LaneSeries(key="true_peak_dbtp", label="true peak", role="main"),
            LaneSeries(key="overs", label="overs", role="marks"),
        ),
    ),
    Lane(
        key="sides",
        question="Left and right?",
        unit="r",
        lowest=-1.0,
        highest=1.0,
        ticks=(-1.0, -0.5, 0.0, 0.5, 1.0),
        series=(LaneSeries(key="correlation", label="correlation, 3 s", role="main"),),
    ),
    Lane(
        key="mono",
        question="Lost in mono?",
        unit="dB",
        lowest=-12.0,
        highest=0.0,
        ticks=(-12.0, -9.0, -6.0, -3.0, 0.0),
        series=(
            LaneSeries(key="fold_below_crossover", label="below the crossover", role="main"),
            LaneSeries(key="fold_20-60", label="20 to 60 Hz", role="beside"),
            LaneSeries(key="fold_60-120", label="60 to 120 Hz", role="beside"),
            LaneSeries(key="fold_120-250", label="120 to 250 Hz", role="beside"),
        ),
    ),
)
"""The lanes of the arrangement Master, from the top."""

_ROOM_LU: Final = 12.0
"""Seen below the lower edge of a target: breakdowns lie about that far under drops."""

_STEP_LU: Final = 6.0


def lanes_for(target: Target | None) -> tuple[Lane, ...]:
    """The lanes, with the axis of loudness reaching down far enough to see the target and below it."""
    return tuple(_reaching(lane, target) if lane.key == "loudness" else lane for lane in LANES)


def _reaching(lane: Lane, target: Target | None) -> Lane:
    band = lane.band(target)
    edge_lufs = None if band is None else band.max if band.min is None else band.min
    if edge_lufs is None:
        return lane
    steps = min(math.floor((edge_lufs - _ROOM_LU) / _STEP_LU), round(lane.lowest / _STEP_LU))
    ticks = tuple(step * _STEP_LU for step in range(steps, 1))
    return replace(lane, lowest=ticks[0], ticks=ticks)


def flags(now: Now, lane: Lane) -> tuple[Flag, ...]:
    """What rides on a lane now; the first is that of its main line.

    Values are those that the text of `listen` shows. A value of the moment is not known while nothing
    is heard; verdicts are those of `now`, which has none while they are withheld.
    """
    return tuple(_FLAGS[lane.key](now))


def _of_loudness(now: Now) -> Iterator[Flag]:
    yield _flag(now, SHORT_TERM_KEY, "S", "LUFS")
    limits = {} if now.target is None else now.target.limits_for(live=True)
    key = next((key for key in LOUDNESS_KEYS if key in limits), "loudest_30s_lufs")
    yield _flag(now, key, _LOUDNESS_NAMES[key], "LUFS")


_LOUDNESS_NAMES: Final = {
    "loudest_30s_lufs": "loudest 30 s",
    "integrated_lufs": "I",
    "short_term_max_lufs": "highest S",
    "momentary_max_lufs": "highest M",
}


def _of_peak(now: Now) -> Iterator[Flag]:
    recent = NOT_KNOWN
    if now.is_heard and len(now.recent):
        recent = value_text(amplitude_to_db(float(now.recent["true_peak"].max())), plus=True)
    yield Flag(key="true_peak_dbtp", name="peak, 3 s", value_text=recent, unit="dBTP")
    yield _flag(now, "true_peak_dbtp", "highest", "dBTP", key_shown="true_peak_max_dbtp", plus=True)
    if now.reading is not None and now.reading.overs:
        count = now.reading.overs
        yield Flag(key="overs", name="", value_text=str(count), unit="over" if count == 1 else "overs")


def _of_sides(now: Now) -> Iterator[Flag]:
    if now.channels == 1:
        yield Flag(key="correlation", name="one channel", value_text="", unit="")
    else:
        yield _flag(now, "correlation", "r", "")


def _of_mono(now: Now) -> Iterator[Flag]:
    if now.channels == 1:
        yield Flag(key="fold_below_crossover", name="nothing", value_text="", unit="")
    else:
        name = band_text("below_crossover", now.crossover_hz)
        yield _flag(now, BELOW, name, "dB", key_shown="fold_below_crossover")


_FLAGS: Final = {"loudness": _of_loudness, "peak": _of_peak, "sides": _of_sides, "mono": _of_mono}


# --- values

_PASSING: Final = (SHORT_TERM_KEY, "correlation", BELOW)
"""True of this moment only: not known when nothing is heard."""


def _flag(
    now: Now, key: str, name: str, unit: str, *, key_shown: str | None = None, plus: bool = False
) -> Flag:
    value = None if now.reading is None else _number(now.reading, key)
    if value is None or (key in _PASSING and not now.is_heard):
        shown = NOT_KNOWN
    else:
        decimals = MEASURES[key].decimals if key in MEASURES else 1
        shown = value_text(value, decimals=decimals, limit=_limit(now, key), plus=plus)
    # What is not shown is not judged either.
    verdict = None if shown == NOT_KNOWN else now.verdicts.get(key)
    return Flag(
        key=key if key_shown is None else key_shown,
        name=name,
        value_text=shown,
        unit=unit,
        glyph="" if verdict is None else verdict.glyph,
        word="" if verdict is None else verdict.word,
    )


def _limit(now: Now, key: str) -> Limit | None:
    """What a value is held against, when it is."""
    if now.target is None or key not in now.verdicts:
        return None
    if key == SHORT_TERM_KEY:
        return Limit(max=short_term_ceiling_lufs(now.target))
    return now.target.limits_for(live=True).get(key)


def _number(reading: Reading, key: str) -> float | None:
    if key == BELOW:
        return reading.fold_loss_3s_db.get("below_crossover")
    if key == "true_peak_dbtp":
        return max(reading.true_peak_max_dbtp, default=None)
    value: float | None = reading.correlation_3s if key == "correlation" else getattr(reading, key)
    return value
