"""The line at the foot of the window that moves with the sound.

Is anything coming in, and on which side? It grows from its middle, to the left with the left channel and to
the right with the right one, so that a silent side and a leaning tune are seen at once. It is to be looked at
and not to be read: the numbers ride in the lanes.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QRectF, QSize, Qt, QTimer
from PyQt6.QtGui import QColor, QPainter, QPaintEvent
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.style import typeset
from ui.theme import worn

if TYPE_CHECKING:
    from meter.now import Now
    from meter.soundings import EyeLevels

HALF_MS: Final = 50
"""Levels come two with each sounding; the later one is shown so much later."""

LOWEST_DB: Final = -60.0
WIDE_PX: Final = 260
HIGH_PX: Final = 16
_THIN_PX: Final = 4.0
_THICK_PX: Final = 8.0
_MIDDLE_PX: Final = 1.0
"""Half of what the middle takes."""

_EVERY_DB: Final = (-48.0, -36.0, -24.0, -12.0)

_SAYS: Final = typeset(
    "The sound of this moment, left and right from the middle. Thin: the highest sample of 50 ms, from "
    f"{LOWEST_DB:g} to 0 dBFS at the ends, a mark every 12 dB. Thick: M on the same scale in LUFS."
)


class LevelLine(QWidget):
    """Shows the levels of each 50 ms, twenty times a second; empty while nothing is measured."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setFixedHeight(HIGH_PX)
        self.setMinimumWidth(WIDE_PX // 4)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)  # so the window behind is not painted too
        self.setAccessibleName("Level of this moment")
        self.setAccessibleDescription(_SAYS)
        self.setToolTip(_SAYS)
        self.shown: EyeLevels | None = None
        self._taken: tuple[EyeLevels, ...] = ()
        self._next: tuple[EyeLevels, ...] = ()
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setTimerType(Qt.TimerType.PreciseTimer)
        self._later.setInterval(HALF_MS)
        self._later.timeout.connect(self._show_next)

    def sizeHint(self) -> QSize:
        """Room for a step of 12 dB to be seen."""
        return QSize(WIDE_PX, HIGH_PX)

    def show_now(self, now: Now) -> None:
        """Take what is known now; the levels of a source that has stopped are none."""
        taken = now.eye if now.is_heard else ()
        if taken != self._taken:  # what is known may have changed otherwise: then they were shown already
            self._taken = self._next = taken
            self._show_next()

    def _show_next(self) -> None:
        shown = self._next[0] if self._next else None
        self._next = self._next[1:]
        if shown != self.shown:
            self.shown = shown
            self.update()
        if self._next:
            self._later.start()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """A hair line with its marks, and on it what sounds."""
        painter, theme = QPainter(self), worn(self.palette())
        painter.fillRect(self.rect(), QColor(theme.paper))
        middle, axis = 0.5 * self.width(), 0.5 * self.height()
        room = middle - _MIDDLE_PX
        hair = QColor(theme.edge)
        painter.fillRect(QRectF(0.0, round(axis) - 0.5, self.width(), 1.0), hair)
        for side in (-1.0, 1.0):
            for mark_db in _EVERY_DB:
                x = middle + side * (_MIDDLE_PX + room * _share(mark_db))
                painter.fillRect(QRectF(round(x) - 0.5, axis - 3.0, 1.0, 6.0), hair)
        painter.fillRect(QRectF(middle - _MIDDLE_PX, 0.0, 2.0 * _MIDDLE_PX, self.height()), QColor(theme.ink))
        if self.shown is None or not self.shown.peaks_dbfs:
            return
        peaks = self.shown.peaks_dbfs
        colour = QColor(theme.series[0])
        loud = room * _share(self.shown.momentary_lufs)
        # One channel goes to both sides, as it comes out of both speakers.
        for side, peak_db in ((-1.0, peaks[0]), (1.0, peaks[min(1, len(peaks) - 1)])):
            high = room * _share(peak_db)
            for long, thick in ((high, _THIN_PX), (min(loud, high), _THICK_PX)):
                left = middle + _MIDDLE_PX if side > 0.0 else middle - _MIDDLE_PX - long
                painter.fillRect(QRectF(left, axis - 0.5 * thick, long, thick), colour)


def _share(level_db: float | None) -> float:
    """How far out a level lies, 0 to 1."""
    if level_db is None or math.isinf(level_db):
        return 0.0
    return min(max(1.0 - level_db / LOWEST_DB, 0.0), 1.0)
