"""The strip that says how far a longer work has come, with a way to break it off."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, pyqtSignal
from PyQt6.QtGui import QPainter, QPaintEvent
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QToolButton, QWidget

from ui.style import SPACE_PX, label, typeset

RISE_PX = 3


class ProgressStrip(QFrame):
    """Words, a line along the bottom that grows to the right, and Cancel.

    Parameters
    ----------
    what : str
        What is broken off.
    """

    cancelled = pyqtSignal()

    def __init__(
        self, parent: QWidget | None = None, *, what: str = "the measuring of files"
    ) -> None:
        super().__init__(parent)
        self.setObjectName("progress")
        self.setAccessibleName("Progress")
        self.label = label()
        self.label.setWordWrap(True)
        self.cancel = QToolButton()
        self.cancel.setText("Cancel")
        self.cancel.setAccessibleName(f"Cancel {what}")
        self.cancel.clicked.connect(self.cancelled)
        self.share = 0.0
        layout = QHBoxLayout(self)
        layout.setContentsMargins(SPACE_PX + 4, 4, 4, 4 + RISE_PX)
        layout.addWidget(self.label, 1)
        layout.addWidget(self.cancel)
        self.hide()

    def show_progress(self, words: str, share: float) -> None:
        """So far it has come."""
        self.share = min(max(share, 0.0), 1.0)
        self.label.setText(typeset(words[:1].upper() + words[1:]))
        self.setAccessibleDescription(self.label.text())
        self.show()
        self.update()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """The line under the words."""
        super().paintEvent(event)
        painter = QPainter(self)
        try:
            top = float(self.height() - RISE_PX)
            painter.fillRect(QRectF(0.0, top, float(self.width()), RISE_PX), self.palette().mid())
            done = QRectF(0.0, top, self.share * self.width(), RISE_PX)
            painter.fillRect(done, self.palette().text())
        finally:
            painter.end()
