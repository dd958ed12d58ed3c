"""Seven days under the lanes of Hearing: what was heard and what was entered, each day beside the next.

The lanes show what is heard now; most of a dose is older. A day is a pillar: filled where the program
heard it, hatched where the user entered it, with a line up to the upper end. No colour says good or bad.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QBrush, QColor, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui import fonts
from ui.style import SMALL_PX
from ui.theme import worn

if TYPE_CHECKING:
    from meter.exposure.week import Day

HIGH_PX: Final = 118
PILLAR_PX: Final = 14.0
_TEXT_PX: Final = 18.0
_LEAST_PX: Final = 2.0
_PERCENT: Final = (0.0, 100.0)
_LEVEL_DBA: Final = (60.0, 95.0)
"""Around the values of the directive, 80 to 87 dBA."""


class WeekStrip(QWidget):
    """Shows what `meter.exposure.week` has worked out."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.title = ""
        self.days: tuple[Day, ...] = ()
        self.setFixedHeight(HIGH_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Seven days")

    def sizeHint(self) -> QSize:
        """As wide as the lanes."""
        return QSize(400, HIGH_PX)

    def show_days(self, title: str, days: tuple[Day, ...]) -> None:
        """Show these; a day each, the newest at the right."""
        from meter.exposure.week import day_text

        if (title, days) == (self.title, self.days):
            return
        self.title, self.days = title, days
        said = "; ".join(day_text(day) for day in days)
        self.setAccessibleDescription(f"{title}. {said}")
        self.setToolTip("\n".join(day_text(day) for day in days))
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """The title, then a pillar for each day with its figure above and its name below."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme = worn(self.palette())
        painter.setFont(fonts.font(SMALL_PX))
        painter.setPen(QColor(theme.ink_soft))
        metrics = fonts.metrics(SMALL_PX)
        hatched = "; hatched: as you entered it" if any(day.notes for day in self.days) else ""
        title = metrics.elidedText(self.title + hatched, Qt.TextElideMode.ElideRight, self.width())
        painter.drawText(QPointF(0.0, metrics.ascent()), title)
        if not self.days:
            return
        wide = self.width() / len(self.days)
        for index, day in enumerate(self.days):
            left = index * wide
            self._paint_day(painter, day, QRectF(left, _TEXT_PX, wide, self.height() - _TEXT_PX))

    def _paint_day(self, painter: QPainter, day: Day, box: QRectF) -> None:
        theme = worn(self.palette())
        metrics = fonts.metrics(SMALL_PX)
        ground = box.bottom() - _TEXT_PX
        painter.setPen(QPen(QColor(theme.edge), 1.0))
        painter.drawLine(QPointF(box.left(), ground + 0.5), QPointF(box.right() - 6.0, ground + 0.5))
        painter.setPen(QColor(theme.ink_soft))
        painter.drawText(QPointF(box.left(), box.bottom() - metrics.descent()), day.name)
        if day.both.hours <= 0.0:
            return
        middle, _, high = day.ends()
        lowest, highest = _PERCENT if day.both.rule.has_dose else _LEVEL_DBA
        room = ground - box.top() - 4.0

        def height(value: float) -> float:
            share = (value - lowest) / (highest - lowest) if math.isfinite(value) else 0.0
            return max(min(share, 1.0) * room, _LEAST_PX)

        colour = QColor(theme.series[0])
        pillar = QRectF(box.left(), ground - height(middle), PILLAR_PX, height(middle))
        entered = QRectF(pillar.left(), pillar.top(), PILLAR_PX, pillar.height() * day.entered_share())
        painter.fillRect(pillar.adjusted(0.0, entered.height(), 0.0, 0.0), colour)
        painter.fillRect(entered, QBrush(colour, Qt.BrushStyle.BDiagPattern))
        painter.setPen(QPen(colour, 1.0))
        painter.drawRect(pillar.adjusted(0.5, 0.5, -0.5, 0.0))
        across = pillar.center().x()
        painter.setPen(QPen(colour, 2.0))
        painter.drawLine(QPointF(across, pillar.top()), QPointF(across, ground - height(high)))
        self._paint_words(painter, day, QRectF(pillar.right() + 6.0, box.top(), box.width(), room))

    def _paint_words(self, painter: QPainter, day: Day, box: QRectF) -> None:
        from meter.exposure.words import hours_text

        theme = worn(self.palette())
        middle, low, high = day.ends()
        unit, decimals = ("%", 0) if day.both.rule.has_dose else ("dBA", 1)
        lines = [
            (f"{middle:.{decimals}f} {unit}", theme.ink),
            (f"{low:.{decimals}f} to {high:.{decimals}f}", theme.ink_soft),
            (hours_text(day.both.hours), theme.ink_soft),
        ]
        lines += [(note, theme.ink_soft) for note in day.notes[:1]]
        metrics = fonts.metrics(SMALL_PX)
        room = box.width() - PILLAR_PX - 14.0
        for number, (text, colour) in enumerate(lines):
            painter.setPen(QColor(colour))
            shown = metrics.elidedText(text, Qt.TextElideMode.ElideRight, room)
            painter.drawText(QPointF(box.left(), box.top() + metrics.ascent() + 17.0 * number + 2.0), shown)
