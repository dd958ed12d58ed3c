"""A pass folded by phrase: each phrase of 16 bars over the others, so that two drops can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QImage, QPainter

from ui import curves, fonts, raster
from ui.curves import Numbers
from ui.flag import spread
from ui.layout import LABEL_PX
from ui.strip import PENS, Look, Pen, bed, dash
from ui.theme import Theme, blend, contrast
from ui.time_scale import TimeScale, View

BARS: Final = 16
"""Of a phrase."""

OLD_PEN: Final = Pen(width_px=1.0)

Phrase = tuple[int, int]
"""First slot, and the slot after the last."""


def colour_of(number: int, count: int, look: Look) -> tuple[str, Pen]:
    """Colour and pen of a phrase, counted from 0: the newest four are told apart, older ones fade."""
    age = count - 1 - number
    if age < len(PENS):
        return look.theme.series[age], PENS[age]
    return blend(look.theme.ink_soft, look.theme.paper, 0.6), OLD_PEN


class Fold:
    """The picture of one lane, folded."""

    def __init__(self) -> None:
        self._pixels = np.zeros((1, 1, 4), np.uint8)
        self._image = QImage()
        self._ratio = 1.0
        self.ends: list[tuple[float, str, str]] = []
        """Where each phrase ends in the picture: height in device pixels, its number, its colour."""

    def draw(
        self, numbers: Numbers, phrases: Sequence[Phrase], look: Look, *, columns: int, slots: int
    ) -> None:
        """Draw all phrases with the first series of the lane.

        Parameters
        ----------
        columns : int
            Width in device pixels.
        slots : int
            How many the timeline has.
        """
        rows = look.axis.rows
        self._pixels = np.zeros((rows, columns, 4), np.uint8)
        self._image = QImage(self._pixels.data, columns, rows, 4 * columns, QImage.Format.Format_RGB32)
        self._ratio = look.device_ratio
        self._pixels[:] = bed(look, np.arange(columns))
        self.ends = []
        longest = max((last - first for first, last in phrases), default=1)
        for number, (first, last) in enumerate(phrases):
            scale = TimeScale.of(View.part(first, first + longest), slots=min(last, slots), columns=columns)
            colour, pen = colour_of(number, len(phrases), look)
            left, right = scale.left_column, scale.right_column
            margin = raster.MARGIN
            found = curves.curve(numbers, look.rows[0].key, scale, look.axis, left - margin, right + margin)
            raster.stroke(
                self._pixels,
                found.line,
                width=pen.width_px * look.device_ratio,
                colour=colour,
                dash=dash(pen, left, right, look.device_ratio),
            )
            heard = found.line[np.isfinite(found.line)]
            if len(heard):
                self.ends.append((float(heard[-1]), str(number + 1), colour))

    def show(self, painter: QPainter, x: float, y: float) -> None:
        """Put it on the screen, its upper left corner at (x, y) in logical pixels."""
        rows, columns = self._pixels.shape[:2]
        target = QRectF(x, y, columns / self._ratio, rows / self._ratio)
        painter.drawImage(target, self._image, QRectF(0, 0, columns, rows))


def paint_ends(painter: QPainter, fold: Fold, plot: QRectF, device_ratio: float, theme: Theme) -> None:
    """The number of each phrase at the end of its line."""
    measure = fonts.metrics(LABEL_PX, is_bold=True)
    height = measure.height() - 1.0
    tops = spread(
        [plot.top() + y / device_ratio for y, _, _ in fold.ends],
        height=height,
        gap=0.0,
        top=plot.top(),
        bottom=plot.bottom(),
    )
    painter.setFont(fonts.font(LABEL_PX, is_bold=True))
    for (_, number, colour), top in zip(fold.ends, tops):
        wide = measure.horizontalAdvance(number) + 6.0
        box = QRectF(plot.right() - wide, top, wide, height)
        painter.fillRect(box, QColor(theme.paper))
        painter.setPen(QColor(colour if contrast(colour, theme.paper) >= 4.5 else theme.ink_soft))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, number)
