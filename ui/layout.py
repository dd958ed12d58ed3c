"""Where everything lies in the lanes: titles, plots, the room for flags, the axis of time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from PyQt6.QtCore import QRectF

from ui import flag
from ui.flag import FlagSize

TITLE_PX: Final = 15
LABEL_PX: Final = 12

NARROW_PX: Final = 620.0
"""A window not wider than this takes the small flags, and leaves the legend away."""

LOW_LANE_PX: Final = 84.0
"""Lanes not higher than this, one with another, do the same."""

FROM_FAR: Final = (flag.FAR, flag.LARGE, flag.MIDDLE, flag.NORMAL)
FAR_SHARE: Final = 0.45
"""Flags that are read from far take no more than this of the width."""

_LEFT: Final = 48.0
_TOP: Final = 6.0
_TITLE: Final = 24.0
_BETWEEN: Final = 9.0
_AXIS: Final = 32.0
HALYARD: Final = 22.0
"""From the tip of a line to the staff of its flag."""


def _has_room(size: FlagSize, width: float, lane_height: float) -> bool:
    """Whether two flags of this size have room in a lane."""
    return size.width <= FAR_SHARE * width and 2.0 * size.height + _BETWEEN <= lane_height - 0.5 * _AXIS


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneBox:
    """One lane, in logical pixels. The plot lies on whole device pixels."""

    title: QRectF
    plot: QRectF
    flags: QRectF

    @property
    def whole(self) -> QRectF:
        """All of it."""
        return self.title.united(self.plot).united(self.flags)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The lanes, one under another, and the axis below.

    Attributes
    ----------
    is_narrow : bool
        There is no room for the legend.
    columns : int
        Width of a plot in device pixels.
    """

    lanes: tuple[LaneBox, ...]
    axis: QRectF
    flag: FlagSize
    is_narrow: bool
    columns: int
    device_ratio: float

    @classmethod
    def of(
        cls,
        width: float,
        height: float,
        *,
        weights: Sequence[float],
        is_large: bool,
        is_far: bool = False,
        device_ratio: float,
    ) -> Layout:
        """Lay out so many lanes.

        Parameters
        ----------
        width, height : float
            Of the widget, in logical pixels.
        weights : sequence of float
            How high the lanes are against each other.
        is_large : bool
            Flags to be read from 1.5 m.
        is_far : bool
            Flags to be read from 2 m, as far as there is room for two of them in a lane.
        device_ratio : float
            Device pixels in a logical one.
        """
        count = max(len(weights), 1)
        is_narrow = width <= NARROW_PX or (height - _AXIS) / count <= LOW_LANE_PX
        size = flag.LARGE if is_large else flag.SMALL if is_narrow else flag.NORMAL
        if is_far:
            size = next((one for one in FROM_FAR if _has_room(one, width, height / count)), size)
        if size.width > 0.5 * width:
            size = flag.SMALL

        def snapped(value: float) -> float:
            return math.ceil(value * device_ratio - 1e-6) / device_ratio

        title = 20.0 if is_narrow else _TITLE
        between = 5.0 if is_narrow else _BETWEEN
        left = snapped(38.0 if is_narrow else _LEFT)
        room = size.width + HALYARD + 8.0
        columns = max(1, math.floor((width - left - room) * device_ratio))
        plot_width = columns / device_ratio
        lanes_height = height - _TOP - _AXIS - count * (title + between)
        total = sum(weights) or 1.0
        boxes = []
        y = _TOP
        for weight in weights:
            plot_top = snapped(y + title)
            rows = max(1, math.floor(lanes_height * weight / total * device_ratio))
            plot = QRectF(left, plot_top, plot_width, rows / device_ratio)
            boxes.append(
                LaneBox(
                    title=QRectF(0.0, y, width, plot_top - y),
                    plot=plot,
                    flags=QRectF(plot.right(), y, width - plot.right(), plot.bottom() - y + 0.5 * between),
                )
            )
            y = plot.bottom() + between
        axis = QRectF(left, height - _AXIS, plot_width, _AXIS)
        return cls(
            lanes=tuple(boxes),
            axis=axis,
            flag=size,
            is_narrow=is_narrow,
            columns=columns,
            device_ratio=device_ratio,
        )

    def rows(self, lane: int) -> int:
        """Height of a plot in device pixels."""
        return max(1, round(self.lanes[lane].plot.height() * self.device_ratio))
