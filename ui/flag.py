"""Pennants: the reading of now, flying from a staff at the tip of its line.

The number is large, with its name, its unit and its verdict beside it. A flag whose verdict asks
for something (over, under) is filled with ink, so that it is found from across the room; what it is
stands in its glyph and word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPen, QPolygonF

from ui import fonts, verdict_glyph
from ui.theme import Theme

WIDEST_NUMBER: Final = "–88.8"
WIDEST_SIDE: Final = ("below 120 Hz", "LUFS ")
WIDEST_WORD: Final = "not yet"
LINE: Final = 0.96
"""From one line beside the number to the next, against the height of the font."""

STAFF_PX: Final = 4.0

CALLING: Final = frozenset("▲▼")
"""Glyphs of verdicts that ask for something."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pennant:
    """What stands on a flag."""

    name: str
    number: str
    unit: str
    glyph: str
    word: str
    colour: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagSize:
    """Sizes in logical pixels.

    Attributes
    ----------
    number_px, side_px : int
        Size of the number, and of what stands beside it.
    pad_px : float
        Between everything.
    """

    number_px: int
    side_px: int
    pad_px: float

    @property
    def height(self) -> float:
        """Of the cloth."""
        side = fonts.metrics(self.side_px)
        return round(max(2.0 * LINE * side.height(), fonts.metrics(self.number_px).capHeight() + 14.0) + 4.0)

    @property
    def number_width(self) -> float:
        """Room for the widest number."""
        return fonts.metrics(self.number_px, is_bold=True).horizontalAdvance(WIDEST_NUMBER)

    @property
    def glyph_size(self) -> float:
        """Of the square that a glyph fills."""
        return round(fonts.metrics(self.side_px).capHeight() * 1.12, 1)

    @property
    def glyph_gap(self) -> float:
        """Between a glyph and its word."""
        return 0.36 * self.side_px

    @property
    def side_width(self) -> float:
        """Room beside the number."""
        side, bold = fonts.metrics(self.side_px), fonts.metrics(self.side_px, is_bold=True)
        second = side.horizontalAdvance(WIDEST_SIDE[1]) + self.glyph_size + self.glyph_gap
        return max(side.horizontalAdvance(WIDEST_SIDE[0]), second + bold.horizontalAdvance(WIDEST_WORD))

    @property
    def width(self) -> float:
        """Of the cloth with its tail."""
        return round(STAFF_PX + self.number_width + self.side_width + 2.6 * self.pad_px + self.tail)

    @property
    def tail(self) -> float:
        """Depth of the notch."""
        return round(self.height * 0.24)


NORMAL: Final = FlagSize(number_px=22, side_px=12, pad_px=6.0)
SMALL: Final = FlagSize(number_px=16, side_px=11, pad_px=4.0)
LARGE: Final = FlagSize(number_px=40, side_px=20, pad_px=9.0)
"""The digits are 30 px high, 8 mm at 96 pixels to the inch: 18 minutes of arc at 1.5 m.

Source
------
ISO 9241-303:2011, 5.5.4: letters of 16 minutes of arc are legible, 20 to 22 are preferred. From memory.
"""

MIDDLE: Final = FlagSize(number_px=28, side_px=15, pad_px=7.0)
FAR: Final = FlagSize(number_px=48, side_px=26, pad_px=10.0)
"""The digits are 36 px high, 9.5 mm at 96 pixels to the inch: 16 minutes of arc at 2 m. Source as above."""


def cloth(box: QRectF, tail: float) -> QPolygonF:
    """The outline of a pennant: a burgee with two tails."""
    middle = box.center().y()
    return QPolygonF(
        [
            box.topLeft(),
            box.topRight(),
            QPointF(box.right() - tail, middle),
            box.bottomRight(),
            box.bottomLeft(),
        ]
    )


def paint(painter: QPainter, pennant: Pennant, left: float, top: float, size: FlagSize, theme: Theme) -> None:
    """Paint a flag, its upper left corner at (left, top)."""
    box = QRectF(left, top, size.width, size.height)
    is_calling = pennant.glyph in CALLING
    ground = theme.ink if is_calling else theme.sheet
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QPen(QColor(theme.ink if is_calling else pennant.colour), 1.0))
    painter.setBrush(QColor(ground))
    painter.drawPolygon(cloth(box.adjusted(0.5, 0.5, -0.5, -0.5), size.tail))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(pennant.colour))
    painter.drawRect(QRectF(box.left(), box.top(), STAFF_PX, box.height()))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    _write(painter, pennant, box, size, theme, is_calling=is_calling)


def _write(
    painter: QPainter, pennant: Pennant, box: QRectF, size: FlagSize, theme: Theme, *, is_calling: bool
) -> None:
    ink = QColor(theme.paper if is_calling else theme.ink)
    soft = QColor(theme.paper if is_calling else theme.ink_soft)
    middle = box.center().y()
    number_px = _fitting(pennant.number, size)
    painter.setPen(ink)
    painter.setFont(fonts.font(number_px, is_bold=True))
    measure = fonts.metrics(number_px, is_bold=True)
    right = box.left() + STAFF_PX + size.pad_px + size.number_width
    x = right - measure.horizontalAdvance(pennant.number)
    painter.drawText(QPointF(x, middle + 0.5 * measure.capHeight()), pennant.number)
    side = fonts.metrics(size.side_px)
    x = right + size.pad_px
    has_two = bool(pennant.name) and bool(pennant.unit or pennant.word)
    apart = LINE * side.height() if has_two else 0.0
    upper = middle - 0.5 * apart + 0.5 * side.capHeight()
    lower = upper + apart
    painter.setFont(fonts.font(size.side_px))
    painter.drawText(QPointF(x, upper), pennant.name)
    if pennant.unit:
        painter.setPen(soft)
        painter.drawText(QPointF(x, lower), pennant.unit)
        x += side.horizontalAdvance(pennant.unit + " ")
    if not pennant.word:
        return
    square = QRectF(x, lower - side.capHeight() - 0.06 * size.glyph_size, size.glyph_size, size.glyph_size)
    verdict_glyph.paint(painter, pennant.glyph, square, ink)
    painter.setPen(ink)
    painter.setFont(fonts.font(size.side_px, is_bold=True))
    painter.drawText(QPointF(x + size.glyph_size + size.glyph_gap, lower), pennant.word)


def _fitting(number: str, size: FlagSize) -> int:
    """The size in which a number fits; counts may have more digits than readings."""
    wide = fonts.metrics(size.number_px, is_bold=True).horizontalAdvance(number)
    return size.number_px if wide <= size.number_width else int(size.number_px * size.number_width / wide)


def order_of(wanted: Sequence[float], before: Sequence[int], *, slack: float) -> list[int]:
    """Numbers of flags from the top down; two change places only when that is clearly wanted.

    Parameters
    ----------
    wanted : sequence of float
        Middle of each.
    before : sequence of int
        The order so far, of as many flags.
    slack : float
        How far the lower one has to be above the upper one.
    """
    order = list(before)
    for end in range(1, len(order)):
        at = end
        while at and wanted[order[at]] < wanted[order[at - 1]] - slack:
            order[at - 1 : at + 1] = order[at], order[at - 1]
            at -= 1
    return order


def spread(
    wanted: Sequence[float],
    *,
    height: float,
    gap: float,
    top: float,
    bottom: float,
    order: Sequence[int] | None = None,
) -> list[float]:
    """Upper edges of flags that do not overlap, as near to where they are wanted as can be.

    Parameters
    ----------
    wanted : sequence of float
        Middle of each.
    height, gap : float
        Of one flag, and between two.
    top, bottom : float
        Room for all; too little of it lets them stand out below.
    order : sequence of int, optional
        Their numbers from the top down; by what is wanted unless given.

    Returns
    -------
    list of float
        In the order of `wanted`.
    """
    if order is None:
        order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    # Groups of flags that touch, each with the mean of what its members want of the first one.
    groups: list[tuple[list[int], float]] = []
    step = height + gap
    for number in order:
        members = [number]
        first = _within(wanted[number] - 0.5 * height, 1, step, gap, top, bottom)
        while groups and groups[-1][1] + len(groups[-1][0]) * step > first:
            members = groups.pop()[0] + members
            first = sum(wanted[m] - 0.5 * height - k * step for k, m in enumerate(members)) / len(members)
            first = _within(first, len(members), step, gap, top, bottom)
        groups.append((members, first))
    found = [0.0] * len(wanted)
    for members, first in groups:
        for k, member in enumerate(members):
            found[member] = first + k * step
    return found


def _within(first: float, count: int, step: float, gap: float, top: float, bottom: float) -> float:
    return max(top, min(first, bottom - (count * step - gap)))
