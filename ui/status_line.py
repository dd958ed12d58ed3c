"""The line at the bottom: rate, channels, lost, load, system volume, and what sounds at this moment."""

from __future__ import annotations

from PyQt6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QWidget

from meter.now import Now
from meter.window_text import status
from ui.level_line import LevelLine
from ui.style import SMALL_PX, SPACE_PX, label


class StatusLine(QWidget):
    """Parts side by side, each in a place of its own, so that one that changes moves no other."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Status")
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3 * SPACE_PX)
        self.form, self.lost, self.load, self.volume = (self._part(layout) for _ in range(4))
        layout.addStretch(1)
        self.level = LevelLine()
        layout.addWidget(self.level)
        self._now: Now | None = None
        self._load_pct: float | None = None

    def _part(self, layout: QHBoxLayout) -> QLabel:
        part = label(size_px=SMALL_PX, is_soft=True)
        part.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)
        layout.addWidget(part)
        return part

    def show_now(self, now: Now) -> None:
        """Take what is known now."""
        self._now = now
        self.level.show_now(now)
        self._show()

    def show_load(self, load_pct: float) -> None:
        """Take the load."""
        self._load_pct = load_pct
        self._show()

    def _show(self) -> None:
        if self._now is None:
            return
        said = status(self._now, self._load_pct)
        for part, text in (
            (self.form, said.form),
            (self.lost, said.lost),
            (self.load, said.load),
            (self.volume, said.volume),
        ):
            if part.text() != (text or ""):
                part.setText(text or "")
            part.setVisible(text is not None)

    def text(self) -> str:
        """All of it, as it stands there."""
        parts = (self.form, self.lost, self.load, self.volume)
        return " · ".join(part.text() for part in parts if part.text())
