"""A pass folded by phrase: each phrase of 16 bars over the others, so that two drops can be compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from PyQt6.QtCore import QPointF, QRectF
from PyQt6.QtGui import QColor, QImage, QPainter

from meter.phrases import BEATS_A_BAR
from meter.phrases import PHRASE_BARS as BARS
from ui import curves, fonts, raster
from ui.curves import Heights, Numbers
from ui.furniture import Entry
from ui.lane_looks import THIN
from ui.layout import LABEL_PX
from ui.strip import PENS, Look, Pen, bed, dash
from ui.theme import Theme, blend, contrast
from ui.time_scale import TimeScale, View

if TYPE_CHECKING:
    from meter.lanes import Lane

OLD_PEN: Final = Pen(width_px=1.0)

Phrase = tuple[int, int]
"""First slot, and the slot after the last."""


def without_tail(phrases: Sequence[Phrase]) -> Sequence[Phrase]:
    """The phrases without a last one of less than two bars: what rings on after the end."""
    longest = max(last - first for first, last in phrases)
    is_tail = len(phrases) > 1 and (phrases[-1][1] - phrases[-1][0]) * BARS < 2 * longest
    return phrases[:-1] if is_tail else phrases


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
        self.ends: list[tuple[float, float, str, str]] = []
        """Where the newest phrases end: device pixels from the left and the top, number, colour."""

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
            line = found.line
            if look.rows[0].key in THIN:
                line = highest_of_each_beat(line, columns)
            raster.stroke(
                self._pixels,
                line,
                width=min(pen.width_px, look.rows[0].pen.width_px) * look.device_ratio,
                colour=colour,
                dash=dash(pen, left, right, look.device_ratio),
            )
            heard = np.flatnonzero(np.isfinite(line))
            if len(heard) and pen is not OLD_PEN:
                at = min(max(heard[-1] / raster.FINE - margin, 0.0), float(columns))
                self.ends.append((at, float(line[heard[-1]]), str(number + 1), colour))

    def show(self, painter: QPainter, x: float, y: float) -> None:
        """Put it on the screen, its upper left corner at (x, y) in logical pixels."""
        rows, columns = self._pixels.shape[:2]
        target = QRectF(x, y, columns / self._ratio, rows / self._ratio)
        painter.drawImage(target, self._image, QRectF(0, 0, columns, rows))


def highest_of_each_beat(line: Heights, columns: int) -> Heights:
    """A line through the highest place of each beat: four lines that jump at every slot are a thicket.

    Parameters
    ----------
    line : array, shape ((columns + 2 * MARGIN) * FINE,) or shorter
        Heights from the top, as `curves.curve` gives them.
    columns : int
        Width of a whole phrase.
    """
    beats = BARS * BEATS_A_BAR
    at = ((np.arange(len(line)) + 0.5) / raster.FINE - raster.MARGIN) / columns * beats
    heard = np.isfinite(line)
    highest = np.full(beats, np.inf)
    np.minimum.at(highest, np.clip(at[heard].astype(np.int64), 0, beats - 1), line[heard])
    known = np.flatnonzero(np.isfinite(highest))
    if len(known) == 0:
        return line
    return np.where(heard, np.interp(at, known + 0.5, highest[known]), np.nan)


def fold_legend(lane: Lane, look: Look, count: int) -> list[Entry]:
    """What a folded lane shows: its first series, and which line is which phrase."""
    series = lane.series[0]
    of_beats = ", highest of each beat" if series.key in THIN else ""
    entries = [Entry(f"{series.label}{of_beats}, by phrase:", short="by phrase:")]
    for number in reversed(range(count)):
        colour, pen = colour_of(number, count, look)
        entries.append(Entry("earlier" if pen is OLD_PEN else str(number + 1), colour, pen))
        if pen is OLD_PEN:
            break
    return entries


def paint_ends(painter: QPainter, fold: Fold, plot: QRectF, device_ratio: float, theme: Theme) -> None:
    """The number of each of the newest phrases at the end of its line."""
    measure = fonts.metrics(LABEL_PX, is_bold=True)
    height = measure.capHeight() + 3.0
    painter.setFont(fonts.font(LABEL_PX, is_bold=True))
    taken: list[QRectF] = []
    for end_x, end_y, number, colour in sorted(fold.ends, key=lambda end: end[1]):
        width = measure.horizontalAdvance(number) + 5.0
        y = min(max(plot.top() + end_y / device_ratio, plot.top() + 0.5 * height), plot.bottom())
        box = QRectF(plot.left() + end_x / device_ratio + 4.0, y - 0.5 * height, width, height)
        # Where ends lie together their numbers stand side by side, each at the height of its line.
        while any(box.intersects(other) for other in taken):
            box.translate(width, 0.0)
        taken.append(box)
        if box.right() < plot.right():
            painter.fillRect(box.adjusted(-1.0, 0.0, -2.0, 1.0), QColor(theme.paper))
        painter.setPen(QColor(colour if contrast(colour, theme.paper) >= 4.5 else theme.ink_soft))
        painter.drawText(QPointF(box.left(), box.bottom() - 1.5), number)
