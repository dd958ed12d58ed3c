"""The low end from far away: more notes or kicks than there is room for, drawn as pixels, all at once.

Hours cost no more than the width of the picture; nothing is drawn one by one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from PyQt6.QtCore import QLineF
from PyQt6.QtGui import QColor, QImage, QPainter, QPen

from meter.low_end.picture import JOINED_SLOTS
from ui import raster
from ui.strip import Look
from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.low_end.picture import Many

FAR_PX: Final = 7.0
"""Nearer than so many device-independent pixels to each other, on the whole, they are too many."""
ROPE_PX: Final = 2.0
DOT_PX: Final = 3.0
MARK_PX: Final = 6.0
UNTOLD_PX: Final = (2.0, 8.0)


def are_too_many(many: Many, look: Look, scale: TimeScale) -> bool:
    """Whether they would lie over each other."""
    if len(many.start) < 2:
        return False
    reach = scale.columns_a_slot * float(many.start[-1] - many.start[0]) / look.device_ratio
    return reach < FAR_PX * len(many.start)


def rope(painter: QPainter, look: Look, scale: TimeScale, many: Many) -> None:
    """Notes as stretches of rope with a knot at the head of each; those out of tune in the other colour."""
    tall, dot = (max(1, round(px * look.device_ratio)) for px in (ROPE_PX, DOT_PX))
    x, end = (scale.x_of(slots) for slots in (many.start, many.end))
    y = look.axis.y_of(many.octave)
    series = look.theme.series
    _bars(painter, scale, x, end, y, tall, series[0])
    follows = np.flatnonzero(many.start[1:] - many.end[:-1] <= JOINED_SLOTS) + 1
    _falls(painter, scale, x[follows], y[follows - 1], y[follows], series[0])
    for is_one, colour in ((~many.is_off, series[0]), (many.is_off, series[1])):
        _bars(painter, scale, x[is_one], x[is_one] + dot, y[is_one], dot + 2, colour)


def thin_rope(painter: QPainter, look: Look, scale: TimeScale, many: Many) -> None:
    """Only the stretches, as thin as can be."""
    x, end = (scale.x_of(slots) for slots in (many.start, many.end))
    y = look.axis.y_of(many.octave)
    _bars(painter, scale, x, end, y, max(1, round(look.device_ratio)), look.theme.series[0])


def kicks(painter: QPainter, look: Look, scale: TimeScale, many: Many) -> None:
    """A short upright mark at the depth of each body; at the top where it is not told."""
    ratio = look.device_ratio
    wide = max(1, round(ratio))
    is_told = np.isfinite(many.octave)
    x = scale.x_of(many.start)
    top, foot = (px * ratio for px in UNTOLD_PX)
    untold, told = x[~is_told], x[is_told]
    middle = np.full(len(untold), 0.5 * (top + foot))
    _bars(painter, scale, untold, untold + wide, middle, round(foot - top), look.theme.ink_soft)
    y = look.axis.y_of(many.octave[is_told])
    _bars(painter, scale, told, told + wide, y, round(MARK_PX * ratio), look.theme.series[1])


def _falls(
    painter: QPainter, scale: TimeScale, x: raster.Floats, y: raster.Floats, other: raster.Floats, colour: str
) -> None:
    """Where the rope goes down or up: one line in a column, over all that it reaches there."""
    column = np.clip(np.floor(x), 0, scale.columns - 1).astype(np.intp)
    top, foot = np.full(scale.columns, np.inf), np.full(scale.columns, -np.inf)
    np.minimum.at(top, column, np.minimum(y, other))
    np.maximum.at(foot, column, np.maximum(y, other))
    painter.setPen(QPen(QColor(colour), 1.0))
    painter.drawLines(
        [QLineF(at + 0.5, top[at], at + 0.5, foot[at]) for at in np.flatnonzero(foot > top).tolist()]
    )


def _bars(
    painter: QPainter,
    scale: TimeScale,
    left: raster.Floats,
    right: raster.Floats,
    y: raster.Floats,
    tall: int,
    colour: str,
) -> None:
    """Bars from left to right, `tall` pixels high around y: those at one height are one image."""
    columns = scale.columns
    first = np.clip(np.floor(left), 0, columns).astype(np.intp)
    stop = np.clip(np.maximum(np.ceil(right), first + 1), 0, columns).astype(np.intp)
    tops = np.rint(y - 0.5 * tall).astype(np.intp)
    whole = np.ascontiguousarray(raster.colour_bytes(colour)).view(np.uint32)[0]
    for top in np.unique(tops):
        is_here = tops == top
        begun = np.bincount(first[is_here], minlength=columns + 1)
        ended = np.bincount(stop[is_here], minlength=columns + 1)
        row = np.where(np.cumsum(begun - ended)[:columns] > 0, whole, np.uint32(0))
        pixels = np.ascontiguousarray(np.broadcast_to(row, (tall, columns)))
        image = QImage(pixels.data, columns, tall, 4 * columns, QImage.Format.Format_ARGB32)
        painter.drawImage(0, int(top), image)
