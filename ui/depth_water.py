"""What mono loses, as water that grows darker; the phase of left and right, as plumb lines that bend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from PyQt6.QtCore import QLineF, Qt
from PyQt6.QtGui import QColor, QImage, QPainter, QPen

from ui import raster
from ui.depth_far import Part, thin_lines
from ui.strip import Look
from ui.theme import blend
from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.low_end.picture import Water

PLUMB_APART_PX: Final = 84
"""Device-independent pixels between two plumb lines, by absolute columns."""
BEND_PX: Final = 32.0
"""How far a plumb line bends for 180 degrees."""
LEVELS_DB: Final = (-1.0, -3.0, -6.0, -12.0)
SHARES: Final = (0.14, 0.3, 0.5, 0.72)


def reach_px(look: Look) -> int:
    """How far beside a part lies what bends into it, in device pixels."""
    return math.ceil((BEND_PX + 2.0) * look.device_ratio)


def contours(painter: QPainter, look: Look, scale: TimeScale, part: Part, waters: Sequence[Water]) -> None:
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
    for water in waters:
        lost = np.nan_to_num(water.lost_db, nan=0.0).astype(np.float32)
        bands = np.arange(len(water.octaves))
        place = np.interp(octaves, water.octaves, bands)
        below = np.minimum(place.astype(np.intp), len(bands) - 2)
        share = (place - below)[:, None].astype(np.float32)
        fine = (1.0 - share) * lost.T[below] + share * lost.T[below + 1]
        level = sum((fine <= edge).astype(np.uint8) for edge in LEVELS_DB)
        _columns_of(painter, scale, part, water.slots, colours[level])


def _columns_of(
    painter: QPainter,
    scale: TimeScale,
    part: Part,
    slots: npt.NDArray[np.float64],
    pixels: npt.NDArray[np.uint32],
) -> None:
    """Columns of time, each as wide as until the next; where that is far off, as those before."""
    edges = np.rint(scale.x_of(slots)).astype(np.intp)
    step = int(edges[1] - edges[0]) if len(edges) > 1 else round(10.0 * scale.columns_a_slot)
    step = max(step, 1)
    wide = np.append(np.diff(edges), step)
    wide = np.clip(np.where(wide <= 2 * step + 2, wide, step), 0, None)
    at = np.arange(max(int(edges[0]), part.left), min(int(edges[-1]) + step, part.right))
    if len(at) == 0:
        return
    column = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, None)
    is_there = at < edges[column] + wide[column]
    shown = np.ascontiguousarray(pixels[:, column])
    shown[:, ~is_there] = 0
    image = QImage(shown.data, len(at), len(shown), 4 * len(at), QImage.Format.Format_ARGB32)
    painter.drawImage(int(at[0]), 0, image)


def plumbs(painter: QPainter, look: Look, scale: TimeScale, part: Part, waters: Sequence[Water]) -> int:
    """Plumb lines that bend by the phase between left and right; straight where there is none."""
    ratio, theme = look.device_ratio, look.theme
    apart, reach = round(PLUMB_APART_PX * ratio), reach_px(look)
    straight: list[QLineF] = []
    bent: list[QLineF] = []
    count = 0
    for water in waters:
        count += len(water.slots)
        columns = np.floor(water.slots * scale.columns_a_slot).astype(np.int64)
        ends = np.append(columns[1:], columns[-1] + max(1, round(10.0 * scale.columns_a_slot)))
        ys = [float(look.axis.y_of(octave)) for octave in water.octaves]
        # A line of the part beside this one may bend into it.
        first = max(int(columns[0]), scale.left_column + part.left - reach)
        last = min(int(ends[-1]), scale.left_column + part.right + reach)
        for place in range(-(-first // apart) * apart, last, apart):
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
    thin_lines(painter, bent, QColor(theme.series[1]), 2.0 * ratio)
    return count
