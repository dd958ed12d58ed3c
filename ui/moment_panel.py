"""The numbers of one moment, or of a part, under the list of passes."""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import QSize, Qt
from PyQt6.QtWidgets import QFrame, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from ui.style import SPACE_PX, label, typeset

LINES: Final = 12
"""As many as `meter.chosen_part` has for two channels."""

HINT: Final = "Choose a finding, or a point in a lane, or drag over a part: its numbers stand here."


class MomentPanel(QScrollArea):
    """What `meter.moment` says of the chosen moment."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Numbers of the chosen moment or part")
        self.place = label(is_bold=True)
        self.lines = label(HINT, is_soft=True)
        self.lines.setWordWrap(True)
        self.lines.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.lines.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        inside = QWidget()
        inside.setObjectName("page")
        self.setWidget(inside)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        layout = QVBoxLayout(inside)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(self.place)
        layout.addWidget(self.lines, 1)
        self.place.hide()
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Maximum)

    def sizeHint(self) -> QSize:
        """Room for all lines, so that nothing moves when a moment is chosen."""
        return QSize(self.width(), LINES * self.fontMetrics().lineSpacing() + 2 * SPACE_PX)

    def minimumSizeHint(self) -> QSize:
        """Some of them; the rest is scrolled to."""
        return QSize(self.width(), 3 * self.fontMetrics().lineSpacing() + SPACE_PX)

    def show_lines(self, lines: list[str] | None) -> None:
        """Show these, the first as the heading; None = nothing is chosen."""
        self.place.setVisible(bool(lines))
        if not lines:
            self.lines.setObjectName("soft")
            self.lines.setText(HINT)
        else:
            self.place.setText(typeset(lines[0]))
            self.lines.setObjectName("")
            self.lines.setText(typeset("\n".join(lines[1:])))
        style = self.lines.style()
        if style is not None:
            style.unpolish(self.lines)
            style.polish(self.lines)
