"""The spectrum against the shelf: a dot for each third of an octave, over what the references span."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui import fonts
from ui.style import SMALL_PX, typeset
from ui.theme import Theme, worn

if TYPE_CHECKING:
    from meter.shelf.compare import BandDifference

LEAST_DB: Final = 6.0
"""The axis reaches so far at least."""

STEP_DB: Final = 3.0
LEFT_PX: Final = 44.0
BELOW_PX: Final = 24.0
DOT_PX: Final = 4.0
NAMED_HZ: Final = (25.0, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


class BandsPlot(QWidget):
    """Draws the bands of a comparison.

    Parameters
    ----------
    bands : sequence of BandDifference
        From low to high; one or more.
    spoken : str
        The same in words.
    """

    def __init__(self, bands: Sequence[BandDifference], spoken: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bands = tuple(bands)
        self.setAccessibleName("Spectrum against the shelf")
        self.setAccessibleDescription(spoken)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(150)
        reach = max(
            max(abs(one.difference_db), abs(one.lowest_db), abs(one.highest_db)) for one in self._bands
        )
        self.top_db = max(LEAST_DB, STEP_DB * math.ceil(reach / STEP_DB))

    def sizeHint(self) -> QSize:
        """Wide and low."""
        return QSize(640, 220)

    def place(self, index: int, level_db: float) -> QPointF:
        """Where a level of a band lies."""
        plot = self._plot()
        x = plot.left() + (index + 0.5) * plot.width() / len(self._bands)
        return QPointF(x, plot.center().y() - level_db / self.top_db * plot.height() / 2.0)

    def _plot(self) -> QRectF:
        return QRectF(self.rect()).adjusted(LEFT_PX, 8.0, -8.0, -BELOW_PX)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """Axis, span of the references, dots."""
        theme = worn(self.palette())
        painter = QPainter(self)
        try:
            self._paint_axis(painter, theme)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            upper = [self.place(k, one.highest_db) for k, one in enumerate(self._bands)]
            lower = [self.place(k, one.lowest_db) for k, one in enumerate(self._bands)]
            painter.setPen(QPen(QColor(theme.fairway_edge), 1.0))
            painter.setBrush(QColor(theme.fairway))
            painter.drawPolygon(QPolygonF([*upper, *reversed(lower)]))
            painter.setPen(QPen(QColor(theme.edge), 1.0))
            painter.drawLine(self.place(0, 0.0), self.place(len(self._bands) - 1, 0.0))
            colour = QColor(theme.series[1])
            for k, one in enumerate(self._bands):
                dot = self.place(k, one.difference_db)
                painter.setPen(QPen(colour, 1.4))
                painter.drawLine(self.place(k, 0.0), dot)
                painter.setBrush(colour if one.is_outside else QColor(theme.paper))
                painter.drawEllipse(dot, DOT_PX, DOT_PX)
        finally:
            painter.end()

    def _paint_axis(self, painter: QPainter, theme: Theme) -> None:
        plot, metrics = self._plot(), fonts.metrics(SMALL_PX)
        painter.setFont(fonts.font(SMALL_PX))
        steps = int(self.top_db / STEP_DB)
        every = 1 if plot.height() / (2 * steps) > metrics.height() else 2
        for step in range(-steps, steps + 1):
            y = self.place(0, step * STEP_DB).y()
            painter.fillRect(QRectF(plot.left(), round(y), plot.width(), 1.0), QColor(theme.hairline))
            if step % every == 0:
                painter.setPen(QColor(theme.ink_soft))
                text = typeset(f"{step * STEP_DB:+g}") if step else "0 dB"
                box = QRectF(0.0, y - metrics.height() / 2.0, LEFT_PX - 6.0, metrics.height())
                painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        painter.setPen(QColor(theme.ink_soft))
        for k, one in enumerate(self._bands):
            if one.nominal_hz in NAMED_HZ:
                hz = one.nominal_hz
                text = f"{hz:g}" if hz < 1000.0 else f"{hz / 1000.0:g} k"
                text += " Hz" if hz == NAMED_HZ[-1] else ""
                x = self.place(k, 0.0).x()
                box = QRectF(x - 40.0, plot.bottom() + 4.0, 80.0, BELOW_PX - 4.0)
                painter.drawText(box, Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop, text)
