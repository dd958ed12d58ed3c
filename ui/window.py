"""The window: the bar, the sentence, the lanes, the passes, the findings, the status line.

It shows what `meter` says and computes nothing. What happens in it is in `ui.conductor`.
"""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import QEvent, Qt, pyqtSignal
from PyQt6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QResizeEvent
from PyQt6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from ui import fonts
from ui.bar import Bar, ViewRow
from ui.choosers import SourceChooser, TargetChooser
from ui.empty_card import EmptyCard
from ui.findings_list import FindingsList
from ui.lane_view import LanesView
from ui.moment_panel import MomentPanel
from ui.passes_list import PassesList
from ui.progress_strip import ProgressStrip
from ui.sentence_line import MessageBar, SentenceLine
from ui.status_line import StatusLine
from ui.style import FAR_SENTENCE_PX, LOW_FAR_SENTENCE_PX, SENTENCE_PX, SMALL_PX, SPACE_PX, label
from ui.week_strip import WeekStrip

TITLE: Final = "Leadline"
LEFT_PX: Final = 184
FINDINGS_PX: Final = 150
LOW_FINDINGS_PX: Final = 110
PASSES_LEAST_PX: Final = 90

NARROW_PX: Final = 1130
"""In a narrower window the caution is shorter."""

LOW_PX: Final = 660
"""In a lower one the findings are shown when they are asked for, as while folded, and the sentence has
one line."""

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
    dropped = pyqtSignal(list)

    def __init__(self, source: SourceChooser, target: TargetChooser) -> None:
        super().__init__()
        self.setWindowTitle(TITLE)
        self.bar = Bar(source, target)
        self.sentence = SentenceLine()
        self.message = MessageBar()
        self.progress = ProgressStrip()
        self.encoding = ProgressStrip(what="the trying of encoders")
        self.views = ViewRow()
        self.lanes = LanesView()
        self.empty = EmptyCard(self.lanes)
        self.passes = PassesList()
        self.findings = FindingsList()
        self.no_findings = label("Nothing found so far.", is_soft=True)
        self.no_findings.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.slighter = QPushButton()
        self.slighter.setObjectName("link")
        self.slighter.setFont(fonts.font(SMALL_PX))
        self.slighter.setCheckable(True)
        self.slighter.toggled.connect(self.findings.show_slight)
        self.findings.counted.connect(self._count_findings)
        self._is_folded = self._is_far = False
        self.moment = MomentPanel()
        self.status = StatusLine()

        whole = QWidget()
        layout = QVBoxLayout(whole)
        layout.setContentsMargins(2 * SPACE_PX, SPACE_PX + 2, 2 * SPACE_PX, SPACE_PX)
        layout.setSpacing(SPACE_PX)
        layout.addWidget(self.bar)
        layout.addWidget(self.sentence)
        layout.addWidget(self.message)
        layout.addWidget(self.progress)
        layout.addWidget(self.encoding)
        layout.addWidget(hairline())
        layout.addLayout(self._middle(), 1)
        layout.addWidget(hairline())
        layout.addWidget(self.status)
        self.setCentralWidget(whole)
        self.setMinimumSize(*SMALLEST_PX)
        self.setAcceptDrops(True)
        self.views.findings.toggled.connect(self._fit)
        self.resize(1280, 800)

    def _middle(self) -> QHBoxLayout:
        left = QVBoxLayout()
        left.setSpacing(4)
        left.addWidget(heading("Passes"))
        left.addWidget(self.passes, 1)
        left.addSpacing(SPACE_PX)
        left.addWidget(heading("Chosen moment or part"))
        left.addWidget(self.moment)
        self.passes.setFixedWidth(LEFT_PX)
        self.passes.setMinimumHeight(PASSES_LEAST_PX)
        self.moment.setFixedWidth(LEFT_PX)

        lanes = QWidget()
        upper = QVBoxLayout(lanes)
        upper.setContentsMargins(0, 0, 0, 0)
        upper.setSpacing(SPACE_PX)
        upper.addWidget(self.views)
        upper.addWidget(self.lanes, 1)
        self.week = WeekStrip()
        self.week.hide()
        upper.addWidget(self.week)
        self.words = label("", size_px=SMALL_PX, is_soft=True)
        self.words.setWordWrap(True)
        self.words.hide()
        upper.addWidget(self.words)

        self.below = below = QWidget()
        lower = QVBoxLayout(below)
        lower.setContentsMargins(0, SPACE_PX, 0, 0)
        lower.setSpacing(4)
        head = QHBoxLayout()
        head.setSpacing(2 * SPACE_PX)
        words = heading("Findings")
        words.setMinimumHeight(self.slighter.sizeHint().height())  # nothing moves when that comes
        head.addWidget(words)
        head.addWidget(self.slighter)
        head.addStretch(1)
        lower.addLayout(head)
        lower.addWidget(self.no_findings, 1)
        lower.addWidget(self.findings, 1)
        self._count_findings(0, 0)

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

    def _count_findings(self, shown: int, slight: int) -> None:
        """The list, or the words that stand for an empty one; and the way to the slight ones."""
        self.findings.setVisible(shown > 0)
        self.no_findings.setVisible(shown == 0)
        self.no_findings.setText("Only slight ones so far." if slight else "Nothing found so far.")
        ones = "slight one" if slight == 1 else "slight ones"
        leave_out = f"without the {ones}" if slight == 1 else f"without the {slight} {ones}"
        self.slighter.setText(leave_out if self.slighter.isChecked() else f"and {slight} {ones}")
        self.slighter.setVisible(slight > 0)

    def show_folded(self, is_folded: bool) -> None:
        """Give the lanes all the room while phrases lie over one another."""
        if is_folded != self._is_folded:
            self._is_folded = is_folded
            self.views.findings.setChecked(False)
            self._fit()

    def show_words(self, text: str) -> None:
        """Under the lanes, with the seven days, for as long as they are shown; none when empty."""
        self.words.setText(text)
        self.words.setVisible(bool(text))
        self.views.speak_of_ears(bool(text))
        self._fit()

    def show_far(self, is_far: bool) -> None:
        """Write what can be read from two metres, and give the lanes all the room; or no longer."""
        if is_far != self._is_far:
            self._is_far = is_far
            self.lanes.set_far(is_far)
            self.views.findings.setChecked(False)
            self._fit()

    @property
    def is_seen(self) -> bool:
        """Whether anybody can see it: not hidden, not minimised."""
        return self.isVisible() and not self.isMinimized()

    @property
    def is_low(self) -> bool:
        """Whether there is little room between top and bottom."""
        return self.height() < LOW_PX

    @property
    def _hides_findings(self) -> bool:
        """Whether the findings are shown only when they are asked for."""
        return self.is_low or self._is_folded or self._is_far or self.words.isVisibleTo(self)

    def show_findings(self) -> None:
        """Show the findings, where they are not always shown."""
        self.views.findings.setChecked(True)

    def _fit(self) -> None:
        """Make the best of the room there is."""
        hides = self._hides_findings
        self.bar.become_narrow(self.width() < NARROW_PX)
        self.views.become_narrow(self.width() < NARROW_PX)
        self.sentence.set_lines(1 if self.is_low else 2)
        has_room = not self.is_low and self.width() >= NARROW_PX
        far_px = FAR_SENTENCE_PX if has_room else LOW_FAR_SENTENCE_PX
        self.sentence.set_size(far_px if self._is_far else SENTENCE_PX)
        self.week.setVisible(self.words.isVisibleTo(self) and not self.is_low)
        self.views.findings.setVisible(hides)
        self.below.setVisible(not hides or self.views.findings.isChecked())
        if self.is_low and self.below.isVisible():
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

    def dragEnterEvent(self, event: QDragEnterEvent | None) -> None:
        """Files and folders are welcome."""
        if event is not None and _local_paths(event):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent | None) -> None:
        """Tell which."""
        if event is not None and (paths := _local_paths(event)):
            event.acceptProposedAction()
            self.dropped.emit(paths)

    def closeEvent(self, event: QCloseEvent | None) -> None:
        """The end of the program."""
        super().closeEvent(event)
        self.closed.emit()


def _local_paths(event: QDropEvent) -> list[str]:
    """Files and folders of this machine in what is dragged."""
    data = event.mimeData()
    return [] if data is None else [url.toLocalFile() for url in data.urls() if url.isLocalFile()]
