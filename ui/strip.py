"""The picture of one lane: a ring of columns, of which only the new ones are drawn.

The column with the absolute number ``p`` lies at ``p modulo width``; what is seen is put on the
screen in at most two pieces. The bed under the curves (paper, hairlines, fairway) is part of each
column, so nothing has to be laid over anything when it is shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
from PyQt6.QtCore import QRectF
from PyQt6.QtGui import QImage, QPainter

from ui import curves, raster
from ui.curves import Axis, Numbers
from ui.theme import Theme, blend
from ui.time_scale import TimeScale

MARK_SHARE: Final = 0.14
"""Height of the marks where they have no place on the axis, against the lane's."""

DASH_PX: Final = 6.0
"""Length of a dash of the fairway's edges, and of the pause after it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """How a series is drawn: what tells it apart besides its colour.

    ``dash_px`` is the length of a dash and of a pause; () = unbroken.
    """

    width_px: float
    dash_px: tuple[float, float] | tuple[()] = ()


PENS: Final = (
    Pen(width_px=2.2),
    Pen(width_px=1.2),
    Pen(width_px=1.5, dash_px=(9.0, 3.0)),
    Pen(width_px=1.5, dash_px=(2.0, 2.5)),
)
"""In the order of the series of a lane."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One series in a lane."""

    key: str
    colour: str
    pen: Pen
    fill_to: float | None = None
    """A value; what lies between it and the line is tinted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """All that decides what the columns of a lane look like, beside the numbers.

    Attributes
    ----------
    fairway : tuple of two float or None
        Lowest and highest that is wanted; infinite where it is open.
    ticks : tuple of float
        Values with a hairline.
    over_key : str or None
        Key of a count that is marked at the top of its column.
    """

    theme: Theme
    axis: Axis
    device_ratio: float
    rows: tuple[Row, ...]
    ticks: tuple[float, ...] = ()
    fairway: tuple[float, float] | None = None
    over_key: str | None = None

    @property
    def limit_y(self) -> float:
        """Where overs begin: the upper edge of the fairway, or 0 without one; in device pixels.

        Where the axis is no level they are short marks at its upper end.
        """
        limit = math.inf if self.fairway is None else self.fairway[1]
        if self.axis.lowest >= 0.0:
            return MARK_SHARE * self.axis.rows
        return float(self.axis.y_of(limit if math.isfinite(limit) else 0.0))


@dataclass(slots=True)
class Strip:
    """The columns of one lane.

    Attributes
    ----------
    is_over : array of bool, shape (columns,)
        In which columns an over begins, in the order of the ring.
    """

    look: Look | None = None
    scale: TimeScale | None = None
    is_over: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, bool))
    _pixels: npt.NDArray[np.uint8] = field(default_factory=lambda: np.zeros((1, 1, 4), np.uint8))
    _image: QImage = field(default_factory=QImage)

    def update(self, numbers: Numbers | None, look: Look, scale: TimeScale) -> int:
        """Draw what is not drawn yet; how many columns that were."""
        first, last = scale.left_column, scale.right_column
        if look == self.look and self._goes_on(scale):
            assert self.scale is not None
            if (first, scale.last_slot) == (self.scale.left_column, self.scale.last_slot):
                return 0
            # What was newest had no successor yet, and hung in the air to the end of its column.
            density = scale.columns_a_slot
            behind = self.scale.last_slot * density - max(2.0 * density, 2.0) - raster.MARGIN
            first = max(first, int(behind))
        else:
            self._begin(look, scale)
        self.look, self.scale = look, scale
        self._draw(numbers, first, last)
        return last - first

    def _goes_on(self, scale: TimeScale) -> bool:
        """Whether the columns drawn so far are those of this scale too."""
        old = self.scale
        return (
            old is not None
            and old.columns == scale.columns
            and old.columns_a_slot == scale.columns_a_slot
            and old.first_slot == scale.first_slot
            and 0 <= scale.left_column - old.left_column < scale.columns
            and scale.last_slot >= old.last_slot
        )

    def _begin(self, look: Look, scale: TimeScale) -> None:
        rows, columns = look.axis.rows, scale.columns
        if self._pixels.shape[:2] != (rows, columns):
            self._pixels = np.zeros((rows, columns, 4), np.uint8)
            self._image = QImage(self._pixels.data, columns, rows, 4 * columns, QImage.Format.Format_RGB32)
        self.is_over = np.zeros(columns, bool)

    def _draw(self, numbers: Numbers | None, first: int, last: int) -> None:
        """Draw columns, in at most two stretches of the ring."""
        width = self._pixels.shape[1]
        first = max(first, last - width)
        at = first
        while at < last:
            place = at % width
            end = min(last, at + width - place, at + 8 * raster.CHUNK_COLUMNS)
            self._draw_run(numbers, at, end, place)
            at = end

    def _draw_run(self, numbers: Numbers | None, first: int, last: int, place: int) -> None:
        look, scale = self.look, self.scale
        assert look is not None and scale is not None
        picture = self._pixels[:, place : place + last - first]
        number = np.arange(first, last)
        picture[:] = bed(look, number)
        self.is_over[place : place + last - first] = False
        if numbers is None:
            return
        margin = raster.MARGIN
        found = [
            curves.curve(numbers, row.key, scale, look.axis, first - margin, last + margin)
            for row in look.rows
        ]
        inner = slice(margin, margin + last - first)
        for row, curve in zip(look.rows, found):
            self._fill(picture, row, curve, look, inner)
        for row, curve in zip(reversed(look.rows), reversed(found)):
            width = row.pen.width_px * look.device_ratio
            broken = dash(row.pen, first, last, look.device_ratio)
            raster.stroke(picture, curve.line, width=width, colour=row.colour, dash=broken)
        if look.over_key is not None:
            self.is_over[place : place + last - first] = curves.counts(
                numbers, look.over_key, scale, first, last
            )

    @staticmethod
    def _fill(picture: raster.Picture, row: Row, curve: curves.Curve, look: Look, inner: slice) -> None:
        fine = slice(inner.start * raster.FINE, inner.stop * raster.FINE)
        if row.fill_to is not None:
            base = np.full(fine.stop - fine.start, look.axis.y_of(row.fill_to))
            base[np.isnan(curve.line[fine])] = np.nan
            top, bottom = np.fmin(base, curve.line[fine]), np.fmax(base, curve.line[fine])
            raster.fill(picture, top, bottom, colour=look.theme.water, share=look.theme.water_share)
        if curve.top is not None and curve.bottom is not None:
            raster.fill(picture, curve.top[inner], curve.bottom[inner], colour=row.colour, share=0.38)

    def show(self, painter: QPainter, x: float, y: float) -> None:
        """Put it on the screen, its upper left corner at (x, y) in logical pixels."""
        scale, look = self.scale, self.look
        if scale is None or look is None:
            return
        ratio, rows, width = look.device_ratio, look.axis.rows, scale.columns
        start = scale.left_column % width
        for source, target, columns in ((start, 0, width - start), (0, width - start, start)):
            if columns:
                painter.drawImage(
                    QRectF(x + target / ratio, y, columns / ratio, rows / ratio),
                    self._image,
                    QRectF(source, 0, columns, rows),
                )

    def overs(self) -> list[int]:
        """Where overs begin, in device pixels from the left."""
        if self.scale is None or len(self.is_over) != self.scale.columns:
            return []
        found = np.roll(self.is_over, -(self.scale.left_column % self.scale.columns))
        places: list[int] = np.flatnonzero(found).tolist()
        return places


def dash(pen: Pen, first: int, last: int, device_ratio: float) -> npt.NDArray[np.float64] | None:
    """How much of a line is there, for `raster.stroke`; None = all of it."""
    if not pen.dash_px:
        return None
    on, off = (length * device_ratio for length in pen.dash_px)
    at = first + (np.arange(raster.FINE * (last - first)) + 0.5) / raster.FINE
    return ((at % (on + off)) < on).astype(np.float64)


def bed(look: Look, numbers: npt.NDArray[np.integer]) -> npt.NDArray[np.uint8]:
    """Columns without curves, by their numbers, shape (rows, columns, 4)."""
    beds = _beds(look)
    period = max(round(DASH_PX * look.device_ratio), 1)
    return beds[(numbers // period) % 2].transpose(1, 0, 2)


@lru_cache(maxsize=32)
def _beds(look: Look) -> npt.NDArray[np.uint8]:
    """Both kinds of column: with a pause in the fairway's edges, and with a dash."""
    return np.stack([_bed(look, is_dash=is_dash) for is_dash in (False, True)])


def _bed(look: Look, *, is_dash: bool) -> npt.NDArray[np.uint8]:
    """One column without curves, shape (rows, 4); with a dash of the fairway's edges or a pause."""
    axis, theme = look.axis, look.theme
    bed = np.empty((axis.rows, 4), np.uint8)
    bed[:] = raster.colour_bytes(theme.paper)
    thick = max(1, round(look.device_ratio))

    def hairline(value: float, colour: str) -> None:
        at = max(round(float(axis.y_of(value)) - 0.5 * thick), 0)
        bed[at : at + thick] = raster.colour_bytes(colour)

    if look.fairway is not None:
        low, high = look.fairway
        top = round(float(axis.y_of(high))) if high < axis.highest else 0
        bottom = round(float(axis.y_of(low))) if low > axis.lowest else axis.rows
        bed[top:bottom] = raster.colour_bytes(theme.fairway)
    for value in look.ticks:
        is_wanted = look.fairway is not None and look.fairway[0] <= value <= look.fairway[1]
        hairline(value, blend(theme.fairway_edge, theme.fairway, 0.22) if is_wanted else theme.hairline)
    if look.fairway is not None and is_dash:
        for value in look.fairway:
            if axis.lowest <= value <= axis.highest:
                hairline(value, theme.fairway_edge)
    return bed
