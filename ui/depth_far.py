"""The low end from far away: more notes or kicks than there is room for, drawn as pixels, all at once.

Nothing is drawn one by one. A picture of hours is drawn part by part, see `ui.depth_strip`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from PyQt6.QtCore import QLineF
from PyQt6.QtGui import QColor, QImage, QPainter, QPen

from meter.low_end.picture import JOINED_SLOTS
from ui import raster
from ui.strip import Look
from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.low_end.picture import Count, Many

FAR_PX: Final = 7.0
"""Nearer than so many device-independent pixels to each other, on the whole, they are too many."""
ROPE_PX: Final = 2.0
DOT_PX: Final = 3.0
MARK_PX: Final = 6.0
UNTOLD_PX: Final = (2.0, 8.0)


@dataclass(frozen=True, slots=True)
class Part:
    """The columns of a picture that are drawn at once: from `left` up to `right`, in device pixels."""

    left: int
    right: int

    @property
    def columns(self) -> int:
        """How many."""
        return self.right - self.left

    def slots(self, scale: TimeScale) -> tuple[float, float]:
        """The stretch of time that it shows."""
        first, last = (scale.left_column + at for at in (self.left, self.right))
        return first / scale.columns_a_slot, last / scale.columns_a_slot


def are_too_many(count: Count, look: Look, scale: TimeScale) -> bool:
    """Whether they would lie over each other."""
    if count.number < 2:
        return False
    reach = scale.columns_a_slot * (count.last - count.first) / look.device_ratio
    return reach < FAR_PX * count.number


def thin_lines(painter: QPainter, lines: Sequence[QLineF], colour: QColor, width_px: float) -> None:
    """Lines as thin ones side by side: a thick pen costs ten times as much."""
    painter.setPen(QPen(colour, 1.0))
    count = max(1, round(width_px))
    for number in range(count):
        shift = number - 0.5 * (count - 1)
        painter.drawLines([line.translated(shift, 0.0) for line in lines])


def rope(painter: QPainter, look: Look, scale: TimeScale, part: Part, many: Many) -> None:
    """Notes as stretches of rope with a knot at the head of each; those out of tune in the other colour."""
    tall, dot = (max(1, round(px * look.device_ratio)) for px in (ROPE_PX, DOT_PX))
    x, end = (scale.x_of(slots) for slots in (many.start, many.end))
    y = look.axis.y_of(many.octave)
    series = look.theme.series
    _bars(painter, part, x, end, y, tall, series[0])
    follows = np.flatnonzero(many.start[1:] - many.end[:-1] <= JOINED_SLOTS) + 1
    _falls(painter, part, x[follows], y[follows - 1], y[follows], series[0])
    for is_one, colour in ((~many.is_off, series[0]), (many.is_off, series[1])):
        _bars(painter, part, x[is_one], x[is_one] + dot, y[is_one], dot + 2, colour)


def thin_rope(painter: QPainter, look: Look, scale: TimeScale, part: Part, many: Many) -> None:
    """Only the stretches, as thin as can be."""
    x, end = (scale.x_of(slots) for slots in (many.start, many.end))
    y = look.axis.y_of(many.octave)
    _bars(painter, part, x, end, y, max(1, round(look.device_ratio)), look.theme.series[0])


def kicks(painter: QPainter, look: Look, scale: TimeScale, part: Part, many: Many) -> None:
    """A short upright mark at the depth of each body; at the top where it is not told."""
    ratio = look.device_ratio
    wide = max(1, round(ratio))
    is_told = np.isfinite(many.octave)
    x = scale.x_of(many.start)
    top, foot = (px * ratio for px in UNTOLD_PX)
    untold, told = x[~is_told], x[is_told]
    middle = np.full(len(untold), 0.5 * (top + foot))
    _bars(painter, part, untold, untold + wide, middle, round(foot - top), look.theme.ink_soft)
    y = look.axis.y_of(many.octave[is_told])
    _bars(painter, part, told, told + wide, y, round(MARK_PX * ratio), look.theme.series[1])


def _falls(
    painter: QPainter, part: Part, x: raster.Floats, y: raster.Floats, other: raster.Floats, colour: str
) -> None:
    """Where the rope goes down or up: one line in a column, over all that it reaches there."""
    is_here = (x >= part.left) & (x < part.right)
    column = np.floor(x[is_here]).astype(np.intp) - part.left
    top, foot = np.full(part.columns, np.inf), np.full(part.columns, -np.inf)
    np.minimum.at(top, column, np.minimum(y, other)[is_here])
    np.maximum.at(foot, column, np.maximum(y, other)[is_here])
    painter.setPen(QPen(QColor(colour), 1.0))
    painter.drawLines(
        [
            QLineF(part.left + at + 0.5, top[at], part.left + at + 0.5, foot[at])
            for at in np.flatnonzero(foot > top).tolist()
        ]
    )


def _bars(
    painter: QPainter,
    part: Part,
    left: raster.Floats,
    right: raster.Floats,
    y: raster.Floats,
    tall: int,
    colour: str,
) -> None:
    """Bars from left to right, `tall` pixels high around y: all in one image."""
    if len(left) == 0:
        return
    columns = part.columns
    begin = np.floor(left) - part.left
    first = np.clip(begin, 0, columns).astype(np.intp)
    stop = np.clip(np.maximum(np.ceil(right) - part.left, begin + 1), 0, columns).astype(np.intp)
    tops, row = np.unique(np.rint(y - 0.5 * tall).astype(np.intp), return_inverse=True)
    size = (len(tops), columns + 1)
    begun, ended = (
        np.bincount(row * size[1] + at, minlength=size[0] * size[1]).reshape(size) for at in (first, stop)
    )
    is_bar = np.cumsum(begun - ended, axis=1)[:, :columns] > 0
    whole = np.ascontiguousarray(raster.colour_bytes(colour)).view(np.uint32)[0]
    pixels = np.zeros((int(tops[-1] - tops[0]) + tall, columns), np.uint32)
    for number in range(tall):
        pixels[tops - tops[0] + number] |= np.where(is_bar, whole, np.uint32(0))
    image = QImage(pixels.data, columns, len(pixels), 4 * columns, QImage.Format.Format_ARGB32)
    painter.drawImage(part.left, int(tops[0]), image)
