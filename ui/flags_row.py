"""The flags of one lane: which fit, where they fly, and the halyards to the tips of their lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QLineF, QPointF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPen, QPixmap

from ui import flag
from ui.flag import FlagSize, Pennant
from ui.layout import HALYARD, LaneBox, Layout
from ui.strip import Look
from ui.theme import Theme

if TYPE_CHECKING:
    from meter.lanes import Flag, Lane
    from meter.timeline import Timeline

GAP_PX: Final = 4.0
MOST_PICTURES: Final = 64

MINUS: Final = "–"
"""An en dash: as wide as the font's minus, but as bold as its digits."""


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
    order: tuple[str, ...] = ()
    """Names of the flags from the top down."""


def fly(
    flags: Sequence[Flag],
    lane: Lane,
    box: LaneBox,
    look: Look,
    layout: Layout,
    timeline: Timeline | None,
    slot: int | None,
    head_x: float,
    before: tuple[str, ...] = (),
) -> Flying:
    """Find a place for each flag; of what does not fit, the least pressing is left out.

    Parameters
    ----------
    slot : int or None
        The newest that is drawn; None = flags have no line.
    head_x : float
        Where the lines end, in logical pixels.
    before : tuple of str
        `Flying.order` of the last time: flags whose numbers cross do not change places at once.
    """
    size = layout.flag
    room = box.flags.height() + GAP_PX
    flags = _most_pressing(flags, lane, max(1, int(room // (size.height + GAP_PX))))
    colours = {row.key: row.colour for row in look.rows}
    tips, wanted = [], []
    for one in flags:
        y = _tip(one, colours, look, box, layout, timeline, slot)
        tips.append(None if y is None else (head_x, y))
        # The number on the flag may be calmer than the line: the highest of 3 s, not of this moment.
        told = _by_text(one, look, box, layout)
        wanted.append(told if told is not None else y if y is not None else box.plot.center().y())
    for number, one in enumerate(flags):
        if one.value_text.isdigit():  # a count lies nowhere on the axis: it flies below the others
            wanted[number] = max(wanted[:number], default=box.plot.top()) + size.height
    names = [one.name for one in flags]
    start = sorted(range(len(flags)), key=lambda k: wanted[k])
    if set(names) == set(before):
        start.sort(key=lambda k: before.index(names[k]))
    order = flag.order_of(wanted, start, slack=0.5 * size.height)
    tops = flag.spread(
        wanted,
        height=size.height,
        gap=GAP_PX,
        top=box.flags.top(),
        bottom=box.flags.bottom(),
        order=order,
    )
    neutral = look.theme.edge
    return Flying(
        left=box.plot.right() + HALYARD,
        aloft=tuple(
            Aloft(pennant=_pennant(one, colours.get(one.key, neutral)), top=top, tip=tip)
            for one, top, tip in zip(flags, tops, tips)
        ),
        order=tuple(names[number] for number in order),
    )


def _most_pressing(flags: Sequence[Flag], lane: Lane, count: int) -> list[Flag]:
    """So many flags, in their order: first what calls, then the main line, then counts."""
    marks = {series.key for series in lane.series if series.role == "marks"}

    def rank(number: int) -> tuple[bool, bool, int]:
        one = flags[number]
        return one.glyph not in flag.CALLING, number > 0 and one.key not in marks, number

    kept = sorted(sorted(range(len(flags)), key=rank)[:count])
    return [flags[number] for number in kept]


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


def _by_text(one: Flag, look: Look, box: LaneBox, layout: Layout) -> float | None:
    """Where the number on a flag lies on the axis; what is no number lies nowhere."""
    if one.at is not None:
        return _height(one.at, look, box, layout)
    if not look.rows:  # a count, or a number of another kind than the axis
        return None
    try:
        value = float(one.value_text)
    except ValueError:
        return None
    return _height(value, look, box, layout)


def _height(value: float, look: Look, box: LaneBox, layout: Layout) -> float:
    return box.plot.top() + float(look.axis.y_of(value)) / layout.device_ratio


def _pennant(one: Flag, colour: str) -> Pennant:
    # Of a number that is not shown nothing can be said but that it is not yet known.
    is_judged = any(letter.isdigit() for letter in one.value_text) or one.glyph == "…"
    return Pennant(
        name=one.name,
        number=one.value_text.replace("-", MINUS),
        unit=one.unit,
        glyph=one.glyph if is_judged else "",
        word=one.word if is_judged else "",
        colour=colour,
    )


class FlagPictures:
    """Flags as pictures, since most stay as they are from one tick to the next; text is slow to paint."""

    def __init__(self) -> None:
        self._made: dict[tuple[Pennant, FlagSize, Theme, float], QPixmap] = {}

    def of(self, pennant: Pennant, size: FlagSize, theme: Theme, ratio: float) -> QPixmap:
        """A flag on a ground that is not there, for so many pixels to a point."""
        key = (pennant, size, theme, ratio)
        if key not in self._made:
            while len(self._made) >= MOST_PICTURES:
                del self._made[next(iter(self._made))]  # the oldest
            made = QPixmap(QSize(math.ceil(size.width * ratio), math.ceil(size.height * ratio)))
            made.setDevicePixelRatio(ratio)
            made.fill(Qt.GlobalColor.transparent)
            brush = QPainter(made)
            try:
                flag.paint(brush, pennant, 0.0, 0.0, size, theme)
            finally:
                brush.end()
            self._made[key] = made
        return self._made[key]


def paint_flags(
    painter: QPainter, flying: Flying, layout: Layout, theme: Theme, pictures: FlagPictures
) -> None:
    """Paint halyards, then flags."""
    size, ratio = layout.flag, layout.device_ratio
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
        # On whole pixels: between them letters would blur.
        left, top = (round(place * ratio) / ratio for place in (flying.left, aloft.top))
        painter.drawPixmap(QPointF(left, top), pictures.of(aloft.pennant, size, theme, ratio))
