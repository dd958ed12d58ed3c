"""The picture of a lane of the low end: knots on a rope at their depth, kicks, water over plumb lines.

Kept as an image that is moved while time goes on, and drawn anew when something new is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF

from ui import fonts, raster
from ui.layout import LABEL_PX
from ui.strip import Look
from ui.theme import blend
from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.lanes import Lane
    from meter.low_end.picture import Fray, Knot, Piece

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


class DepthStrip:
    """One lane of the low end."""

    def __init__(self, lane: Lane) -> None:
        self._lane = lane
        self._look: Look | None = None
        self._scale: TimeScale | None = None
        self._drawn: TimeScale | None = None
        self._pieces: Sequence[Piece] = ()
        self._image = QImage()

    def update(self, pieces: Sequence[Piece], look: Look, scale: TimeScale) -> int:
        """Draw what is new, or let it move on; how many columns it takes."""
        drawn = self._drawn
        is_same = (
            drawn is not None
            and look is self._look
            and pieces is self._pieces
            and drawn.columns == scale.columns
            and drawn.columns_a_slot == scale.columns_a_slot
            and 0 <= scale.left_column - drawn.left_column <= MOST_SHIFT
        )
        self._look, self._scale = look, scale
        if not is_same:
            self._pieces, self._drawn = pieces, scale
            self._draw()
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
        from meter.low_end.picture import frays, knots

        ratio, theme = look.device_ratio, look.theme
        first, last = self._reach(scale)
        rope = QColor(theme.series[0])
        loose = frays(self._pieces, first, last, loose=look.axis.lowest + 0.5)
        count = self._frays(painter, look, scale, loose)
        found = list(knots(self._pieces, first, last))
        strokes: list[QLineF] = []
        falls: list[QLineF] = []
        before: tuple[float, float] | None = None
        half = 0.5 * ROPE_PX * ratio
        for knot in found:
            x, end = scale.x_of(knot.start), scale.x_of(knot.end)
            y = float(look.axis.y_of(knot.octave))
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
        self._knots(painter, look, scale, found)
        return count + len(found)

    def _knots(
        self, painter: QPainter, look: Look, scale: TimeScale, found: Sequence[Knot]
    ) -> None:
        theme, ratio = look.theme, look.device_ratio
        measure = fonts.metrics(LABEL_PX)
        labels: list[tuple[float, float, str]] = []
        free, spot = -1e9, (-1e9, 0.0)
        for number, knot in enumerate(found):
            x, y = scale.x_of(knot.start), float(look.axis.y_of(knot.octave))
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
            if not self._is_between(found, number) and x >= free and x + wide < scale.columns and x > 0:
                has_room = y > 2.0 * measure.height() * ratio
                over = self._is_free_above(found, number, has_room, scale.slot_at(x + wide))
                labels.append((x / ratio + 1.0, y / ratio + (-9.0 if over else 18.0), text))
                free = x + wide
        painter.scale(ratio, ratio)
        painter.setFont(fonts.font(LABEL_PX))
        painter.setPen(QColor(theme.ink))
        for left, base, text in labels:
            painter.drawText(QPointF(left, base), text)
        painter.resetTransform()

    @staticmethod
    def _is_between(found: Sequence[Knot], number: int) -> bool:
        """Whether the rope comes from above and goes on down: no name would be clear of it."""
        if not 0 < number < len(found) - 1:
            return False
        before, here, after = found[number - 1 : number + 2]
        comes_down = here.is_joined and before.octave > here.octave + 0.02
        return comes_down and after.is_joined and after.octave < here.octave - 0.02

    @staticmethod
    def _is_free_above(found: Sequence[Knot], number: int, has_room: bool, until: float) -> bool:
        """Whether no rope runs up from a knot, or where its name would be: then that stands over it."""
        here = found[number]
        is_under = here.is_joined and number > 0 and found[number - 1].octave > here.octave + 0.02
        after = found[number + 1] if number + 1 < len(found) else None
        climbs = after is not None and after.is_joined and after.octave > here.octave + 0.02
        is_near = after is not None and after.start < until
        return has_room and not is_under and not (climbs and (here.is_joined or is_near))

    def _frays(
        self, painter: QPainter, look: Look, scale: TimeScale, found: Iterable[Fray]
    ) -> int:
        """Three loose strands, dashed: they lie at no depth of their own."""
        ratio, strands, count = look.device_ratio, [], 0
        for fray in found:
            x, end, y = scale.x_of(fray.start), scale.x_of(fray.end), float(look.axis.y_of(fray.octave))
            count += 1
            at = np.arange(np.floor(x / 9.0) * 9.0, end, 9.0 * ratio)
            for number, splay in enumerate((-5.0, 0.0, 5.0)):
                for start in at:
                    left, right = max(start + 2.0 * number, x), min(start + 2.0 * number + 4.0 * ratio, end)
                    if right > left:
                        strands.append(QLineF(left, y + splay * ratio, right, y + splay * ratio))
        _lines(painter, strands, QColor(look.theme.ink_soft), ratio)
        return count

    def _kicks(self, painter: QPainter, look: Look, scale: TimeScale) -> int:
        from meter.low_end.picture import kick_marks, knots
        from meter.low_end.settings import LowEndSettings

        theme, ratio = look.theme, look.device_ratio
        first, last = self._reach(scale)
        thin = QColor(theme.series[0])
        for knot in knots(self._pieces, first, last):
            x, y = scale.x_of(knot.start), float(look.axis.y_of(knot.octave))
            wide = max(scale.x_of(knot.end) - x, 1.0)
            painter.fillRect(QRectF(x, round(y), wide, max(1, round(ratio))), thin)
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

    def _water(self, painter: QPainter, look: Look, scale: TimeScale) -> None:
        """Contours of what is lost: one shade more at each level."""
        from meter.low_end.picture import waters

        first, last = self._reach(scale)
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
        for water in waters(self._pieces, first, last, most=scale.columns):
            lost = np.nan_to_num(water.lost_db, nan=0.0)
            fine = np.stack([np.interp(octaves, water.octaves, column) for column in lost], axis=1)
            level = sum((fine <= edge).astype(np.intp) for edge in LEVELS_DB)
            pixels = np.ascontiguousarray(colours[level], np.uint8)
            count = pixels.shape[1]
            image = QImage(pixels.data, count, rows, 4 * count, QImage.Format.Format_RGB32)
            edges = [round(scale.x_of(slot)) for slot in water.slots]
            step = edges[1] - edges[0] if count > 1 else max(1, round(10.0 * scale.columns_a_slot))
            for k, left in enumerate(edges):
                right = edges[k + 1] if k + 1 < count and edges[k + 1] - left <= 2 * step + 2 else left + step
                painter.drawImage(QRectF(left, 0, max(right - left, 1), rows), image, QRectF(k, 0, 1, rows))

    def _plumbs(self, painter: QPainter, look: Look, scale: TimeScale) -> int:
        """Plumb lines that bend by the phase between left and right; straight where there is none."""
        from meter.low_end.picture import waters

        ratio, theme = look.device_ratio, look.theme
        first, last = self._reach(scale)
        apart = round(PLUMB_APART_PX * ratio)
        straight: list[QLineF] = []
        bent: list[QLineF] = []
        count = 0
        for water in waters(self._pieces, first, last, most=scale.columns):
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
