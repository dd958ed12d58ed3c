"""A lane for those who hear it: a frame without a picture, named as the question, told in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QWidget

if TYPE_CHECKING:
    from meter.lanes import Lane


class SpokenLane(QWidget):
    """Lies over one lane of `LanesView` and lets everything through."""

    def __init__(self, lane: Lane, parent: QWidget) -> None:
        super().__init__(parent)
        self.key = lane.key
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAttribute(Qt.WidgetAttribute.WA_NoSystemBackground)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName(lane.question)

    def say(self, text: str) -> None:
        """What is to be heard of it now."""
        if text != self.accessibleDescription():
            self.setAccessibleDescription(text)
