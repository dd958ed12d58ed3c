"""The small form: the sentence and two lanes, on top of the other windows if wanted."""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import QEvent, Qt, pyqtSignal
from PyQt6.QtGui import QCloseEvent
from PyQt6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from ui.lane_view import LanesView
from ui.sentence_line import SentenceLine
from ui.style import SPACE_PX, TEXT_PX

LANES: Final = 2
FLAGS: Final = Qt.WindowType.Window
ON_TOP: Final = FLAGS | Qt.WindowType.WindowStaysOnTopHint


class CompactWindow(QWidget):
    """A window of its own, so that the large one is as it was when it comes back."""

    closed = pyqtSignal()
    seen_changed = pyqtSignal()
    back_wanted = pyqtSignal()

    def __init__(self) -> None:
        super().__init__(None, ON_TOP)
        self.setObjectName("page")
        self.setWindowTitle("Leadline, small")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.sentence = SentenceLine(size_px=TEXT_PX)
        self.lanes = LanesView()
        self.hold = QPushButton("Hold")
        self.hold.setCheckable(True)
        self.mark = QPushButton("Mark")
        self.on_top = QPushButton("On top")
        self.on_top.setCheckable(True)
        self.on_top.setChecked(True)
        self.on_top.setToolTip("Stay above other windows")
        self.on_top.toggled.connect(self.stay_on_top)
        self.back = QPushButton("Whole window")
        self.back.setToolTip("Back to the whole window (C)")
        self.back.clicked.connect(self.back_wanted)
        buttons = QHBoxLayout()
        buttons.setSpacing(SPACE_PX)
        for button in (self.hold, self.mark):
            buttons.addWidget(button)
        buttons.addStretch(1)
        for button in (self.on_top, self.back):
            buttons.addWidget(button)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(SPACE_PX + 4, SPACE_PX, SPACE_PX + 4, SPACE_PX)
        layout.setSpacing(SPACE_PX)
        layout.addWidget(self.sentence)
        layout.addWidget(self.lanes, 1)
        layout.addLayout(buttons)
        self.setMinimumSize(380, 220)
        self.resize(520, 330)

    def stay_on_top(self, on: bool) -> None:
        """Above other windows, or among them; without a flicker."""
        flags = ON_TOP if on else FLAGS
        handle = self.windowHandle()
        if handle is None:
            self.setWindowFlags(flags)
            return
        # setWindowFlags would hide the window, and some window managers do not see the change.
        self.overrideWindowFlags(flags)
        handle.setFlags(flags)

    def show_held(self, is_held: bool) -> None:
        """Show whether it is held, without telling anybody."""
        self.hold.setChecked(is_held)
        self.hold.setText("Go on" if is_held else "Hold")

    @property
    def is_seen(self) -> bool:
        """Whether anybody can see it."""
        return self.isVisible() and not self.isMinimized()

    def changeEvent(self, event: QEvent | None) -> None:
        """Minimised, or back."""
        super().changeEvent(event)
        if event is not None and event.type() == QEvent.Type.WindowStateChange:
            self.seen_changed.emit()

    def closeEvent(self, event: QCloseEvent | None) -> None:
        """The end of the program."""
        super().closeEvent(event)
        self.closed.emit()
