"""The axis of time, drawn as the border of a chart: segments in turn filled and open, one a step."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPen

from meter.soundings import SOUNDINGS_A_SECOND
from ui import fonts
from ui.layout import LABEL_PX
from ui.theme import Theme
from ui.time_scale import TimeScale

STEPS_S: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800)

ROOM_PX: Final = 74.0
"""Between two labels at least."""

BORDER_PX: Final = 5.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A place on the axis: logical pixels from its left, and what is written there."""

    x: float
    text: str
    is_filled: bool
    """Whether the segment that begins here is filled."""


def marks(scale: TimeScale, *, width: float) -> list[Mark]:
    """The places of an axis that is `width` logical pixels wide."""
    seconds = scale.shown_slots / SOUNDINGS_A_SECOND
    step_s = next((step for step in STEPS_S if width * step / seconds >= ROOM_PX), STEPS_S[-1])
    if scale.view.is_live:
        return list(_ago(seconds, step_s, width))
    return list(_since(scale, step_s, width))


def _ago(seconds: float, step_s: int, width: float) -> Iterator[Mark]:
    count = math.floor(seconds / step_s + 1e-9)
    for k in range(count, -1, -1):
        text = "now" if k == 0 else _ago_text(k * step_s, step_s)
        if k == count and k:
            text += " ago"
        yield Mark(width * (1.0 - k * step_s / seconds), text, k % 2 == 1)


def _ago_text(seconds: int, step_s: int) -> str:
    if seconds < 60 or (seconds == 60 and step_s < 60):
        return f"{seconds} s"
    if seconds % 3600 == 0:
        return f"{seconds // 3600} h"
    if seconds % 60 == 0 and seconds < 3600:
        return f"{seconds // 60} min"
    return f"{seconds} s" if seconds < 120 else clock_text(seconds)


def _since(scale: TimeScale, step_s: int, width: float) -> Iterator[Mark]:
    view = scale.view
    origin = view.first_slot if view.origin_slot is None else view.origin_slot
    step = step_s * SOUNDINGS_A_SECOND
    pixels = width / scale.columns
    first = math.ceil((scale.left_column / scale.columns_a_slot - origin) / step - 1e-9)
    last = math.floor((scale.right_column / scale.columns_a_slot - origin) / step + 1e-9)
    for k in range(first, last + 1):
        yield Mark(scale.x_of(origin + k * step) * pixels, clock_text(k * step_s), k % 2 == 0)


def clock_text(seconds: float) -> str:
    """m:ss, or h:mm:ss from an hour on; before the origin with a minus."""
    whole = round(abs(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, rest_s = divmod(rest, 60)
    text = f"{hours}:{minutes:02d}:{rest_s:02d}" if hours else f"{minutes}:{rest_s:02d}"
    return f"−{text}" if seconds <= -0.5 else text


def bar_marks(*, bars: int, width: float) -> list[Mark]:
    """The places of a phrase of so many bars."""
    every = 4 if width / bars < 46.0 else 2 if width / bars < 70.0 else 1
    return [
        Mark(
            width * bar / bars,
            "" if bar % every or bar == bars else f"bar {bar + 1}" if bar == 0 else f"{bar + 1}",
            bar % 2 == 0,
        )
        for bar in range(bars + 1)
    ]


def paint(painter: QPainter, found: list[Mark], box: QRectF, theme: Theme) -> None:
    """Paint the border and its labels."""
    border = QRectF(box.left(), box.top() + 1.0, box.width(), BORDER_PX)
    ink = QColor(theme.ink_soft)
    painter.fillRect(border, QColor(theme.sheet))
    places = [0.0, *(mark.x for mark in found), box.width()]
    filled = [not found[0].is_filled if found else False, *(mark.is_filled for mark in found)]
    for start, end, is_filled in zip(places, places[1:], filled):
        if is_filled and end > start:
            painter.fillRect(QRectF(border.left() + start, border.top(), end - start, BORDER_PX), ink)
    painter.setPen(QPen(ink, 1.0))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRect(border.adjusted(0.5, 0.5, -0.5, -0.5))
    measure = fonts.metrics(LABEL_PX)
    painter.setFont(fonts.font(LABEL_PX))
    base = border.bottom() + 6.0 + measure.capHeight()
    for x, _, text in _labels(found, box):
        painter.drawText(QPointF(x, base), text)


def _labels(found: list[Mark], box: QRectF) -> Iterator[tuple[float, float, str]]:
    """Where the labels begin, how wide they are, and what they say; those for which there is room."""
    measure = fonts.metrics(LABEL_PX)
    free = -math.inf
    for mark in found:
        wide = measure.horizontalAdvance(mark.text)
        x = min(max(box.left() + mark.x - 0.5 * wide, box.left()), box.right() - wide)
        if mark.text and x > free:
            yield x, wide, mark.text
            free = x + wide + 8.0


def wipe_under(painter: QPainter, tag: QRectF, found: list[Mark], box: QRectF, theme: Theme) -> None:
    """Take away the labels that a tag on the axis would cover in part: half a time is none."""
    top = box.top() + 1.0 + BORDER_PX + 2.0
    for x, wide, _ in _labels(found, box):
        if x < tag.right() + 4.0 and x + wide > tag.left() - 4.0:
            painter.fillRect(QRectF(x - 1.0, top, wide + 2.0, box.bottom() - top), QColor(theme.paper))
