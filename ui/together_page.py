"""The page of two stems: which files, what the kick and the sub make of each other, and what would help."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QDragEnterEvent, QDropEvent, QResizeEvent
from PyQt6.QtWidgets import (
    QDialog,
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from meter.kick_and_sub import MOVE
from meter.together_words import HITS, HOW, QUESTION, SCAN, PageText
from meter.window_text import capital
from ui import fonts
from ui.parts import fill_page, prose
from ui.progress_strip import ProgressStrip
from ui.style import SENTENCE_PX, SMALL_PX, SPACE_PX, TEXT_PX, label, typeset
from ui.together_plots import HitsPlot, Key, ScanPlot

if TYPE_CHECKING:
    from meter.kick_and_sub import Together

SIZE_PX: Final = (820, 764)
CHANNELS_PX: Final = 108
EDGES_PX: Final = 5 * SPACE_PX + 14
"""Beside the form: the margins, and the scroll bar."""


class TogetherPage(QDialog):
    """Asks for a kick and a sub, and shows what was found; closed with Escape.

    Signals
    -------
    file_wanted : str
        "kick" or "sub": its file is to be chosen.
    look_wanted
    cancelled
    """

    file_wanted = pyqtSignal(str)
    look_wanted = pyqtSignal()
    cancelled = pyqtSignal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.setWindowTitle("Kick and sub together · Leadline")
        self.setAccessibleName("Kick and sub together")
        self.setAcceptDrops(True)
        self.stems = {
            "kick": StemRow("&Kick", "the kick by itself"),
            "sub": StemRow("&Sub", "the sub by itself"),
        }
        for key, row in self.stems.items():
            row.choose.clicked.connect(lambda _=False, key=key: self.file_wanted.emit(key))
            row.channels.textEdited.connect(self._forget)
        self.look = QPushButton("&Look at both")
        self.look.setDefault(True)
        self.look.clicked.connect(self.look_wanted)
        self.progress = ProgressStrip(what="looking at kick and sub")
        self.progress.cancelled.connect(self.cancelled)
        self.problem = prose()
        self.advice = prose(size_px=SENTENCE_PX)
        self.lines = prose()
        self._results = QVBoxLayout()
        self._results.setSpacing(SPACE_PX)
        self.plots: list[QWidget] = []
        self._lay_out()
        self.say("")
        self._show_found(False)

    def _lay_out(self) -> None:
        inside = QWidget()
        inside.setObjectName("page")
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, SPACE_PX, 0)
        column.setSpacing(SPACE_PX)
        column.addWidget(prose(QUESTION, size_px=SENTENCE_PX))
        column.addWidget(prose(HOW, size_px=SMALL_PX, is_soft=True))
        grid = QGridLayout()
        grid.setSpacing(SPACE_PX)
        grid.setColumnStretch(1, 1)
        for number, row in enumerate(self.stems.values()):
            for place, part in enumerate((row.name, row.file, row.choose, row.channels)):
                grid.addWidget(part, number, place)
        column.addLayout(grid)
        grid.addWidget(self.look, 0, 4, 2, 1)
        for part in (self.progress, self.problem, self.advice, self.lines):
            column.addWidget(part)
        column.addLayout(self._results)
        column.addStretch(1)
        self.setMinimumWidth(inside.minimumSizeHint().width() + EDGES_PX)
        fill_page(self, inside, SIZE_PX)

    def dragEnterEvent(self, event: QDragEnterEvent | None) -> None:
        """Files may be dropped."""
        mime = None if event is None else event.mimeData()
        if event is not None and mime is not None and any(url.isLocalFile() for url in mime.urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent | None) -> None:
        """The first that is dropped is the kick where none is chosen, the next the sub."""
        mime = None if event is None else event.mimeData()
        paths = [] if mime is None else [url.toLocalFile() for url in mime.urls() if url.isLocalFile()]
        rows = list(self.stems.values())
        free = [row for row in rows if not row.path] or rows
        for row, path in zip(rows if len(paths) > 1 else free, paths, strict=False):
            self.take_file(row, path)

    # --- what is shown

    def show_at_work(self, is_at_work: bool) -> None:
        """It is being looked at, or no longer."""
        self.look.setEnabled(not is_at_work)
        self.progress.setVisible(is_at_work)
        if is_at_work:
            self._show_found(False)

    def say(self, sentence: str) -> None:
        """What could not be done; empty for nothing."""
        self.problem.setText(typeset(capital(sentence)))
        self.problem.setVisible(bool(sentence))
        if sentence:
            self._show_found(False)

    def take_file(self, row: StemRow, path: str) -> None:
        """It is another file now; what was found of the one before is gone."""
        row.path = path
        row.file.show_path(path)
        self._forget()

    def _forget(self) -> None:
        self.say("")
        self._show_found(False)

    def show_found(self, text: PageText, found: Together) -> None:
        """Write and draw it."""
        self._clear()
        self.advice.setText(typeset(text.advice))
        self.lines.setText(typeset("\n".join(text.lines)))
        if found.hits:
            self._put(prose(HITS, size_px=SMALL_PX, is_soft=True))
            self._put(HitsPlot(found, text.hits_spoken))
        if found.scan_db is not None:
            self._put(prose(SCAN, size_px=SMALL_PX, is_soft=True))
            self._put(ScanPlot(found, text.scan_spoken))
            turned = "turned; the full dot: what is suggested" if found.verdict == MOVE else "turned"
            self._put(Key("polarity as it is; the open ring: now", turned))
        self._show_found(True)

    def _put(self, widget: QWidget) -> None:
        self._results.addWidget(widget)
        self.plots.append(widget)

    def _clear(self) -> None:
        for one in self.plots:
            self._results.removeWidget(one)
            one.deleteLater()
        self.plots = []

    def _show_found(self, on: bool) -> None:
        for one in (self.advice, self.lines, *self.plots):
            one.setVisible(on)


class StemRow:
    """One line of the form: the file, a way to choose it, and which of its channels."""

    def __init__(self, name: str, what: str) -> None:
        self.path = ""
        self.name = label(name)
        self.file = FileName(f"no file yet: {what}")
        self.choose = QPushButton("Choose …")
        self.choose.setAccessibleName(f"Choose {what}")
        self.name.setBuddy(self.choose)
        self.channels = QLineEdit()
        self.channels.setPlaceholderText("all channels")
        self.channels.setToolTip("Both in one file? Say which two channels, such as 3,4")
        self.channels.setAccessibleName(f"Channels of {what}")
        self.channels.setFixedWidth(CHANNELS_PX)


class FileName(QLabel):
    """The name of a file, its middle left out where there is no room."""

    def __init__(self, nothing: str) -> None:
        super().__init__()
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setFont(fonts.font(TEXT_PX))
        self.setObjectName("soft")
        self.setMinimumWidth(120)
        self._whole = nothing
        self._fit()

    def show_path(self, path: str) -> None:
        """Its name; all of it in the tip."""
        self._whole = path.replace("\\", "/").rpartition("/")[2]
        self.setToolTip(path)
        self.setAccessibleName(self._whole)
        self._fit()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """More of it may have room."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        room = max(self.width(), 120)
        self.setText(self.fontMetrics().elidedText(self._whole, Qt.TextElideMode.ElideMiddle, room))
