"""The flags of one lane: which fit, where they fly, and the halyards to the tips of their lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QLineF, QPointF
from PyQt6.QtGui import QColor, QPainter, QPen

from ui import flag
from ui.flag import Pennant
from ui.layout import HALYARD, LaneBox, Layout
from ui.strip import Look
from ui.theme import Theme

if TYPE_CHECKING:
    from meter.lanes import Flag, Lane
    from meter.timeline import Timeline

GAP_PX: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Aloft:
    """One flag in the air: its upper edge, and the tip that it belongs to, if any."""

    pennant: Pennant
    top: float
    tip: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flying:
    """The flags of a lane."""

    left: float
    aloft: tuple[Aloft, ...]


def fly(
    flags: Sequence[Flag],
    lane: Lane,
    box: LaneBox,
    look: Look,
    layout: Layout,
    timeline: Timeline | None,
    slot: int | None,
    head_x: float,
) -> Flying:
    """Find a place for each flag; what does not fit is left out, the last first.

    Parameters
    ----------
    slot : int or None
        The newest that is drawn; None = flags have no line.
    head_x : float
        Where the lines end, in logical pixels.
    """
    size = layout.flag
    room = box.flags.height() + GAP_PX
    flags = list(flags)[: max(1, int(room // (size.height + GAP_PX)))]
    colours = {row.key: row.colour for row in look.rows}
    tips, wanted = [], []
    for one in flags:
        y = _tip(one, colours, look, box, layout, timeline, slot)
        tips.append(None if y is None else (head_x, y))
        wanted.append(_by_text(one, look, box, layout) if y is None else y)
    tops = flag.spread(wanted, height=size.height, gap=GAP_PX, top=box.flags.top(), bottom=box.flags.bottom())
    neutral = look.theme.edge
    return Flying(
        left=box.plot.right() + HALYARD,
        aloft=tuple(
            Aloft(pennant=_pennant(one, colours.get(one.key, neutral)), top=top, tip=tip)
            for one, top, tip in zip(flags, tops, tips)
        ),
    )


def _tip(
    one: Flag,
    colours: dict[str, str],
    look: Look,
    box: LaneBox,
    layout: Layout,
    timeline: Timeline | None,
    slot: int | None,
) -> float | None:
    if timeline is None or slot is None or one.key not in colours:
        return None
    value = float(timeline.values(one.key, slot, slot + 1)[0])
    return None if math.isnan(value) else _height(value, look, box, layout)


def _by_text(one: Flag, look: Look, box: LaneBox, layout: Layout) -> float:
    """Where a reading without a line belongs: at its value on the axis, otherwise in the middle."""
    try:
        value = float(one.value_text)
    except ValueError:
        return box.plot.center().y()
    if not look.axis.lowest <= value <= look.axis.highest:
        return box.plot.bottom()
    return _height(value, look, box, layout)


def _height(value: float, look: Look, box: LaneBox, layout: Layout) -> float:
    return box.plot.top() + float(look.axis.y_of(value)) / layout.device_ratio


def _pennant(one: Flag, colour: str) -> Pennant:
    return Pennant(
        name=one.name,
        number=one.value_text.replace("-", "−").replace("−−", "––"),
        unit=one.unit,
        glyph=one.glyph,
        word=one.word,
        colour=colour,
    )


def paint_flags(painter: QPainter, flying: Flying, layout: Layout, theme: Theme) -> None:
    """Paint halyards, then flags."""
    size = layout.flag
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    for aloft in flying.aloft:
        if aloft.tip is not None:
            x, y = aloft.tip
            hoist = min(max(y, aloft.top + 4.0), aloft.top + size.height - 4.0)
            painter.setPen(QPen(QColor(aloft.pennant.colour), 1.2))
            painter.drawLine(QLineF(QPointF(x + 3.0, y), QPointF(flying.left, hoist)))
            painter.setBrush(QColor(aloft.pennant.colour))
            painter.drawEllipse(QPointF(x, y), 3.0, 3.0)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    for aloft in flying.aloft:
        flag.paint(painter, aloft.pennant, flying.left, aloft.top, size, theme)
