"""The one sentence, and the strip for messages under it."""

from __future__ import annotations

import time
from collections.abc import Callable

from PyQt6.QtCore import QEvent, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QFontMetrics, QResizeEvent
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QLabel, QSizePolicy, QToolButton, QWidget

from meter.capture.records import SourceInfo
from meter.now import Now
from meter.sentence import sentence
from meter.sentence_kinds import Keeper, Kind
from meter.set_sentences import calls
from meter.window_text import capital
from ui import fonts
from ui.style import LOW_FAR_SENTENCE_PX, SENTENCE_PX, SPACE_PX, label, typeset

LINES = 2
FAR_INDENT_PX = 12
"""Before a large sentence: filled with ink it may not touch the edge."""

SMALLER_PX = (LOW_FAR_SENTENCE_PX, SENTENCE_PX)
"""A large sentence that needs more than two lines is written in one of these."""


class SentenceLine(QLabel):
    """The most useful thing to know now. As high as two lines whatever it says, so nothing moves."""

    changed = pyqtSignal(str)

    def __init__(
        self, *, size_px: int = SENTENCE_PX, lines: int = LINES, parent: QWidget | None = None
    ) -> None:
        self._size_px = self._written_px = size_px
        super().__init__(parent)
        self.setFont(fonts.font(size_px))
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._lines = lines
        self._keeper = Keeper()
        self._needed_lines = lines

    def show_now(self, now: Now) -> None:
        """Take what is known now."""
        found = sentence(now)
        kept = self._keeper.keep(found, time.monotonic())
        # What is said of the source is true at this moment or not.
        shown = found if found.kind <= Kind.NOTICE else kept
        self.say(shown.text, now.state.info, calling=calls(now, shown.kind))

    def begin_anew(self) -> None:
        """Other things matter from now on: what was said gives way at once."""
        self._keeper = Keeper()

    def say(self, text: str, info: SourceInfo | None = None, *, calling: bool = False) -> None:
        """Show this; with a capital, unless it begins with the name of this source, which has its own.

        What is calling is filled with ink, as a flag is.
        """
        if calling != bool(self.property("calls")):
            self.setProperty("calls", calling)
            style = self.style()
            if style is not None:
                style.unpolish(self)  # only then the style sheet looks at the property
                style.polish(self)
        whole = typeset(capital(text, info))
        if whole == self.text():
            return
        self.setText(whole)
        self._fit()
        self.changed.emit(whole)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Another width may need more lines."""
        super().resizeEvent(event)
        self._fit()

    def changeEvent(self, event: QEvent | None) -> None:
        """A style sheet that looks anew brings back the font of its first look."""
        super().changeEvent(event)
        kinds = (QEvent.Type.StyleChange, QEvent.Type.FontChange)
        if event is not None and event.type() in kinds and self.font().pixelSize() != self._written_px:
            self.setFont(fonts.font(self._written_px))

    def set_size(self, size_px: int) -> None:
        """How large it is written, unless it is too long for that."""
        if size_px != self._size_px:
            self._size_px = size_px
            self.setIndent(FAR_INDENT_PX if size_px > SENTENCE_PX else 0)
            self._fit()
            self.updateGeometry()

    def set_lines(self, lines: int) -> None:
        """How many lines it is high at least."""
        if lines != self._lines:
            self._lines = lines
            self._fit()

    def _fit(self) -> None:
        """More lines where the window is narrow, and smaller where it is large: it is never cut."""
        sizes = [self._size_px, *(size for size in SMALLER_PX if size < self._size_px)]
        needed = {size: self._lines_at(size) for size in sizes}
        size_px = next((size for size in sizes if needed[size] <= max(self._lines, LINES)), sizes[-1])
        if size_px != self._written_px:
            self._written_px = size_px  # first: a font that changes is looked at
            self.setFont(fonts.font(size_px))
        if max(self._lines, needed[size_px]) != self._needed_lines:
            self._needed_lines = max(self._lines, needed[size_px])
            self.updateGeometry()

    def _lines_at(self, size_px: int) -> int:
        metrics = fonts.metrics(size_px)
        flags, room = int(Qt.TextFlag.TextWordWrap), max(self.width() - max(self.indent(), 0), 1)
        high = metrics.boundingRect(QRectF(0, 0, room, 10_000), flags, self.text()).height()
        return round(high / metrics.lineSpacing())

    def sizeHint(self) -> QSize:
        """Two lines, or as many as it needs; as high when it is written smaller, so nothing moves."""
        high = self._needed_lines * self.fontMetrics().lineSpacing()
        return QSize(400, max(high, self._lines * QFontMetrics(fonts.font(self._size_px)).lineSpacing()) + 2)

    def hasHeightForWidth(self) -> bool:
        """Its height is that of `sizeHint`, whatever its text."""
        return False

    def heightForWidth(self, width: int) -> int:
        """As `sizeHint`: a layout asks here although it was told not to."""
        return self.sizeHint().height()

    def minimumSizeHint(self) -> QSize:
        """As high, but narrow if it must be."""
        return QSize(160, self.sizeHint().height())


class MessageBar(QFrame):
    """A strip that says what went wrong, until it is read."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("message")
        self.setAccessibleName("Message")
        self.label = label()
        self.label.setWordWrap(True)
        self.label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.undo = QToolButton()
        self.undo.setText("Undo")
        self.undo.clicked.connect(self.take_back)
        self.undo.hide()
        self._undoing: Callable[[], object] | None = None
        self.close_button = QToolButton()
        self.close_button.setText("Close")
        self.close_button.setAccessibleName("Close the message")
        self.close_button.clicked.connect(self.hide)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(SPACE_PX + 4, 4, 4, 4)
        layout.addWidget(self.label, 1)
        layout.addWidget(self.undo)
        layout.addWidget(self.close_button)
        self.hide()

    def say(self, sentence: str, undo: Callable[[], object] | None = None) -> None:
        """Show this; with a way to undo what was done, where there is one."""
        self.label.setText(capital(sentence))
        self._undoing = undo
        self.undo.setVisible(undo is not None)
        self.show()

    def take_back(self) -> None:
        """Undo what it tells of; nothing, where that cannot be undone or is no longer told."""
        if not self.isVisible():
            return
        undoing, self._undoing = self._undoing, None
        self.hide()
        if undoing is not None:
            undoing()
