"""The bar at the right of the lane "How loud?": from the quietest to the loudest reference of the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QRectF
from PyQt6.QtGui import QColor, QPainter

from ui.furniture import Entry, height_of
from ui.layout import Layout
from ui.strip import Pen
from ui.theme import Theme

if TYPE_CHECKING:
    from meter.lanes import Lane
    from meter.shelf.spread import Spread

SPREAD_LANE: Final = "loudness"
WIDE_PX: Final = 5.0
BESIDE_PX: Final = 4.0
LEAST_PX: Final = 3.0
MIDDLE_PX: Final = 11.0
"""Width of the line across the bar, at the middle of the references."""

_SERIES: Final = 2
"""Of the theme's colours: the lane itself takes the first two."""


def spread_entry(spread: Spread, theme: Theme) -> Entry:
    """What the legend says of it."""
    return Entry(spread.label, theme.series[_SERIES], Pen(width_px=WIDE_PX), "shelf")


def paint_spread(
    painter: QPainter, spread: Spread, lanes: Sequence[Lane], layout: Layout, theme: Theme
) -> None:
    """Paint it beside its lane, where that is shown."""
    colour = QColor(theme.series[_SERIES])
    for lane, box in zip(lanes, layout.lanes):
        if lane.key != SPREAD_LANE:
            continue
        top, middle, bottom = (
            height_of(value, lane, box)
            for value in (spread.highest_lufs, spread.middle_lufs, spread.lowest_lufs)
        )
        left = box.plot.right() + BESIDE_PX
        high = max(bottom - top, LEAST_PX)
        painter.fillRect(QRectF(left, 0.5 * (top + bottom) - 0.5 * high, WIDE_PX, high), colour)
        across = left + 0.5 * (WIDE_PX - MIDDLE_PX)
        painter.fillRect(QRectF(across, middle - 1.0, MIDDLE_PX, 2.0), colour)
