"""What lies over the curves: events, overs, the cursor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QBrush, QColor, QPainter, QPen

from meter.soundings import SOUNDINGS_A_SECOND, as_text_time
from ui import fonts, time_axis, verdict_glyph
from ui.layout import LABEL_PX, Layout
from ui.theme import Theme

OVER_PX: Final = 9.0
"""Width of the sign of an over."""

MOST_SIGNS: Final = 400
"""More than these cannot be told apart; the newest are drawn."""


def paint_over_signs(
    painter: QPainter, places: Sequence[int], plot: QRectF, limit_y: float, ratio: float, theme: Theme
) -> None:
    """A sign at the top of a plot where overs begin, and a line down to the limit; neighbours share a sign.

    Parameters
    ----------
    places : sequence of int
        In device pixels from the left of the plot, rising.
    limit_y : float
        Where the limit lies that was gone over.
    """
    last = -math.inf
    colour, line = QColor(theme.ink), QColor(theme.edge)
    for place in places[-MOST_SIGNS:]:
        x = plot.left() + place / ratio
        painter.fillRect(QRectF(x, plot.top() + OVER_PX, 1.0, max(limit_y - plot.top() - OVER_PX, 3.0)), line)
        if x - last < OVER_PX:
            continue
        last = x
        verdict_glyph.paint(
            painter, "▲", QRectF(x + 0.5 - 0.5 * OVER_PX, plot.top(), OVER_PX, OVER_PX), colour
        )


def paint_blank(painter: QPainter, plot: QRectF, left: float, right: float, theme: Theme) -> None:
    """Hatch what was not measured, as a chart does where nobody has sounded."""
    left, right = max(left, plot.left()), min(max(right, left + 2.0), plot.right())
    if right <= left:
        return
    painter.fillRect(QRectF(left, plot.top(), right - left, plot.height()), QColor(theme.paper))
    brush = QBrush(QColor(theme.shade), Qt.BrushStyle.BDiagPattern)
    painter.fillRect(QRectF(left, plot.top(), right - left, plot.height()), brush)


def paint_line(painter: QPainter, plot: QRectF, x: float, theme: Theme) -> None:
    """A place in time: a mark, or another source."""
    pen = QPen(QColor(theme.edge), 1.0)
    pen.setDashPattern([2.0, 3.0])
    painter.setPen(pen)
    painter.drawLine(QPointF(x, plot.top()), QPointF(x, plot.bottom()))


def paint_note(painter: QPainter, text: str, x: float, plot: QRectF, theme: Theme) -> None:
    """A few words beside a place in time, on the lower edge of a plot."""
    measure = fonts.metrics(LABEL_PX)
    wide = measure.horizontalAdvance(text)
    if wide + 10.0 > plot.width():
        return
    left = x + 4.0 if x + wide + 10.0 <= plot.right() else x - wide - 10.0
    left = max(left, plot.left())
    box = QRectF(left, plot.bottom() - measure.height() - 3.0, wide + 6.0, measure.height() + 1.0)
    painter.fillRect(box, QColor(theme.paper))
    painter.setFont(fonts.font(LABEL_PX))
    painter.setPen(QColor(theme.ink_soft))
    painter.drawText(QPointF(left + 3.0, box.bottom() - measure.descent()), text)


def paint_span(painter: QPainter, plot: QRectF, left: float, right: float, theme: Theme) -> None:
    """A stretch that is chosen."""
    left, right = max(left, plot.left()), min(right, plot.right())
    if right <= left:
        return
    tint = QColor(theme.ink)
    tint.setAlphaF(0.10)
    painter.fillRect(QRectF(left, plot.top(), right - left, plot.height()), tint)
    for x in (left, right - 1.0):
        painter.fillRect(QRectF(x, plot.top(), 1.0, plot.height()), QColor(theme.ink))


def paint_cursor(
    painter: QPainter, plot: QRectF, x: float, heights: Sequence[tuple[float, str]], theme: Theme
) -> None:
    """A moment that is chosen, and a ring on each line there.

    Parameters
    ----------
    heights : sequence of (float, str)
        Where a line lies, and its colour.
    """
    painter.fillRect(QRectF(math.floor(x), plot.top(), 1.0, plot.height()), QColor(theme.ink))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    for y, colour in heights:
        painter.setPen(QPen(QColor(colour), 1.6))
        painter.setBrush(QColor(theme.paper))
        painter.drawEllipse(QPointF(math.floor(x) + 0.5, y), 3.4, 3.4)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def tag_text(first_slot: int, last_slot: int | None, origin_slot: int) -> str:
    """The time of a moment since the pass began, or from when to when a span goes."""
    start = as_text_time((first_slot - origin_slot) / SOUNDINGS_A_SECOND)
    if last_slot is None:
        return start
    return f"{start} – {as_text_time((last_slot - origin_slot) / SOUNDINGS_A_SECOND)}"


def paint_time_tag(
    painter: QPainter, text: str, x: float, layout: Layout, theme: Theme, marks: list[time_axis.Mark]
) -> None:
    """The moment's time on the axis, and no label of the axis half under it."""
    measure = fonts.metrics(LABEL_PX, is_bold=True)
    wide = measure.horizontalAdvance(text) + 12.0
    axis = layout.axis
    left = min(max(x - 0.5 * wide, axis.left()), axis.right() - wide)
    box = QRectF(left, axis.top(), wide, measure.height() + 5.0)
    time_axis.wipe_under(painter, box, marks, axis, theme)
    painter.fillRect(box, QColor(theme.ink))
    painter.setFont(fonts.font(LABEL_PX, is_bold=True))
    painter.setPen(QColor(theme.paper))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
