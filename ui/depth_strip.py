"""The picture of a lane of the low end: knots on a rope at their depth, kicks, water over plumb lines.

Kept as an image that is moved while time goes on, and drawn anew when something new is known.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF

from ui import depth_far, fonts, raster
from ui.layout import LABEL_PX
from ui.strip import Look
from ui.theme import blend
from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.lanes import Lane
    from meter.low_end.picture import Fray, Knot, Piece, Water

KNOT_PX: Final = 4.0
ROPE_PX: Final = 2.0
STROKE_PX: Final = 5.0
PLUMB_APART_PX: Final = 84
"""Device-independent pixels between two plumb lines, by absolute columns."""
BEND_PX: Final = 32.0
"""How far a plumb line bends for 180 degrees."""
LEVELS_DB: Final = (-1.0, -3.0, -6.0, -12.0)
SHARES: Final = (0.14, 0.3, 0.5, 0.72)
MOST_SHIFT: Final = 12
"""Columns that an image is moved before it is drawn anew."""


REST: Final = 20.0
"""What takes long to be drawn, hours at once, is drawn anew only after so many times as long."""


class DepthStrip:
    """One lane of the low end.

    Attributes
    ----------
    is_behind : bool
        Something new is not drawn yet: `update` it again.
    """

    def __init__(self, lane: Lane) -> None:
        self._lane = lane
        self._look: Look | None = None
        self._scale: TimeScale | None = None
        self._drawn: TimeScale | None = None
        self._pieces: Sequence[Piece] = ()
        self.is_behind = False
        self._drew_s = self._took_s = 0.0
        self._image = QImage()
        self._waters: list[Water] = []

    def update(self, pieces: Sequence[Piece], look: Look, scale: TimeScale) -> int:
        """Draw what is new, or let it move on; how many columns it takes."""
        drawn = self._drawn
        has_moved_only = (
            drawn is not None
            and look is self._look
            and drawn.columns == scale.columns
            and drawn.columns_a_slot == scale.columns_a_slot
            and 0 <= scale.left_column - drawn.left_column <= MOST_SHIFT
        )
        self._look, self._scale = look, scale
        rested_s = time.monotonic() - self._drew_s
        self.is_behind = has_moved_only and pieces is not self._pieces and rested_s < REST * self._took_s
        if not has_moved_only or (pieces is not self._pieces and not self.is_behind):
            self._pieces, self._drawn = pieces, scale
            began_s = time.monotonic()
            self._draw()
            self._drew_s = time.monotonic()
            self._took_s = self._drew_s - began_s
        return scale.columns

    def overs(self) -> list[int]:
        """None: an over is no matter of the low end."""
        return []

    def show(self, painter: QPainter, x: float, y: float) -> None:
        """Put it on the screen, its upper left corner at (x, y) in logical pixels."""
        look, scale, drawn = self._look, self._scale, self._drawn
        if look is None or scale is None or drawn is None:
            return
        ratio, shift = look.device_ratio, scale.left_column - drawn.left_column
        columns, rows = scale.columns, look.axis.rows
        painter.drawImage(
            QRectF(x, y, (columns - shift) / ratio, rows / ratio),
            self._image,
            QRectF(shift, 0, columns - shift, rows),
        )
        if shift:
            painter.fillRect(
                QRectF(x + (columns - shift) / ratio, y, shift / ratio, rows / ratio),
                QColor(look.theme.paper),
            )

    # --- drawing; everything in device pixels

    def _draw(self) -> None:
        look, scale = self._look, self._scale
        assert look is not None and scale is not None
        size = (scale.columns, look.axis.rows)
        if (self._image.width(), self._image.height()) != size:
            self._image = QImage(*size, QImage.Format.Format_RGB32)
        self._image.fill(QColor(look.theme.paper))
        painter = QPainter(self._image)
        try:
            if self._lane.picture == "club":
                self._look_at_waters(scale)
                self._water(painter, look, scale)
            self._bed(painter, look, scale)
            count = _PAINT[self._lane.picture](self, painter, look, scale)
            if not count:
                self._say_nothing(painter, look)
        finally:
            painter.end()

    def _bed(self, painter: QPainter, look: Look, scale: TimeScale) -> None:
        thick = max(1, round(look.device_ratio))
        if look.fairway is not None:
            low, high = (float(look.axis.y_of(value)) for value in look.fairway)
            painter.fillRect(QRectF(0, high, scale.columns, low - high), QColor(look.theme.fairway))
        for value in look.ticks:
            y = round(float(look.axis.y_of(value)) - 0.5 * thick)
            painter.fillRect(QRectF(0, y, scale.columns, thick), QColor(look.theme.hairline))
        for value in look.fairway or ():  # over the hairlines: the band may be as narrow as one
            y = round(float(look.axis.y_of(value)) - 0.5 * thick)
            painter.fillRect(QRectF(0, y, scale.columns, thick), QColor(look.theme.fairway_edge))

    def _say_nothing(self, painter: QPainter, look: Look) -> None:
        from meter.low_end.lanes import NOT_KEPT, NOTHING

        text = NOTHING[self._lane.key] if self._pieces else NOT_KEPT
        painter.scale(look.device_ratio, look.device_ratio)
        painter.setFont(fonts.font(LABEL_PX))
        painter.setPen(QColor(look.theme.ink_soft))
        width = self._image.width() / look.device_ratio
        box = QRectF(8.0, 0.0, width - 16.0, look.axis.rows / look.device_ratio)
        flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
        written = painter.boundingRect(box, flags, text)
        # Ropes may lie there.
        painter.fillRect(written.adjusted(-6.0, -2.0, 6.0, 2.0), QColor(look.theme.paper))
        painter.drawText(box, flags, text)

    def _reach(self, scale: TimeScale) -> tuple[float, float]:
        return scale.left_column / scale.columns_a_slot - 50.0, scale.right_column / scale.columns_a_slot

    def _rope(self, painter: QPainter, look: Look, scale: TimeScale) -> int:
        from meter.low_end.picture import frays, knots, many_notes

        ratio, theme = look.device_ratio, look.theme
        first, last = self._reach(scale)
        rope = QColor(theme.series[0])
        loose = frays(self._pieces, first, last, loose=look.axis.lowest + 0.5)
        count = self._frays(painter, look, scale, loose)
        many = many_notes(self._pieces, first, last)
        if depth_far.are_too_many(many, look, scale):
            depth_far.rope(painter, look, scale, many)
            return count + len(many.start)
        found = list(knots(self._pieces, first, last))
        depths = look.axis.y_of(np.array([knot.octave for knot in found])).tolist()
        strokes: list[QLineF] = []
        falls: list[QLineF] = []
        before: tuple[float, float] | None = None
        half = 0.5 * ROPE_PX * ratio
        for knot, y in zip(found, depths, strict=True):
            x, end = scale.x_of(knot.start), scale.x_of(knot.end)
            painter.fillRect(QRectF(x, y - half, max(end - x, 1.0), 2.0 * half), rope)
            if knot.is_joined and before is not None:
                falls.append(QLineF(before[0], before[1], x, y))
            apart = knot.beat_slots * scale.columns_a_slot
            if 4.0 * ratio <= apart < end - x:
                at = np.arange(x + apart, end, apart)
                reach = STROKE_PX * ratio
                strokes += [QLineF(one - 0.4 * reach, y + reach, one + 0.4 * reach, y - reach) for one in at]
            before = (end, y)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        _lines(painter, falls, rope, ratio)
        _lines(painter, strokes, QColor(theme.series[1]), ratio)
        self._knots(painter, look, scale, found, depths)
        return count + len(found)

    def _knots(
        self,
        painter: QPainter,
        look: Look,
        scale: TimeScale,
        found: Sequence[Knot],
        depths: Sequence[float],
    ) -> None:
        theme, ratio = look.theme, look.device_ratio
        measure = fonts.metrics(LABEL_PX)
        labels: list[tuple[float, float, str]] = []
        free, spot = -1e9, (-1e9, 0.0)
        for number, knot in enumerate(found):
            x, y = scale.x_of(knot.start), depths[number]
            if x - spot[0] < 3.0 * ratio and abs(y - spot[1]) < 2.0:
                continue  # one on the other
            spot = (x, y)
            is_off = knot.is_off
            painter.setPen(QPen(QColor(theme.series[1 if is_off else 0]), ratio))
            painter.setBrush(QColor(theme.paper if is_off else theme.series[0]))
            reach = (KNOT_PX + (1.5 if is_off else 0.0)) * ratio
            painter.drawEllipse(QPointF(x, y), reach, reach)
            text = knot.name + (" outside the key" if knot.is_outside else "")
            wide = (measure.horizontalAdvance(text) + 14.0) * ratio
            if x < free or x + wide >= scale.columns or x <= 0.0:
                continue
            for base in (y - 9.0 * ratio, y + 18.0 * ratio):
                tall = measure.ascent() * ratio
                box = QRectF(x + ratio, base - tall, wide - 13.0 * ratio, tall + 2.0 * ratio)
                is_inside = box.top() >= 0.0 and box.bottom() <= look.axis.rows
                if is_inside and self._is_clear(scale, found, depths, number, box):
                    labels.append((x / ratio + 1.0, base / ratio, text))
                    free = x + wide
                    break
        painter.scale(ratio, ratio)
        painter.setFont(fonts.font(LABEL_PX))
        painter.setPen(QColor(theme.ink))
        for left, base, text in labels:
            painter.drawText(QPointF(left, base), text)
        painter.resetTransform()

    @staticmethod
    def _is_clear(
        scale: TimeScale, found: Sequence[Knot], depths: Sequence[float], number: int, box: QRectF
    ) -> bool:
        """Whether no rope runs through the place of a name."""
        for at in range(max(number - 1, 0), len(found)):
            left = scale.x_of(found[at].start)
            if left >= box.right():
                return True
            right, y = scale.x_of(found[at].end), depths[at]
            if right > box.left() and box.top() < y < box.bottom():
                return False
            before = depths[at - 1] if at and found[at].is_joined else y
            falls = min(before, y) < box.bottom() and max(before, y) > box.top()
            if before != y and falls and left > box.left() - 3.0:
                return False
        return True

    def _frays(
        self, painter: QPainter, look: Look, scale: TimeScale, found: Iterable[Fray]
    ) -> int:
        """Three loose strands, dashed: they lie at no depth of their own."""
        ratio, strands, count = look.device_ratio, [], 0
        reached = -math.inf
        for fray in found:
            x, end = scale.x_of(fray.start), scale.x_of(fray.end)
            count += 1
            if end - reached < 2.0 * ratio:
                continue  # no wider than what is there already
            y, reached = float(look.axis.y_of(fray.octave)), end
            at = np.arange(np.floor(x / 9.0) * 9.0, end, 9.0 * ratio)
            for number, splay in enumerate((-5.0, 0.0, 5.0)):
                for start in at:
                    left, right = max(start + 2.0 * number, x), min(start + 2.0 * number + 4.0 * ratio, end)
                    if right > left:
                        strands.append(QLineF(left, y + splay * ratio, right, y + splay * ratio))
        _lines(painter, strands, QColor(look.theme.ink_soft), ratio)
        return count

    def _kicks(self, painter: QPainter, look: Look, scale: TimeScale) -> int:
        from meter.low_end.picture import kick_marks, many_kicks, many_notes
        from meter.low_end.settings import LowEndSettings

        theme, ratio = look.theme, look.device_ratio
        first, last = self._reach(scale)
        depth_far.thin_rope(painter, look, scale, many_notes(self._pieces, first, last))
        many = many_kicks(self._pieces, first, last)
        if depth_far.are_too_many(many, look, scale):
            depth_far.kicks(painter, look, scale, many)
            return len(many.start)
        band = self._lane.wanted
        settings = LowEndSettings()
        if band is not None:
            settings = LowEndSettings(kick_band_hz=(2.0 ** band[0], 2.0 ** band[1]))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colour, count, spot = QColor(theme.series[1]), 0, (-1e9, 0.0)
        untold: list[QLineF] = []
        painter.setPen(QPen(colour, ratio))
        for mark in kick_marks(self._pieces, first, last, settings):
            count += 1
            x = scale.x_of(mark.start)
            y = float(look.axis.y_of(look.axis.highest if mark.octave is None else mark.octave))
            if x - spot[0] < 2.0 * ratio and abs(y - spot[1]) < 2.0:
                continue
            spot = (x, y)
            if mark.octave is None:
                untold.append(QLineF(x, y + 2.0 * ratio, x, y + 8.0 * ratio))
                continue
            painter.setBrush(colour if mark.is_inside else QColor(theme.paper))
            size = 4.5 * ratio
            tail = max(scale.x_of(mark.end), x + 2.0 * size)
            painter.drawPolygon(QPolygonF([QPointF(x, y - size), QPointF(x, y + size), QPointF(tail, y)]))
        _lines(painter, untold, QColor(theme.ink_soft), ratio)
        return count

    def _look_at_waters(self, scale: TimeScale) -> None:
        from meter.low_end.picture import waters

        self._waters = list(waters(self._pieces, *self._reach(scale), most=scale.columns))

    def _water(self, painter: QPainter, look: Look, scale: TimeScale) -> None:
        """Contours of what is lost: one shade more at each level."""
        theme, rows = look.theme, look.axis.rows
        height = (rows - 0.5) - np.arange(rows)
        span = look.axis.highest - look.axis.lowest
        octaves = look.axis.lowest + span * height / rows
        colours = np.stack(
            [
                raster.colour_bytes(colour)
                for colour in (theme.paper, *(blend(theme.series[0], theme.paper, share) for share in SHARES))
            ]
        )
        colours = np.ascontiguousarray(colours).view(np.uint32)[:, 0]
        for water in self._waters:
            lost = np.nan_to_num(water.lost_db, nan=0.0).astype(np.float32)
            bands = np.arange(len(water.octaves))
            place = np.interp(octaves, water.octaves, bands)
            below = np.minimum(place.astype(np.intp), len(bands) - 2)
            share = (place - below)[:, None].astype(np.float32)
            fine = (1.0 - share) * lost.T[below] + share * lost.T[below + 1]
            level = sum((fine <= edge).astype(np.uint8) for edge in LEVELS_DB)
            self._columns_of(painter, scale, water.slots, colours[level])

    @staticmethod
    def _columns_of(
        painter: QPainter,
        scale: TimeScale,
        slots: npt.NDArray[np.float64],
        pixels: npt.NDArray[np.uint32],
    ) -> None:
        """Columns of time, each as wide as until the next; where that is far off, as those before."""
        edges = np.rint(scale.x_of(slots)).astype(np.intp)
        step = int(edges[1] - edges[0]) if len(edges) > 1 else round(10.0 * scale.columns_a_slot)
        step = max(step, 1)
        wide = np.append(np.diff(edges), step)
        wide = np.clip(np.where(wide <= 2 * step + 2, wide, step), 0, None)
        at = np.arange(max(int(edges[0]), 0), min(int(edges[-1]) + step, scale.columns))
        if len(at) == 0:
            return
        column = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, None)
        is_there = at < edges[column] + wide[column]
        shown = np.ascontiguousarray(pixels[:, column])
        shown[:, ~is_there] = 0
        image = QImage(shown.data, len(at), len(shown), 4 * len(at), QImage.Format.Format_ARGB32)
        painter.drawImage(int(at[0]), 0, image)

    def _plumbs(self, painter: QPainter, look: Look, scale: TimeScale) -> int:
        """Plumb lines that bend by the phase between left and right; straight where there is none."""
        ratio, theme = look.device_ratio, look.theme
        apart = round(PLUMB_APART_PX * ratio)
        straight: list[QLineF] = []
        bent: list[QLineF] = []
        count = 0
        for water in self._waters:
            count += len(water.slots)
            columns = np.floor(water.slots * scale.columns_a_slot).astype(np.int64)
            ends = np.append(columns[1:], columns[-1] + max(1, round(10.0 * scale.columns_a_slot)))
            ys = [float(look.axis.y_of(octave)) for octave in water.octaves]
            number = -(-int(columns[0]) // apart) * apart
            for place in range(number, int(ends[-1]), apart):
                k = int(np.searchsorted(columns, place, side="right")) - 1
                if k < 0 or place >= ends[k]:
                    continue
                x = float(place - scale.left_column)
                phase = water.phase_deg[k]
                if not np.isfinite(phase).any():
                    continue
                straight.append(QLineF(x, 0.0, x, float(look.axis.rows)))
                for b in range(len(ys) - 1):
                    if abs(phase[b] - phase[b + 1]) < 180.0:  # neither unknown nor once around
                        one, two = (x + phase[j] / 180.0 * BEND_PX * ratio for j in (b, b + 1))
                        bent.append(QLineF(one, ys[b], two, ys[b + 1]))
        painter.setPen(QPen(QColor(theme.edge), 1.0, Qt.PenStyle.DotLine))
        painter.drawLines(straight)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        _lines(painter, bent, QColor(theme.series[1]), 2.0 * ratio)
        return count


def _lines(painter: QPainter, lines: Sequence[QLineF], colour: QColor, width_px: float) -> None:
    """Lines as thin ones side by side: a thick pen costs ten times as much."""
    painter.setPen(QPen(colour, 1.0))
    count = max(1, round(width_px))
    for number in range(count):
        shift = number - 0.5 * (count - 1)
        painter.drawLines([line.translated(shift, 0.0) for line in lines])


_PAINT: Final[dict[str, Callable[[DepthStrip, QPainter, Look, TimeScale], int]]] = {
    "sub": DepthStrip._rope,
    "kick": DepthStrip._kicks,
    "club": DepthStrip._plumbs,
}
