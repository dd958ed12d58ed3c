"""What stands still in the lanes: questions, legends, scales, the axis of time. Painted once, kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPen

from ui import fonts
from ui.layout import LABEL_PX, TITLE_PX, LaneBox, Layout
from ui.strip import Pen
from ui.theme import Theme

if TYPE_CHECKING:
    from meter.lanes import Lane

SAMPLE_PX: Final = 20.0
"""Length of the piece of line that stands before a name in the legend."""

APART_PX: Final = 16.0
"""Between two names of a legend."""

TICK_ROOM_PX: Final = 13.0


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of a legend; without a pen it is words only. `short` is said where there is little room."""

    label: str
    colour: str = ""
    pen: Pen | None = None
    short: str = ""


def paint(
    painter: QPainter,
    layout: Layout,
    lanes: Sequence[Lane],
    legends: Sequence[Sequence[Entry]],
    bands: Sequence[str],
    theme: Theme,
) -> None:
    """Paint everything but plots and time.

    Parameters
    ----------
    legends : sequence of sequence of Entry
        What each lane draws.
    bands : sequence of str
        What each fairway says; "" where there is none.
    """
    for number, (lane, box) in enumerate(zip(lanes, layout.lanes)):
        if number:
            _hairline(painter, box, theme)
        right = _band(painter, bands[number], box, theme)
        left = _question(painter, lane.question, box, theme)
        _legend(painter, legends[number], left, right, box, theme)
        _scale(painter, lane, box, theme)


def _hairline(painter: QPainter, box: LaneBox, theme: Theme) -> None:
    y = box.title.top() - 3.0
    painter.fillRect(QRectF(8.0, y, box.title.width() - 16.0, 1.0), QColor(theme.hairline))


def _baseline(box: LaneBox) -> float:
    return box.title.bottom() - 7.0


def _question(painter: QPainter, question: str, box: LaneBox, theme: Theme) -> float:
    """The name of the lane; where it ends."""
    painter.setFont(fonts.font(TITLE_PX, is_bold=True))
    painter.setPen(QColor(theme.ink))
    painter.drawText(QPointF(10.0, _baseline(box)), question)
    return 10.0 + fonts.metrics(TITLE_PX, is_bold=True).horizontalAdvance(question)


def _band(painter: QPainter, text: str, box: LaneBox, theme: Theme) -> float:
    """The fairway's name at the right end of the title, with a piece of it; where it begins."""
    right = box.plot.right()
    if not text:
        return right
    measure = fonts.metrics(LABEL_PX)
    x = right - measure.horizontalAdvance(text)
    base = _baseline(box)
    sample = QRectF(x - 28.0, base - measure.capHeight() - 1.0, 20.0, measure.capHeight() + 2.0)
    if sample.left() < box.plot.left() + 150.0:
        return right
    painter.fillRect(sample, QColor(theme.fairway))
    pen = QPen(QColor(theme.fairway_edge), 1.0)
    pen.setDashPattern([4.0, 3.0])
    painter.setPen(pen)
    for y in (sample.top() + 0.5, sample.bottom() - 0.5):
        painter.drawLine(QPointF(sample.left(), y), QPointF(sample.right(), y))
    painter.setFont(fonts.font(LABEL_PX))
    painter.setPen(QColor(theme.ink_soft))
    painter.drawText(QPointF(x, base), text)
    return sample.left()


def _legend(
    painter: QPainter,
    entries: Sequence[Entry],
    left: float,
    right: float,
    box: LaneBox,
    theme: Theme,
) -> None:
    """A piece of each line with its name; with the short ones, and as far as there is room."""
    measure = fonts.metrics(LABEL_PX)
    x, apart, length = left + 18.0, APART_PX, SAMPLE_PX
    samples = sum(SAMPLE_PX + 5.0 for entry in entries if entry.pen is not None)
    words = sum(measure.horizontalAdvance(entry.label) for entry in entries)
    if x + samples + words + APART_PX * (len(entries) - 1) > right - 14.0:
        entries = [replace(entry, label=entry.short or entry.label) for entry in entries]
        apart, length = 0.6 * APART_PX, 0.8 * SAMPLE_PX
    painter.setFont(fonts.font(LABEL_PX))
    base = _baseline(box)
    for entry in entries:
        sample = 0.0 if entry.pen is None else length + 5.0
        end = x + sample + measure.horizontalAdvance(entry.label)
        if end > right - 14.0:
            return
        if entry.pen is not None:
            at = QPointF(x, base - 0.5 * measure.capHeight())
            _sample(painter, entry.pen, QColor(entry.colour), at, length)
        painter.setPen(QColor(theme.ink_soft))
        painter.drawText(QPointF(x + sample, base), entry.label)
        x = end + apart


def _sample(painter: QPainter, pen: Pen, colour: QColor, at: QPointF, length: float) -> None:
    made = QPen(colour, max(pen.width_px, 1.6))
    made.setCapStyle(Qt.PenCapStyle.FlatCap)
    if pen.dash_px:
        made.setDashPattern([length / made.widthF() for length in pen.dash_px])
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(made)
    painter.drawLine(at, QPointF(at.x() + length, at.y()))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def _scale(painter: QPainter, lane: Lane, box: LaneBox, theme: Theme) -> None:
    """Numbers at the left, where there is room between them; the unit at the uppermost."""
    measure = fonts.metrics(LABEL_PX)
    painter.setFont(fonts.font(LABEL_PX))
    painter.setPen(QColor(theme.ink_soft))
    free = box.plot.bottom() + TICK_ROOM_PX
    ceiling, floor = box.plot.top() + measure.capHeight() + 1.0, box.flags.bottom() - 1.0
    texts = dict(zip(lane.ticks, lane.tick_texts))
    for value in sorted(lane.ticks):
        y = height_of(value, lane, box)
        if y > free - TICK_ROOM_PX:
            continue
        free = y
        text = texts.get(value) or tick_text(value)
        x = box.plot.left() - 7.0 - measure.horizontalAdvance(text)
        # The uppermost may not touch the question, the lowest not stand on the line that parts two lanes.
        base = min(max(y + 0.5 * measure.capHeight(), ceiling), floor)
        painter.drawText(QPointF(x, base), text)


def height_of(value: float, lane: Lane, box: LaneBox, pad_px: float = 2.0) -> float:
    """Where a value lies, in logical pixels of the widget; beyond an end it is at that end."""
    share = (min(max(value, lane.lowest), lane.highest) - lane.lowest) / (lane.highest - lane.lowest)
    return box.plot.top() + pad_px + (1.0 - share) * (box.plot.height() - 2.0 * pad_px)


def tick_text(value: float) -> str:
    """A number of a scale, with a real minus."""
    return f"{value + 0.0:g}".replace("-", "−")
