"""The picture of a lane of the low end: knots on a rope at their depth, kicks, water over plumb lines.

Kept as an image that is moved while time goes on, and drawn anew when something new is known, part by part:
behind the old image where that can stay, over it where another part of time is to be seen.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from PyQt6.QtCore import QLineF, QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF

from meter.low_end.picture import (
    count_of_kicks,
    count_of_notes,
    frays,
    kick_marks,
    knots,
    many_kicks,
    many_notes,
    water_span,
    waters,
)
from meter.low_end.settings import LowEndSettings
from ui import depth_far, depth_water, fonts
from ui.depth_far import Part, thin_lines
from ui.layout import LABEL_PX
from ui.strip import Look
from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.lanes import Lane
    from meter.low_end.picture import Fray, Knot, Piece

KNOT_PX: Final = 4.0
ROPE_PX: Final = 2.0
STROKE_PX: Final = 5.0
MOST_SHIFT: Final = 12
"""Columns that an image is moved before it is drawn anew."""

PART_PIXELS: Final = 60_000
PART_THINGS: Final = 2_000
"""So many pixels of water, so many notes and kicks, are drawn at once: 2 to 3 ms. What is more is drawn
part by part, as many each time as there is time for."""
FAR_PIXELS: Final = 300_000
"""The same of what is drawn from far away: there most pixels are empty."""
LEAST_PART: Final = 16
REACH_PX: Final = 8.0
REACH_SLOTS: Final = 50.0
"""A knot, a mark and its tail reach no farther to the right."""
REST: Final = 20.0
"""What takes long to be drawn, hours at once, is drawn anew only after so many times as long."""


@dataclass(slots=True)
class _Drawing:
    """A picture that is being drawn."""

    pieces: Sequence[Piece]
    look: Look
    scale: TimeScale
    parts: list[Part]  # still to be drawn, the next one last
    is_far: bool
    image: QImage
    is_hidden: bool  # it takes the place of the old one once it is whole
    count: int = 0
    took_s: float = 0.0


class DepthStrip:
    """One lane of the low end.

    Attributes
    ----------
    is_behind : bool
        Something is not drawn yet: `update` it again.
    """

    def __init__(self, lane: Lane) -> None:
        self._lane = lane
        self._look: Look | None = None
        self._scale: TimeScale | None = None
        self._drawn: TimeScale | None = None
        self._pieces: Sequence[Piece] = ()
        self.is_behind = False
        self._drew_s = self._took_s = 0.0
        self._image, self._spare = QImage(), QImage()
        self._drawing: _Drawing | None = None

    def update(
        self, pieces: Sequence[Piece], look: Look, scale: TimeScale, *, until_s: float = math.inf
    ) -> int:
        """Draw what is new, or let it move on; how many columns of it look different.

        Parameters
        ----------
        pieces : sequence of Piece
        look : Look
        scale : TimeScale
        until_s : float
            No part is begun later, by `time.monotonic`.
        """
        drawn, before = self._drawn, self._look
        is_other = look is not before or scale != self._scale
        has_moved_only = look is before and _shift(drawn, scale) <= MOST_SHIFT
        self._look, self._scale = look, scale
        is_new = self._drawing is None and pieces is not self._pieces and self._has_rested()
        is_new = is_new and time.monotonic() < until_s  # to begin copies the old one: not all lanes at once
        if not has_moved_only or is_new:
            self._begin(pieces, look, scale, keeps=look is before, is_hidden=has_moved_only)
            is_other = is_other or not has_moved_only
        while (drawing := self._drawing) is not None and time.monotonic() < until_s:
            self._go_on(drawing)
            is_other = is_other or not drawing.is_hidden or not drawing.parts
        self.is_behind = self._drawing is not None or pieces is not self._pieces
        return scale.columns if is_other else 0

    def _has_rested(self) -> bool:
        return time.monotonic() - self._drew_s >= REST * self._took_s

    def _begin(
        self, pieces: Sequence[Piece], look: Look, scale: TimeScale, *, keeps: bool, is_hidden: bool
    ) -> None:
        """A new picture; hidden, or what the old one has of it stays there until its part is drawn anew."""
        rows, whole = look.axis.rows, Part(0, scale.columns)
        shift = _shift(self._drawn, scale) if keeps else scale.columns
        image = self._spare
        if image.size() != QSize(scale.columns, rows):
            image = QImage(scale.columns, rows, QImage.Format.Format_RGB32)
        if not is_hidden:
            self._keep_old(image, look, scale, shift)
        undone = scale.columns
        if self._drawing is not None:  # given up: it rests as if it were whole
            self._drew_s, self._took_s = time.monotonic(), max(self._took_s, self._drawing.took_s)
        is_given_up = self._drawing is not None and not self._drawing.is_hidden and not is_hidden
        if shift < scale.columns and is_given_up and self._drawing is not None and self._drawing.parts:
            undone = self._drawing.parts[-1].right - shift
        first, last = self._reach(look, scale, whole)
        kind, number, is_far = self._lane.picture, 0, False
        if kind != "club":
            notes, kicks = count_of_notes(pieces, first, last), count_of_kicks(pieces, first, last)
            is_far = depth_far.are_too_many(notes if kind == "sub" else kicks, look, scale)
            number = notes.number + kicks.number * (kind == "kick")
        parts = self._parts(pieces, look, scale, number, is_far=is_far)
        # The newest first, then what was never reached, then the rest.
        waiting = [part for part in parts[:-1] if part.left < undone]
        parts = [*(part for part in parts[:-1] if part.left >= undone), *waiting, parts[-1]]
        self._pieces, self._spare = pieces, image
        self._drawing = _Drawing(pieces, look, scale, parts, is_far, image, is_hidden)
        if not is_hidden:
            self._show_image(image, scale)

    def _keep_old(self, image: QImage, look: Look, scale: TimeScale, shift: int) -> None:
        """What the old picture has of a new one, and nothing beside it."""
        rows, left = look.axis.rows, scale.columns - shift
        painter = QPainter(image)
        try:
            painter.drawImage(0, 0, self._image, shift, 0, left, rows)
            bare = Part(left, scale.columns)
            painter.fillRect(bare.left, 0, bare.columns, rows, QColor(look.theme.paper))
            self._bed(painter, look, bare)
        finally:
            painter.end()

    def _show_image(self, image: QImage, scale: TimeScale) -> None:
        self._image, self._spare, self._drawn = image, self._image, scale

    def _parts(
        self, pieces: Sequence[Piece], look: Look, scale: TimeScale, number: int, *, is_far: bool
    ) -> list[Part]:
        """How the columns are cut; not where names are written, which need to know of each other."""
        step = columns = scale.columns
        first, last = 0, columns  # where there is anything
        if self._lane.picture == "club":
            step = PART_PIXELS // look.axis.rows
            span = water_span(pieces) or (0.0, 0.0)
            first, last = (math.ceil(min(max(scale.x_of(slot), 0.0), columns)) for slot in span)
        elif is_far or self._lane.picture == "kick":
            step = min(columns * PART_THINGS // max(number, 1), FAR_PIXELS // look.axis.rows)
        edges = [0, *range(first + max(step, LEAST_PART), last, max(step, LEAST_PART)), columns]
        return [Part(left, right) for left, right in pairwise(edges)]

    def _go_on(self, drawing: _Drawing) -> None:
        """Draw the next part."""
        began_s = time.monotonic()
        self._draw(drawing, drawing.parts.pop())
        is_over = not drawing.parts
        if is_over and not drawing.count:
            self._say_nothing(drawing)
        now_s = time.monotonic()
        drawing.took_s += now_s - began_s
        if is_over:
            self._drawing, self._drew_s, self._took_s = None, now_s, drawing.took_s
            if drawing.is_hidden:
                self._show_image(drawing.image, drawing.scale)

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

    def _draw(self, drawing: _Drawing, part: Part) -> None:
        """Draw the columns of a part; they know nothing of what was there."""
        look = drawing.look
        painter = QPainter(drawing.image)
        try:
            painter.setClipRect(part.left, 0, part.columns, look.axis.rows)
            painter.fillRect(part.left, 0, part.columns, look.axis.rows, QColor(look.theme.paper))
            if self._lane.picture != "club":  # there it lies over the water
                self._bed(painter, look, part)
            drawing.count += _PAINT[self._lane.picture](self, painter, drawing, part)
        finally:
            painter.end()

    def _bed(self, painter: QPainter, look: Look, part: Part) -> None:
        thick = max(1, round(look.device_ratio))
        if look.fairway is not None:
            low, high = (float(look.axis.y_of(value)) for value in look.fairway)
            painter.fillRect(QRectF(part.left, high, part.columns, low - high), QColor(look.theme.fairway))
        for value in look.ticks:
            y = round(float(look.axis.y_of(value)) - 0.5 * thick)
            painter.fillRect(QRectF(part.left, y, part.columns, thick), QColor(look.theme.hairline))
        for value in look.fairway or ():  # over the hairlines: the band may be as narrow as one
            y = round(float(look.axis.y_of(value)) - 0.5 * thick)
            painter.fillRect(QRectF(part.left, y, part.columns, thick), QColor(look.theme.fairway_edge))

    def _say_nothing(self, drawing: _Drawing) -> None:
        from meter.low_end.lanes import NOT_KEPT, NOTHING

        look = drawing.look
        text = NOTHING[self._lane.key] if drawing.pieces else NOT_KEPT
        painter = QPainter(drawing.image)
        try:
            painter.scale(look.device_ratio, look.device_ratio)
            painter.setFont(fonts.font(LABEL_PX))
            painter.setPen(QColor(look.theme.ink_soft))
            width = drawing.scale.columns / look.device_ratio
            box = QRectF(8.0, 0.0, width - 16.0, look.axis.rows / look.device_ratio)
            flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
            written = painter.boundingRect(box, flags, text)
            # Ropes may lie there.
            painter.fillRect(written.adjusted(-6.0, -2.0, 6.0, 2.0), QColor(look.theme.paper))
            painter.drawText(box, flags, text)
        finally:
            painter.end()

    @staticmethod
    def _reach(look: Look, scale: TimeScale, part: Part) -> tuple[float, float]:
        """The slots of a part, and of what reaches into it from before."""
        before = math.ceil(REACH_PX * look.device_ratio)
        first, last = Part(part.left - before, part.right + 2).slots(scale)
        return first - REACH_SLOTS, last

    def _rope(self, painter: QPainter, drawing: _Drawing, part: Part) -> int:
        look, scale, pieces = drawing.look, drawing.scale, drawing.pieces
        ratio, theme = look.device_ratio, look.theme
        first, last = self._reach(look, scale, part)
        rope = QColor(theme.series[0])
        loose = frays(pieces, first, last, loose=look.axis.lowest + 0.5)
        count = self._frays(painter, look, scale, part, loose)
        if drawing.is_far:
            many = many_notes(pieces, first, last)
            depth_far.rope(painter, look, scale, part, many)
            return count + len(many.start)
        found = list(knots(pieces, first, last))
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
        thin_lines(painter, falls, rope, ratio)
        thin_lines(painter, strokes, QColor(theme.series[1]), ratio)
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
        self, painter: QPainter, look: Look, scale: TimeScale, part: Part, found: Iterable[Fray]
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
            begin, step = math.floor(x / 9.0) * 9.0, 9.0 * ratio
            begin += step * max(0, math.floor((part.left - begin) / step) - 1)
            at = np.arange(begin, min(end, part.right + step), step)
            for number, splay in enumerate((-5.0, 0.0, 5.0)):
                for start in at:
                    left, right = max(start + 2.0 * number, x), min(start + 2.0 * number + 4.0 * ratio, end)
                    if right > left:
                        strands.append(QLineF(left, y + splay * ratio, right, y + splay * ratio))
        thin_lines(painter, strands, QColor(look.theme.ink_soft), ratio)
        return count

    def _kicks(self, painter: QPainter, drawing: _Drawing, part: Part) -> int:
        look, scale, pieces = drawing.look, drawing.scale, drawing.pieces
        theme, ratio = look.theme, look.device_ratio
        first, last = self._reach(look, scale, part)
        depth_far.thin_rope(painter, look, scale, part, many_notes(pieces, first, last))
        if drawing.is_far:
            many = many_kicks(pieces, first, last)
            depth_far.kicks(painter, look, scale, part, many)
            return len(many.start)
        band = self._lane.wanted
        settings = LowEndSettings()
        if band is not None:
            settings = LowEndSettings(kick_band_hz=(2.0 ** band[0], 2.0 ** band[1]))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        colour, count, spot = QColor(theme.series[1]), 0, (-1e9, 0.0)
        untold: list[QLineF] = []
        painter.setPen(QPen(colour, ratio))
        for mark in kick_marks(pieces, first, last, settings):
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
        thin_lines(painter, untold, QColor(theme.ink_soft), ratio)
        return count

    def _club(self, painter: QPainter, drawing: _Drawing, part: Part) -> int:
        look, scale = drawing.look, drawing.scale
        reach = depth_water.reach_px(look)
        wide = Part(part.left - reach, part.right + reach)
        found = list(waters(drawing.pieces, *wide.slots(scale), most=wide.columns))
        depth_water.contours(painter, look, scale, part, found)
        self._bed(painter, look, part)
        return depth_water.plumbs(painter, look, scale, part, found)


def _shift(drawn: TimeScale | None, scale: TimeScale) -> int:
    """By how many columns a picture has moved to the left; all of them where it is another one."""
    if drawn is None or (drawn.columns, drawn.columns_a_slot) != (scale.columns, scale.columns_a_slot):
        return scale.columns
    shift = scale.left_column - drawn.left_column
    return shift if 0 <= shift < scale.columns else scale.columns


_PAINT: Final[dict[str, Callable[[DepthStrip, QPainter, _Drawing, Part], int]]] = {
    "sub": DepthStrip._rope,
    "kick": DepthStrip._kicks,
    "club": DepthStrip._club,
}
