"""The bar at the top, and the row of views over the lanes."""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import (
    QButtonGroup,
    QHBoxLayout,
    QMenu,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QWidget,
)

from meter.arrangements import ARRANGEMENTS
from ui import fonts
from ui.caution import EAR_LINE, LINE, SHORT_LINE
from ui.choosers import SourceChooser, TargetChooser
from ui.state import VIEWS
from ui.style import SMALL_PX, SPACE_PX, label

OPEN: Final = "Open files …"
VIEW_WORDS: Final = {"60 s": "60 s", "10 min": "10 min", "pass": "Whole pass", "session": "Session"}


NARROWEST_PX: Final = 120
"""Of a chooser, where there is little room: it shortens what it says."""


class Bar(QWidget):
    """Source, target, arrangement, hold, mark, and the menu for everything else."""

    arrangement_chosen = pyqtSignal(str)

    def __init__(self, source: SourceChooser, target: TargetChooser, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.source, self.target = source, target
        self.open = QPushButton(OPEN)
        self.open.setToolTip("Measure files from beginning to end (Ctrl+O); or drop them on the window")
        self.hold = QPushButton("Hold")
        self.hold.setCheckable(True)
        self.hold.setToolTip("Measure nothing until you go on (H)")
        self.mark = QPushButton("Mark")
        self.mark.setToolTip("End the pass here; the next begins (M)")
        self.menu_button = QToolButton()
        self.menu_button.setMaximumHeight(self.mark.sizeHint().height())  # a little higher by itself
        self.menu_button.setText("More")
        self.menu_button.setAccessibleName("More: theme, size, small form, help")
        self.menu_button.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.menu = QMenu(self)
        self.menu_button.setMenu(self.menu)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(SPACE_PX)
        layout.addWidget(source)
        self.against = label("against", size_px=SMALL_PX, is_soft=True)
        layout.addWidget(self.against)
        layout.addWidget(target)
        layout.addStretch(1)
        layout.addLayout(self._arrangements())
        layout.addStretch(1)
        for button in (self.open, self.hold, self.mark, self.menu_button):
            layout.addWidget(button)

    def _arrangements(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(0)
        self.arrangements: dict[str, QPushButton] = {}
        group = QButtonGroup(self)
        for number, one in enumerate(ARRANGEMENTS, 1):
            button = QPushButton(one.title)
            button.setObjectName("first" if number == 1 else "segment")
            button.setCheckable(True)
            # The choosers give way where there is little room: they can shorten what they say.
            button.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
            button.setToolTip(f"{one.title}: {one.what} (Ctrl+{number})")
            button.setAccessibleName(f"Arrangement {one.title}: {one.what}")
            button.clicked.connect(lambda _, key=one.key: self.arrangement_chosen.emit(key))
            group.addButton(button)
            row.addWidget(button)
            self.arrangements[one.key] = button
        return row

    def become_narrow(self, is_narrow: bool) -> None:
        """Say it in fewer words where there is little room; its full name stays."""
        self.open.setText("Open …" if is_narrow else OPEN)
        self.open.setAccessibleName(OPEN)
        self.against.setVisible(not is_narrow)  # the target says what it is
        for chooser in (self.source, self.target):
            chooser.setMinimumWidth(NARROWEST_PX if is_narrow else 0)

    def show_arrangement(self, key: str) -> None:
        """Show which is chosen, without telling anybody."""
        self.arrangements[key].setChecked(True)

    def show_held(self, is_held: bool) -> None:
        """Show whether it is held, without telling anybody."""
        if self.hold.isChecked() != is_held:
            self.hold.setChecked(is_held)
        self.hold.setText("Go on" if is_held else "Hold")


class ViewRow(QWidget):
    """How much of the time is shown, and the caution by the level."""

    view_chosen = pyqtSignal(str)
    live_wanted = pyqtSignal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        self.buttons: dict[str, QPushButton] = {}
        self.group = QButtonGroup(self)
        for number, view in enumerate(VIEWS, 1):
            button = QPushButton(VIEW_WORDS[view])
            button.setObjectName("first" if number == 1 else "segment")
            button.setCheckable(True)
            button.setToolTip(f"Show {VIEW_WORDS[view].lower()} ({number})")
            button.clicked.connect(lambda _, view=view: self.view_chosen.emit(view))
            self.group.addButton(button)
            layout.addWidget(button)
            self.buttons[view] = button
        layout.addSpacing(2 * SPACE_PX)
        self.fold = QPushButton("Fold by phrase")
        self.fold.setCheckable(True)
        self.fold.setToolTip("Lay the 16-bar phrases of a pass over each other (B)")
        self.live = QPushButton("Back to now")
        self.live.setToolTip("Show what sounds now (Escape)")
        self.live.clicked.connect(self.live_wanted)
        layout.addWidget(self.fold)
        self.findings = QPushButton("Findings")
        self.findings.setCheckable(True)
        self.findings.setToolTip("Show the findings below the lanes (F)")
        self.findings.hide()
        layout.addSpacing(SPACE_PX)
        layout.addWidget(self.findings)
        layout.addSpacing(SPACE_PX)
        layout.addWidget(self.live)
        layout.addStretch(1)
        self._is_narrow = self._speaks_of_ears = False
        self.caution = QPushButton(LINE)
        self.caution.setObjectName("link")
        self.caution.setFont(fonts.font(SMALL_PX))
        self.caution.setCursor(Qt.CursorShape.PointingHandCursor)
        self.caution.setToolTip("About listening level (F2)")
        layout.addWidget(self.caution)
        self.show_view("60 s")
        self.show_is_live(True)

    def show_view(self, view: str | None) -> None:
        """Show which is chosen; None = none of them, the lanes were zoomed."""
        self.group.setExclusive(False)
        for name, button in self.buttons.items():
            button.setChecked(name == view)
        self.group.setExclusive(view is not None)

    def speak_of_ears(self, on: bool) -> None:
        """What is shown is at the ear, estimated; or in the signal, as elsewhere."""
        self._speaks_of_ears = on
        self._write_caution()

    def _write_caution(self) -> None:
        line = EAR_LINE if self._speaks_of_ears else LINE
        self.caution.setText(SHORT_LINE if self._is_narrow else line)
        self.caution.setAccessibleName(line)

    def become_narrow(self, is_narrow: bool) -> None:
        """Say everything in fewer words where there is little room; its full name stays."""
        self._is_narrow = is_narrow
        self._write_caution()
        for button, words, few in (
            (self.buttons["pass"], VIEW_WORDS["pass"], "Pass"),
            (self.fold, "Fold by phrase", "Fold"),
            (self.live, "Back to now", "Now"),
        ):
            button.setText(few if is_narrow else words)
            button.setAccessibleName(words)

    def show_is_live(self, is_live: bool) -> None:
        """Offer the way back only to who is away; its place stays."""
        policy = self.live.sizePolicy()
        policy.setRetainSizeWhenHidden(True)
        self.live.setSizePolicy(policy)
        self.live.setVisible(not is_live)
