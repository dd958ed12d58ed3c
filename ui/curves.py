"""From the numbers of a timeline to heights in columns: where a series lies in a lane.

Nothing is measured here: a number of the timeline gets a place, and where several numbers share a
column, their lowest, highest and mean get one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np
import numpy.typing as npt

from ui.raster import FINE
from ui.time_scale import PARTS_A_COLUMN, TimeScale

Heights = npt.NDArray[np.float64]

LINE_FROM: Final = 0.5
"""From so many columns a slot on, a series is a line through its numbers; below, columns of them."""


class Numbers(Protocol):
    """What is needed of a timeline."""

    def values(self, key: str, first: int, last: int) -> npt.NDArray[np.float32]:
        """The numbers of the slots from `first` up to `last`."""

    def columns(self, key: str, *, slots_a_column: int, first_column: int, count: int) -> Any:
        """Lowest, highest and mean of so many slots at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """The upright axis of a lane, laid on so many rows.

    Attributes
    ----------
    lowest, highest : float
        Ends, in the lane's unit.
    rows : int
        Height of the picture in device pixels.
    pad : float
        Pixels that stay free above and below, so that a line at an end is whole.
    """

    lowest: float
    highest: float
    rows: int
    pad: float

    def y_of(self, value: Any) -> Any:
        """Height in pixels from the top of a value or an array; beyond an end it is at that end."""
        span = self.highest - self.lowest
        share = (np.clip(value, self.lowest, self.highest) - self.lowest) / span
        return self.pad + (1.0 - share) * (self.rows - 2.0 * self.pad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Heights of one series over some columns.

    Attributes
    ----------
    line : array, shape (columns * FINE,)
        Of the line; of the mean, where a column holds many slots.
    top, bottom : array, shape (columns,), or None
        Of all there was in a column, where it holds many slots.
    """

    line: Heights
    top: Heights | None = None
    bottom: Heights | None = None


def curve(numbers: Numbers, key: str, scale: TimeScale, axis: Axis, first: int, last: int) -> Curve:
    """Heights of a series.

    Parameters
    ----------
    first, last : int
        Numbers of the columns, from `first` up to `last`; `TimeScale` counts them.
    """
    if scale.columns_a_slot >= LINE_FROM:
        return Curve(line=_line(numbers, key, scale, axis, first, last))
    low, high, mean = _in_columns(numbers, key, scale, first - 1, last + 1)
    at = np.arange(FINE * (last - first)) / FINE + 0.5 + 0.5 / FINE
    line = np.interp(at, np.arange(len(mean)), axis.y_of(mean))
    # Where a neighbour is missing, a column of its own is still drawn.
    own = np.repeat(axis.y_of(mean[1:-1]), FINE)
    line = np.where(np.isnan(line), own, line)
    line[np.isnan(own)] = np.nan
    return Curve(line=line, top=axis.y_of(high[1:-1]), bottom=axis.y_of(low[1:-1]))


def _line(numbers: Numbers, key: str, scale: TimeScale, axis: Axis, first: int, last: int) -> Heights:
    density = scale.columns_a_slot
    at = (first + (np.arange(FINE * (last - first)) + 0.5) / FINE) / density  # in slots
    first_slot = max(scale.first_slot, math.floor(first / density) - 2)
    last_slot = min(scale.last_slot, math.ceil(last / density) + 2)
    if last_slot <= first_slot:
        return np.full(len(at), np.nan)
    heights = axis.y_of(numbers.values(key, first_slot, last_slot).astype(np.float64))
    # A slot's number is known at its end; half a slot to either side it holds by itself.
    place = np.arange(first_slot, last_slot) + 0.5
    line = np.interp(at, place, heights)
    slot = np.clip(np.floor(at).astype(np.int64) - first_slot, 0, len(heights) - 1)
    own = heights[slot]
    line = np.where(np.isnan(line), own, line)
    line[np.isnan(own) | (at < scale.first_slot) | (at >= scale.last_slot)] = np.nan
    return line


def counts(numbers: Numbers, key: str, scale: TimeScale, first: int, last: int) -> npt.NDArray[np.bool_]:
    """In which columns a count is not 0."""
    if scale.columns_a_slot < LINE_FROM:
        _, high, _ = _in_columns(numbers, key, scale, first, last)
        return np.nan_to_num(high) > 0.0
    density = scale.columns_a_slot
    found = np.zeros(last - first, bool)
    first_slot = max(scale.first_slot, math.floor(first / density))
    last_slot = min(scale.last_slot, math.ceil(last / density) + 1)
    if last_slot > first_slot:
        slots = first_slot + np.flatnonzero(np.nan_to_num(numbers.values(key, first_slot, last_slot)) > 0.0)
        columns = np.floor((slots + 0.5) * density).astype(np.int64) - first
        found[columns[(columns >= 0) & (columns < len(found))]] = True
    return found


def _in_columns(
    numbers: Numbers, key: str, scale: TimeScale, first: int, last: int
) -> tuple[Heights, Heights, Heights]:
    """Lowest, highest and mean in each column; NaN where nothing is."""
    density = scale.columns_a_slot
    slots = max(1, int(1.0 / (density * PARTS_A_COLUMN)))
    part = max(math.floor(first / (density * slots)) - 1, scale.first_slot // slots, 0)
    end = min(math.ceil(last / (density * slots)) + 1, -(-scale.last_slot // slots))
    low, high, mean = (np.full(last - first, np.nan) for _ in range(3))
    if end <= part:
        return low, high, mean
    found = numbers.columns(key, slots_a_column=slots, first_column=part, count=end - part)
    at = np.floor(np.arange(part, end) * slots * density).astype(np.int64) - first
    inside = (at >= 0) & (at < last - first)
    at = at[inside]
    if len(at) == 0:
        return low, high, mean
    starts = np.flatnonzero(np.diff(at, prepend=at[0] - 1))
    place = at[starts]
    low[place] = np.fmin.reduceat(found.low[inside], starts)
    high[place] = np.fmax.reduceat(found.high[inside], starts)
    means = found.mean[inside].astype(np.float64)
    there = ~np.isnan(means)
    total = np.add.reduceat(np.where(there, means, 0.0), starts)
    count = np.add.reduceat(there, starts)
    mean[place] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return low, high, mean
