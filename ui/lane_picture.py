"""The picture of all lanes: what is kept, what is new, and the order of painting."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QRect, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPen, QPixmap, QRegion

from ui import furniture, overlay, time_axis
from ui.blanks import Blanks
from ui.depth_strip import DepthStrip
from ui.flags_row import FlagPictures, Flying, fly, paint_flags
from ui.fold import BARS, Fold, Phrase, fold_legend, paint_ends, without_tail
from ui.lane_looks import band_text, look_of, weight_of
from ui.layout import Layout
from ui.spread_bar import SPREAD_LANE, paint_spread, spread_entry
from ui.strip import Look, Strip
from ui.theme import Theme
from ui.time_scale import LAST_MINUTE, TimeScale, View

if TYPE_CHECKING:
    from meter.lanes import Flag, Lane
    from meter.low_end.picture import Piece
    from meter.shelf.spread import Spread
    from meter.targets import Target
    from meter.timeline import Timeline

FOCUS_PX: Final = 2.0
DEPTHS_S: Final = 0.0015
"""Once lanes of the low end have taken so long, the rest of them waits for the next frame."""
WAITING_COLUMNS: Final = 0.2
WAITING_SLOTS: Final = 4


class LanePicture:
    """Everything that `LanesView` shows; it takes what is to be shown and paints it.

    Attributes
    ----------
    selection : tuple or None
        The chosen slot and None, or the first slot of a span and the slot after it.
    phrases : tuple or None
        Stretches laid over one another instead of a view.
    """

    def __init__(self, theme: Theme) -> None:
        self.theme = theme
        self.lanes: tuple[Lane, ...] = ()
        self.target: Target | None = None
        self.view: View = LAST_MINUTE
        self.is_large = False
        self.is_far = False
        self.spread: Spread | None = None  # of the references, beside the lane of loudness
        self.selection: tuple[int, int | None] | None = None
        self.phrases: tuple[Phrase, ...] | None = None
        self._timeline: Timeline | None = None
        self._flags: Mapping[str, tuple[Flag, ...]] = {}
        self._orders: dict[str, tuple[str, ...]] = {}
        self._strips: list[Strip | DepthStrip] = []
        self._pieces: tuple[Piece, ...] = ()
        self._turn = 0
        self._has_new_pieces = False
        self._folds: list[Fold] = []
        self._blanks: Blanks | None = None
        self._layout: Layout | None = None
        self._looks: list[Look] = []
        self._scale: TimeScale | None = None
        self._furniture = QPixmap()
        self._flag_pictures = FlagPictures()
        self._size: tuple[int, int, float] = (0, 0, 0.0)

    # --- what is shown

    def set_timeline(self, timeline: Timeline | None) -> None:
        """Draw another history."""
        self._timeline = timeline
        self._blanks = None if timeline is None else Blanks(timeline)
        self.selection = None

    def set_flags(self, flags: Mapping[str, tuple[Flag, ...]]) -> bool:
        """Fly these; whether they are others."""
        is_other = dict(flags) != self._flags
        self._flags = dict(flags)
        return is_other

    def set_pieces(self, pieces: tuple[Piece, ...]) -> bool:
        """Draw this low end; whether it is another."""
        is_other = pieces != self._pieces
        self._pieces, self._has_new_pieces = pieces, self._has_new_pieces or is_other
        return is_other

    def set_phrases(self, phrases: tuple[Phrase, ...] | None) -> bool:
        """Fold; whether that is another fold."""
        if phrases:
            phrases = tuple(without_tail(phrases))
        is_other = phrases != self.phrases
        self.phrases = phrases
        return is_other

    def forget(self) -> None:
        """Keep nothing of what was drawn."""
        self._layout, self._looks, self._scale = None, [], None
        self._strips, self._folds = [], []
        self._furniture = QPixmap()

    # --- where things are

    @property
    def slots(self) -> int:
        """How many the timeline has."""
        return 0 if self._timeline is None else self._timeline.slots

    def layout(self, width: int, height: int, device_ratio: float) -> Layout:
        """Where the lanes lie in a widget of this size."""
        if self._layout is None or self._size != (width, height, device_ratio):
            self.forget()
            self._size = (width, height, device_ratio)
            self._layout = Layout.of(
                width,
                height,
                weights=[weight_of(lane) for lane in self.lanes],
                is_large=self.is_large,
                is_far=self.is_far,
                device_ratio=device_ratio,
            )
        return self._layout

    def _laid_out(self) -> Layout | None:
        """The layout for the size that was asked for last; None before the first."""
        width, height, ratio = self._size
        return self.layout(width, height, ratio) if ratio else None

    def scale_now(self) -> TimeScale:
        """The part of time that is shown."""
        layout = self._laid_out()
        columns = 1000 if layout is None else layout.columns
        return TimeScale.of(self.view, slots=self.slots, columns=columns)

    def slots_a_pixel(self) -> float:
        """Slots in a column of the picture."""
        scale = self._folded() or self.scale_now()
        return 1.0 / scale.columns_a_slot

    def reach(self) -> tuple[int, int]:
        """The first and the last slot that the cursor reaches."""
        if self.phrases:
            return self.phrases[0][0], max(self.phrases[-1][1] - 1, 0)
        scale = self.scale_now()
        first = max(scale.first_slot, math.floor(scale.left_column / scale.columns_a_slot), 0)
        return first, max(min(scale.last_slot, self.slots) - 1, 0)

    def origin_of(self, slot: int) -> int:
        """Where the pass of a slot begins: 0:00 of a part."""
        return 0 if self._timeline is None else self._timeline.origin_slot(slot)

    def slot_at(self, x: float) -> int:
        """The slot under a place of the widget."""
        layout = self._laid_out()
        if layout is None:
            return 0
        at = (x - layout.axis.left()) * layout.device_ratio
        return (self._folded() or self.scale_now()).slot_at(at)

    def _folded(self) -> TimeScale | None:
        """The scale of the last whole phrase, while folded."""
        layout = self._laid_out()
        if not self.phrases or layout is None:
            return None
        longest = max(last - first for first, last in self.phrases)
        whole = [one for one in self.phrases if one[1] - one[0] == longest]
        chosen = self.selection[0] if self.selection else -1
        first, last = next((one for one in whole if one[0] <= chosen < one[1]), whole[-1])
        return TimeScale.of(View.part(first, last), slots=self.slots, columns=layout.columns)

    # --- what is new

    def advance(self, width: int, height: int, device_ratio: float) -> bool:
        """Draw the columns that are not drawn yet; whether there were any."""
        layout = self.layout(width, height, device_ratio)
        if not self._looks:
            self._looks = [
                look_of(lane, self.target, self.theme, rows=layout.rows(number), device_ratio=device_ratio)
                for number, lane in enumerate(self.lanes)
            ]
            self._strips = [DepthStrip(lane) if lane.picture else Strip() for lane in self.lanes]
        if self.phrases is not None:
            return self._fold(layout)
        scale = self.scale_now()
        if (scale == self._scale or self._is_hardly_new(scale)) and not self._has_new_pieces:
            return False
        if self._scale is not None and scale.columns_a_slot != self._scale.columns_a_slot:
            self._furniture = QPixmap()  # a view that grows shows twice as much now: another axis
        self._scale, self._has_new_pieces = scale, False
        drawn = [
            strip.update(self._timeline, look, scale)
            for strip, look in zip(self._strips, self._looks)
            if isinstance(strip, Strip)
        ]
        return self._advance_depths(scale) or any(drawn)

    def _advance_depths(self, scale: TimeScale) -> bool:
        """Draw of the low end as much as there is time for, each time another lane first."""
        depths = [(one, look) for one, look in zip(self._strips, self._looks) if isinstance(one, DepthStrip)]
        if not depths:
            return False
        self._turn = (self._turn + 1) % len(depths)
        until_s = time.monotonic() + DEPTHS_S
        is_other = [
            strip.update(self._pieces, look, scale, until_s=until_s)
            for strip, look in (*depths[self._turn :], *depths[: self._turn])
        ]
        self._has_new_pieces = any(one.is_behind for one, _ in depths)
        return any(is_other)

    def _is_hardly_new(self, scale: TimeScale) -> bool:
        """Whether what came is less than a fifth of a column, and 0.4 s at most: it can wait."""
        old = self._scale
        if old is None or replace(scale, last_slot=old.last_slot) != old:
            return False
        slots = scale.last_slot - old.last_slot
        return 0 < slots < WAITING_SLOTS and slots * scale.columns_a_slot < WAITING_COLUMNS

    def _fold(self, layout: Layout) -> bool:
        if self._folds or self._timeline is None or self.phrases is None:
            return False
        self._folds = [Fold() for _ in self.lanes]
        for fold, look in zip(self._folds, self._looks):
            fold.draw(self._timeline, self.phrases, look, columns=layout.columns, slots=self.slots)
        return True

    def moving_region(self) -> QRegion:
        """What changes when time goes on."""
        region = QRegion()
        if self._layout is not None:
            for box in self._layout.lanes:
                region += box.plot.united(box.flags).toAlignedRect()
            region += self._layout.axis.toAlignedRect()
        return region

    def flags_region(self) -> QRegion:
        """What changes with the flags."""
        region = QRegion()
        if self._layout is not None:
            for box in self._layout.lanes:
                region += box.flags.toAlignedRect()
        return region

    # --- painting

    def paint(self, painter: QPainter, part: QRect, *, has_focus: bool) -> None:
        """Paint a part of the widget; after `advance`."""
        layout = self._layout
        assert layout is not None, "laid out before it is painted"
        self._paint_furniture(painter, part, layout)
        for number, box in enumerate(layout.lanes):
            if box.plot.toAlignedRect().intersects(part):
                painter.save()
                painter.setClipRect(box.plot)
                self._paint_plot(painter, number, box.plot, layout)
                painter.restore()
        if self.phrases is not None:
            for fold, box in zip(self._folds, layout.lanes):
                paint_ends(painter, fold, box.plot, layout.device_ratio, self.theme)
        for flying in self._flying(layout):
            paint_flags(painter, flying, layout, self.theme, self._flag_pictures)
        self._paint_tag(painter, layout)
        if has_focus:
            self._paint_focus(painter, layout)

    def _paint_furniture(self, painter: QPainter, part: QRect, layout: Layout) -> None:
        width, height, ratio = self._size
        if self._furniture.isNull():
            made = QPixmap(QSize(round(width * ratio), round(height * ratio)))
            made.setDevicePixelRatio(ratio)
            made.fill(QColor(self.theme.paper))
            brush = QPainter(made)
            try:
                texts = [band_text(lane, self.target, is_narrow=layout.is_narrow) for lane in self.lanes]
                furniture.paint(brush, layout, self.lanes, self._legends(), texts, self.theme)
                if self.spread is not None:
                    paint_spread(brush, self.spread, self.lanes, layout, self.theme)
                time_axis.paint(brush, self._marks(layout), layout.axis, self.theme)
            finally:
                brush.end()
            self._furniture = made
        source = QRectF(part.x() * ratio, part.y() * ratio, part.width() * ratio, part.height() * ratio)
        painter.drawPixmap(QRectF(part), self._furniture, source)

    def _legends(self) -> list[list[furniture.Entry]]:
        if self.phrases is not None:
            return [fold_legend(lane, look, len(self.phrases)) for lane, look in zip(self.lanes, self._looks)]
        legends = []
        for lane, look in zip(self.lanes, self._looks):
            series = {one.key: one for one in lane.series}
            legends.append(
                [
                    furniture.Entry(series[row.key].label, row.colour, row.pen, series[row.key].short)
                    for row in look.rows
                ]
            )
        for lane, entries in zip(self.lanes, legends):
            if lane.says:
                entries.extend(furniture.Entry(part) for part in lane.says.split(" · "))
        if self.spread is not None:
            for lane, entries in zip(self.lanes, legends):
                if lane.key == SPREAD_LANE:
                    entries.append(spread_entry(self.spread, self.theme))
        return legends

    def _marks(self, layout: Layout) -> list[time_axis.Mark]:
        if self.phrases is not None:
            return time_axis.bar_marks(bars=BARS, width=layout.axis.width())
        return time_axis.marks(self.scale_now(), width=layout.axis.width())

    def _paint_plot(self, painter: QPainter, number: int, plot: QRectF, layout: Layout) -> None:
        if self.phrases is not None:
            if self._folds:
                self._folds[number].show(painter, plot.left(), plot.top())
        else:
            strip = self._strips[number]
            strip.show(painter, plot.left(), plot.top())
            self._paint_events(painter, number, plot, layout.device_ratio)
            places = strip.overs()
            if places:
                limit_y = plot.top() + self._looks[number].limit_y / layout.device_ratio
                overlay.paint_over_signs(painter, places, plot, limit_y, layout.device_ratio, self.theme)
        self._paint_choice(painter, number, plot, layout)

    def _paint_events(self, painter: QPainter, number: int, plot: QRectF, ratio: float) -> None:
        scale = self._scale
        if self._blanks is None or scale is None:
            return
        for event, last in self._blanks.seen(scale):
            left = plot.left() + scale.x_of(event.slot) / ratio
            if last is not None:
                overlay.paint_blank(painter, plot, left, plot.left() + scale.x_of(last) / ratio, self.theme)
            else:
                overlay.paint_line(painter, plot, left, self.theme)
            if number == 0:
                overlay.paint_note(painter, event.text, left, plot, self.theme)

    def _x_of(self, slot: float, layout: Layout) -> float:
        scale = self._folded() or self._scale or self.scale_now()
        return layout.axis.left() + scale.x_of(slot) / layout.device_ratio

    def _paint_choice(self, painter: QPainter, number: int, plot: QRectF, layout: Layout) -> None:
        if self.selection is None or self._timeline is None:
            return
        first, last = self.selection
        if last is not None:
            left, right = self._x_of(first, layout), self._x_of(last, layout)
            overlay.paint_span(painter, plot, left, right, self.theme)
            return
        look = self._looks[number]
        heights = []
        for row in look.rows:
            value = float(self._timeline.values(row.key, first, first + 1)[0])
            if not math.isnan(value):
                y = float(look.axis.y_of(value)) / layout.device_ratio
                heights.append((plot.top() + y, row.colour))
        x = self._x_of(first + 0.5, layout)
        overlay.paint_cursor(painter, plot, x, heights if self.phrases is None else heights[:1], self.theme)

    def _paint_tag(self, painter: QPainter, layout: Layout) -> None:
        if self.selection is None:
            return
        first, last = self.selection
        middle = first + 0.5 if last is None else 0.5 * (first + last)
        x = self._x_of(middle, layout)
        if layout.axis.left() <= x <= layout.axis.right():
            origin = self.origin_of(first)
            text = overlay.tag_text(first, last, origin)
            overlay.paint_time_tag(painter, text, x, layout, self.theme, self._marks(layout))

    def _paint_focus(self, painter: QPainter, layout: Layout) -> None:
        box = layout.axis.adjusted(-5.0, -2.0, 5.0, -3.0)
        painter.setPen(QPen(QColor(self.theme.fairway_edge), FOCUS_PX))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(box, 3.0, 3.0)

    def _flying(self, layout: Layout) -> list[Flying]:
        scale = self._scale
        head_x = layout.axis.right()
        if scale is not None and self.phrases is None:
            head_x = layout.axis.left() + min(scale.head_x() / layout.device_ratio, layout.axis.width())
        flying = []
        for lane, box, look in zip(self.lanes, layout.lanes, self._looks):
            flags = self._flags.get(lane.key, ())
            slot = None if self.phrases is not None or self._timeline is None else self.reach()[1]
            before = self._orders.get(lane.key, ())
            flying.append(fly(flags, lane, box, look, layout, self._timeline, slot, head_x, before))
            self._orders[lane.key] = flying[-1].order
        return flying
