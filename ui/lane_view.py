"""The lanes: strips that ask one question each and share one axis of time, newest at the right.

The widget draws what a `Timeline` holds and what flags say; it measures nothing. What is drawn
once is kept: furniture in a picture, history in a ring of columns. A tick draws the new columns only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from PyQt6.QtCore import QEvent, QRect, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui import theme as themes
from ui.lane_picture import LanePicture
from ui.selection import anchor_of, between, head_of
from ui.spoken_lane import SpokenLane
from ui.theme import Theme
from ui.time_scale import LAST_MINUTE, TimeScale, View, around, zoomed

if TYPE_CHECKING:
    from meter.lanes import Flag, Lane
    from meter.low_end.picture import Piece
    from meter.shelf.spread import Spread
    from meter.targets import Target
    from meter.timeline import Timeline

DRAG_PX: Final = 5.0
"""A press that moves farther chooses a span, not a moment."""

WIDE_STEP: Final = 10
"""Columns that the cursor goes with Control."""


class LanesView(QWidget):
    """All lanes in one widget.

    Signals
    -------
    moment_chosen : int
        The user has chosen a slot, with the mouse or the keyboard.
    span_chosen : int, int
        First and last slot (the last not included) of a stretch.
    choice_cleared
        Nothing is chosen any more.
    view_changed : View
        The user, or a choice outside of what was seen, has changed what is shown.
    """

    moment_chosen = pyqtSignal(int)
    span_chosen = pyqtSignal(int, int)
    choice_cleared = pyqtSignal()
    view_changed = pyqtSignal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._picture = LanePicture(themes.LIGHT)
        self._spoken: list[SpokenLane] = []
        self._view = LAST_MINUTE
        self._pressed_x: float | None = None
        self._anchor: int | None = None  # of a part that is chosen with the keyboard
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Lanes")
        self.setAccessibleDescription(
            "Left and right move the cursor, Control ten times as far, Shift chooses a part, Home and End go "
            "to the ends, plus and minus zoom, Escape clears the choice."
        )

    # --- what is shown

    @property
    def view(self) -> View:
        """What part of time is shown."""
        return self._view

    @property
    def selection(self) -> tuple[int, int | None] | None:
        """The chosen slot (without an end), or the first and last slot of a span."""
        return self._picture.selection

    @property
    def large(self) -> bool:
        """Whether flags can be read from 1.5 m."""
        return self._picture.is_large

    @large.setter
    def large(self, is_large: bool) -> None:
        if is_large != self._picture.is_large:
            self._picture.is_large = is_large
            self._renew()

    def set_far(self, is_far: bool) -> None:
        """Fly flags that can be read from 2 m, as far as there is room."""
        if is_far != self._picture.is_far:
            self._picture.is_far = is_far
            self._renew()

    def set_theme(self, theme: Theme) -> None:
        """Draw in these colours."""
        if theme != self._picture.theme:
            self._picture.theme = theme
            self._renew()

    def set_timeline(self, timeline: Timeline | None) -> None:
        """Draw another history; None = an empty sheet."""
        self._picture.set_timeline(timeline)
        self._renew()

    def set_lanes(self, lanes: Sequence[Lane]) -> None:
        """Show these lanes, from top to bottom."""
        self._picture.lanes = tuple(lanes)
        for old in self._spoken:
            old.setParent(None)
            old.deleteLater()
        self._spoken = [SpokenLane(lane, self) for lane in lanes]
        self._renew()

    def set_target(self, target: Target | None) -> None:
        """Draw the fairways of this target."""
        if target != self._picture.target:
            self._picture.target = target
            self._renew()

    def set_spread(self, spread: Spread | None) -> None:
        """Show how loud the references are; None = there are none."""
        if spread != self._picture.spread:
            self._picture.spread = spread
            self._renew()

    def set_flags(self, flags: Mapping[str, tuple[Flag, ...]]) -> None:
        """Fly these flags, by key of their lane."""
        if self._picture.set_flags(flags):
            self.update(self._picture.flags_region())

    def set_spoken(self, spoken: Mapping[str, str]) -> None:
        """What each lane says to those who hear it, by key; see `meter.moment.spoken`."""
        for frame in self._spoken:
            frame.say(spoken.get(frame.key, ""))

    def set_view(self, view: View) -> None:
        """Show this part of time."""
        if view != self._view:
            self._view = view
            self._picture.view = view
            self._renew()

    def set_pieces(self, pieces: Sequence[Piece]) -> None:
        """Draw this low end, where a lane asks for it."""
        self._picture.set_pieces(tuple(pieces))

    def set_phrases(self, phrases: Sequence[tuple[int, int]] | None) -> None:
        """Fold by these stretches of slots, one over another; None = no fold."""
        if self._picture.set_phrases(None if phrases is None else tuple(phrases)):
            self._renew()

    def select(self, first_slot: int | None, last_slot: int | None = None) -> None:
        """Put the cursor on a slot, or choose a span, in all lanes; the view moves there when it must.

        Parameters
        ----------
        first_slot : int or None
            None = choose nothing.
        last_slot : int or None
            The slot after the span; None = a moment.
        """
        if first_slot is None:
            self._picture.selection = None
            self.update()
            return
        self._picture.selection = (first_slot, last_slot)
        if self._picture.phrases is None and self._has_slots():
            scale = self._picture.scale_now()
            end = first_slot if last_slot is None else last_slot - 1
            # The very newest of hours may not be drawn yet.
            newest = scale.last_slot - 1 if self._view.is_live else end
            if not (scale.holds(min(first_slot, newest)) and scale.holds(min(end, newest))):
                origin = self._picture.origin_of(first_slot)
                self._go(around(first_slot, end + 1, origin_slot=origin))
        self.update()

    def tick(self) -> bool:
        """Draw what is new; whether anything was."""
        if not self.isVisible() or self.window().isMinimized():
            return False
        if not self._picture.advance(self.width(), self.height(), self.devicePixelRatioF()):
            return False
        self.update(self._picture.moving_region())
        return True

    def _renew(self) -> None:
        self._picture.forget()
        if self.isVisible():
            self._place_spoken()
        self.update()

    def _has_slots(self) -> bool:
        return self._picture.slots > 0

    def _go(self, view: View) -> None:
        self.set_view(view)
        self.view_changed.emit(view)

    # --- painting

    def sizeHint(self) -> QSize:
        """Room for four lanes."""
        return QSize(900, 560)

    def minimumSizeHint(self) -> QSize:
        """Room in which something can be read."""
        return QSize(280, 70 * max(len(self._picture.lanes), 1) + 40)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """Paint what is asked for."""
        assert event is not None
        self._picture.advance(self.width(), self.height(), self.devicePixelRatioF())
        painter = QPainter(self)
        try:
            self._picture.paint(painter, event.rect(), has_focus=self.hasFocus())
        finally:
            painter.end()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Lay out anew."""
        super().resizeEvent(event)
        self._place_spoken()

    def event(self, event: QEvent | None) -> bool:
        """Follow the screen's scaling."""
        if event is not None and event.type() in (
            QEvent.Type.DevicePixelRatioChange,
            QEvent.Type.FontChange,
        ):
            self._renew()
        return super().event(event)

    def _place_spoken(self) -> None:
        layout = self._picture.layout(self.width(), self.height(), self.devicePixelRatioF())
        for frame, box in zip(self._spoken, layout.lanes):
            frame.setGeometry(box.whole.toAlignedRect().intersected(QRect(0, 0, self.width(), self.height())))
            frame.show()

    def showEvent(self, event: Any) -> None:
        """Lay out what is read aloud."""
        super().showEvent(event)
        self._place_spoken()

    # --- the mouse

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        """Begin to choose."""
        if event is not None and event.button() is Qt.MouseButton.LeftButton and self._has_slots():
            self._pressed_x = event.position().x()
            self._choose_to(event.position().x())

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        """Choose as far as here."""
        if event is not None and self._pressed_x is not None:
            self._choose_to(event.position().x())

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        """Tell what was chosen."""
        if event is None or self._pressed_x is None:
            return
        self._choose_to(event.position().x())
        self._pressed_x = None
        self._tell()

    def _choose_to(self, x: float) -> None:
        assert self._pressed_x is not None
        start, end = (self._picture.slot_at(place) for place in sorted((self._pressed_x, x)))
        if abs(x - self._pressed_x) < DRAG_PX or end <= start or self._picture.phrases is not None:
            self._picture.selection = (self._picture.slot_at(x), None)
        else:
            self._picture.selection = (start, end + 1)
        self.update()

    def _tell(self) -> None:
        if self._picture.selection is not None:
            first, last = self._picture.selection
            if last is None:
                self.moment_chosen.emit(first)
            else:
                self.span_chosen.emit(first, last)

    def wheelEvent(self, event: QWheelEvent | None) -> None:
        """Zoom where the pointer is."""
        if event is not None and event.angleDelta().y() and self._has_slots():
            slot = self._picture.slot_at(event.position().x())
            self.zoom(1 if event.angleDelta().y() > 0 else -1, at_slot=slot)
            event.accept()

    # --- the keyboard

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Move the cursor, zoom, clear."""
        if event is None or not self._act_on(event):
            super().keyPressEvent(event)

    def _act_on(self, event: QKeyEvent) -> bool:
        key = Qt.Key
        if event.key() in (key.Key_Plus, key.Key_Equal, key.Key_Minus):
            self.zoom(-1 if event.key() == key.Key_Minus else 1)
        elif event.key() == key.Key_Escape and self._picture.selection is not None:
            self.select(None)
            self.choice_cleared.emit()
        elif event.key() in (key.Key_Left, key.Key_Right, key.Key_Home, key.Key_End) and self._has_slots():
            held = event.modifiers()
            is_wide = bool(held & Qt.KeyboardModifier.ControlModifier)
            chooses_part = bool(held & Qt.KeyboardModifier.ShiftModifier) and self._picture.phrases is None
            self._move_cursor(Qt.Key(event.key()), WIDE_STEP if is_wide else 1, chooses_part)
        else:
            return False
        return True

    def _move_cursor(self, key: Qt.Key, columns: int, chooses_part: bool) -> None:
        first, last = self._picture.reach()
        step = max(1, round(columns * max(1.0, self._picture.slots_a_pixel())))
        chosen = self._picture.selection
        if chosen is None:
            chosen = (last, None)
        anchor = anchor_of(chosen, self._anchor)
        at = head_of(chosen, self._anchor)
        if key is Qt.Key.Key_Home:
            at = first
        elif key is Qt.Key.Key_End:
            at = last
        else:
            at += step if key is Qt.Key.Key_Right else -step
        at = max(first, min(at, last))
        self._anchor = anchor if chooses_part else None
        self._picture.selection = between(anchor, at) if chooses_part else (at, None)
        self.update()
        self._tell()

    def zoom(self, steps: int, *, at_slot: int | None = None) -> None:
        """Show less of time (positive) or more, step by step."""
        if self._picture.phrases is not None:
            return
        if at_slot is None and self._picture.selection is not None:
            at_slot = self._picture.selection[0]
        scale: TimeScale = self._picture.scale_now()
        self._go(zoomed(scale.view, slots=self._picture.slots, at_slot=at_slot, steps=steps))
