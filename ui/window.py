"""The window: the bar, the sentence, the lanes, the passes, the findings, the status line.

It shows what `meter` says and computes nothing. What happens in it is in `ui.conductor`.
"""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import QEvent, Qt, pyqtSignal
from PyQt6.QtGui import QCloseEvent, QResizeEvent
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QLabel, QMainWindow, QSplitter, QVBoxLayout, QWidget

from ui.bar import Bar, ViewRow
from ui.choosers import SourceChooser, TargetChooser
from ui.empty_card import EmptyCard
from ui.findings_list import FindingsList
from ui.lane_view import LanesView
from ui.moment_panel import MomentPanel
from ui.passes_list import PassesList
from ui.sentence_line import MessageBar, SentenceLine
from ui.status_line import StatusLine
from ui.style import SMALL_PX, SPACE_PX, label

TITLE: Final = "Leadline"
PASSES_PX: Final = 176
MOMENT_PX: Final = 300
NARROW_MOMENT_PX: Final = 230
FINDINGS_PX: Final = 150
LOW_FINDINGS_PX: Final = 110

NARROW_PX: Final = 1130
"""In a narrower window the caution is shorter, and so is the place of the numbers."""

LOW_PX: Final = 660
"""In a lower one the findings are shown when they are asked for, and the sentence has one line."""

SMALLEST_PX: Final = (900, 500)


def heading(text: str) -> QLabel:
    """A small heading over a part of the window."""
    return label(text, size_px=SMALL_PX, is_soft=True)


def hairline() -> QFrame:
    """A line that only guides the eye."""
    line = QFrame()
    line.setObjectName("hairline")
    line.setFixedHeight(1)
    return line


class MainWindow(QMainWindow):
    """The parts, and where they are.

    Parameters
    ----------
    source, target : choosers
    """

    closed = pyqtSignal()
    seen_changed = pyqtSignal()

    def __init__(self, source: SourceChooser, target: TargetChooser) -> None:
        super().__init__()
        self.setWindowTitle(TITLE)
        self.bar = Bar(source, target)
        self.sentence = SentenceLine()
        self.message = MessageBar()
        self.views = ViewRow()
        self.lanes = LanesView()
        self.empty = EmptyCard(self.lanes)
        self.passes = PassesList()
        self.findings = FindingsList()
        self.no_findings = label("Nothing found so far.", is_soft=True)
        self.no_findings.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.moment = MomentPanel()
        self.status = StatusLine()

        whole = QWidget()
        layout = QVBoxLayout(whole)
        layout.setContentsMargins(2 * SPACE_PX, SPACE_PX + 2, 2 * SPACE_PX, SPACE_PX)
        layout.setSpacing(SPACE_PX)
        layout.addWidget(self.bar)
        layout.addWidget(self.sentence)
        layout.addWidget(self.message)
        layout.addWidget(hairline())
        layout.addLayout(self._middle(), 1)
        layout.addWidget(hairline())
        layout.addWidget(self.status)
        self.setCentralWidget(whole)
        self.setMinimumSize(*SMALLEST_PX)
        self.views.findings.toggled.connect(self._fit)
        self.resize(1280, 800)

    def _middle(self) -> QHBoxLayout:
        left = QVBoxLayout()
        left.setSpacing(4)
        left.addWidget(heading("Passes"))
        left.addWidget(self.passes, 1)
        self.passes.setFixedWidth(PASSES_PX)

        lanes = QWidget()
        upper = QVBoxLayout(lanes)
        upper.setContentsMargins(0, 0, 0, 0)
        upper.setSpacing(SPACE_PX)
        upper.addWidget(self.views)
        upper.addWidget(self.lanes, 1)

        self.below = below = QWidget()
        lower = QHBoxLayout(below)
        lower.setContentsMargins(0, SPACE_PX, 0, 0)
        lower.setSpacing(3 * SPACE_PX)
        found = QVBoxLayout()
        found.setSpacing(4)
        found.addWidget(heading("Findings"))
        found.addWidget(self.no_findings, 1)
        found.addWidget(self.findings, 1)
        self.findings.hide()
        lower.addLayout(found, 1)
        lower.addWidget(self.moment)
        self.moment.setFixedWidth(MOMENT_PX)

        split = QSplitter(Qt.Orientation.Vertical)
        split.setAccessibleName("Lanes and findings")
        split.addWidget(lanes)
        split.addWidget(below)
        split.setStretchFactor(0, 1)
        split.setStretchFactor(1, 0)
        split.setChildrenCollapsible(False)
        split.setSizes([1000, FINDINGS_PX])
        split.splitterMoved.connect(lambda *_: self.empty.place())
        self.split = split

        middle = QHBoxLayout()
        middle.setSpacing(2 * SPACE_PX)
        middle.addLayout(left)
        middle.addWidget(split, 1)
        return middle

    def show_has_findings(self, has_any: bool) -> None:
        """The list, or the words that stand for an empty one."""
        self.findings.setVisible(has_any)
        self.no_findings.setVisible(not has_any)

    @property
    def is_seen(self) -> bool:
        """Whether anybody can see it: not hidden, not minimised."""
        return self.isVisible() and not self.isMinimized()

    @property
    def is_low(self) -> bool:
        """Whether the findings are shown only when they are asked for."""
        return self.height() < LOW_PX

    def show_findings(self) -> None:
        """Show the findings, where they are not always shown."""
        self.views.findings.setChecked(True)

    def _fit(self) -> None:
        """Make the best of the room there is."""
        is_narrow, is_low = self.width() < NARROW_PX, self.is_low
        self.views.become_narrow(is_narrow)
        self.moment.setFixedWidth(NARROW_MOMENT_PX if is_narrow else MOMENT_PX)
        self.sentence.set_lines(1 if is_low else 2)
        self.views.findings.setVisible(is_low)
        self.below.setVisible(not is_low or self.views.findings.isChecked())
        if is_low and self.below.isVisible():
            self.split.setSizes([1000, LOW_FINDINGS_PX])

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Make the best of it; the card stays in the middle."""
        super().resizeEvent(event)
        self._fit()
        self.empty.place()

    def changeEvent(self, event: QEvent | None) -> None:
        """Minimised, or back."""
        super().changeEvent(event)
        if event is not None and event.type() == QEvent.Type.WindowStateChange:
            self.seen_changed.emit()

    def closeEvent(self, event: QCloseEvent | None) -> None:
        """The end of the program."""
        super().closeEvent(event)
        self.closed.emit()
