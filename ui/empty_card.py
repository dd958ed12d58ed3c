"""What stands over the lanes while nothing has been heard."""

from __future__ import annotations

from PyQt6.QtCore import QEvent, pyqtSignal
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from meter.now import Now
from meter.window_text import Empty, empty_state
from ui.style import SPACE_PX, TITLE_PX, label, typeset

WIDTH_PX = 440


class EmptyCard(QFrame):
    """A card in the middle of another widget, with what is the matter and what to do."""

    demo_wanted = pyqtSignal()
    source_wanted = pyqtSignal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("empty")
        self.title, self.text = label(size_px=TITLE_PX, is_bold=True), label()
        for part in (self.title, self.text):
            part.setWordWrap(True)
        self.demo, self.source = QPushButton("Listen to the demo"), QPushButton("Choose a source")
        self.demo.clicked.connect(self.demo_wanted)
        self.source.clicked.connect(self.source_wanted)
        buttons = QHBoxLayout()
        buttons.addWidget(self.source)
        buttons.addWidget(self.demo)
        buttons.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(3 * SPACE_PX, 2 * SPACE_PX, 3 * SPACE_PX, 2 * SPACE_PX)
        layout.setSpacing(SPACE_PX)
        layout.addWidget(self.title)
        layout.addWidget(self.text)
        layout.addLayout(buttons)
        self._shown: Empty | None = None
        self.hide()

    def show_now(self, now: Now, *, has_heard: bool) -> None:
        """Show it, or go away."""
        empty = None if has_heard else empty_state(now)
        if empty == self._shown:
            return
        self._shown = empty
        if empty is None:
            self.hide()
            return
        self.title.setText(typeset(empty.title))
        self.text.setText(typeset(empty.text))
        self.demo.setVisible(empty.offers_demo)
        self.source.setVisible(empty.offers_source)
        self.setAccessibleName(empty.title)
        self.setAccessibleDescription(empty.text)
        self.place()
        self.show()
        self.raise_()

    def event(self, event: QEvent | None) -> bool:
        """Other words need another height, once their labels know it."""
        done = super().event(event)
        if event is not None and event.type() == QEvent.Type.LayoutRequest:
            self.place()
        return done

    def place(self) -> None:
        """Into the middle."""
        parent = self.parentWidget()
        if parent is None:
            return
        width = min(WIDTH_PX, max(parent.width() - 2 * SPACE_PX, 120))
        layout = self.layout()
        assert layout is not None
        height = layout.totalHeightForWidth(width)
        self.resize(width, height)
        self.move((parent.width() - width) // 2, max((parent.height() - height) // 2, 0))
