"""The page of earlier passes: choose one to draw it again, or forget it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from ui import fonts
from ui.style import SMALL_PX, SPACE_PX, TEXT_PX, label, typeset

if TYPE_CHECKING:
    from meter.earlier import EarlierLine

WIDTH_PX: Final = 620
HEIGHT_PX: Final = 480
NONE_YET: Final = (
    "Nothing is in the journal from before. What is heard live is kept there, pass by pass: the numbers of "
    "every 100 ms, never audio."
)
SAID: Final = "The numbers of every 100 ms are kept, never audio. Enter draws a pass, Delete forgets it."


class EarlierPage(QDialog):
    """Asks which.

    Signals
    -------
    chosen, unwanted : int
        Number in the journal.
    """

    chosen = pyqtSignal(int)
    unwanted = pyqtSignal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.setWindowTitle("Earlier passes · Leadline")
        self.find = QLineEdit()
        self.find.setPlaceholderText("find: a day, a source, set")
        self.find.setAccessibleName("Find")
        self.find.textChanged.connect(self._sieve)
        self.list = _List()
        self.list.setAccessibleName("Earlier passes")
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.list.itemActivated.connect(lambda _: self._draw())
        self.list.currentRowChanged.connect(lambda _: self._look())
        self.list.unwanted.connect(self._forget)
        self.words = label("looking into the journal", size_px=SMALL_PX, is_soft=True)
        self.words.setWordWrap(True)
        self.draw = QPushButton("Draw it")
        self.draw.setDefault(True)
        self.draw.clicked.connect(self._draw)
        self.forget = QPushButton("Forget it")
        self.forget.clicked.connect(self._forget)
        close = QPushButton("Close")
        close.clicked.connect(self.reject)
        for one in (self.draw, self.forget, close):
            one.setAutoDefault(one is self.draw)
        buttons = QHBoxLayout()
        buttons.addWidget(self.draw)
        buttons.addWidget(self.forget)
        buttons.addStretch(1)
        buttons.addWidget(close)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(*[2 * SPACE_PX] * 4)
        layout.setSpacing(SPACE_PX)
        layout.addWidget(self.find)
        layout.addWidget(self.list, 1)
        layout.addWidget(self.words)
        layout.addLayout(buttons)
        self.resize(WIDTH_PX, HEIGHT_PX)
        self._look()

    def show_lines(self, lines: Sequence[EarlierLine]) -> None:
        """Show these; the place in the list stays."""
        row = max(self.list.currentRow(), 0)
        self.list.clear()
        for one in lines:
            note = f"   {one.note}" if one.note else ""
            item = QListWidgetItem(f"{one.when}   {one.source}{note}\n{typeset(one.numbers)}")
            item.setFont(fonts.font(TEXT_PX))
            item.setData(Qt.ItemDataRole.UserRole, one.number)
            item.setData(
                Qt.ItemDataRole.AccessibleTextRole,
                f"{one.when}, {one.source}, {one.numbers}{', ' + one.note if one.note else ''}",
            )
            self.list.addItem(item)
        self._sieve(self.find.text())
        self.list.setCurrentRow(min(row, self.list.count() - 1))
        self.words.setText(SAID if lines else NONE_YET)
        self._look()

    def _sieve(self, text: str) -> None:
        """Hide what does not have all the words."""
        words = text.lower().split()
        for row in range(self.list.count()):
            item = self.list.item(row)
            if item is not None:
                item.setHidden(not all(word in item.text().lower() for word in words))
        if self._number() is None:
            rows = range(self.list.count())
            self.list.setCurrentRow(next((row for row in rows if not self.list.isRowHidden(row)), -1))
        self._look()

    def _number(self) -> int | None:
        item = self.list.currentItem()
        return None if item is None or item.isHidden() else int(item.data(Qt.ItemDataRole.UserRole))

    def _look(self) -> None:
        for one in (self.draw, self.forget):
            one.setEnabled(self._number() is not None)

    def _draw(self) -> None:
        number = self._number()
        if number is not None:
            self.chosen.emit(number)
            self.accept()

    def _forget(self) -> None:
        number = self._number()
        if number is not None:
            self.unwanted.emit(number)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Down leads from what is looked for into the list."""
        if event is not None and event.key() == Qt.Key.Key_Down and self.find.hasFocus():
            self.list.setFocus(Qt.FocusReason.TabFocusReason)
            return
        super().keyPressEvent(event)


class _List(QListWidget):
    """Delete says that a row is not wanted."""

    unwanted = pyqtSignal()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Delete, or whatever the list does with a key."""
        if event is not None and event.key() == Qt.Key.Key_Delete:
            self.unwanted.emit()
            return
        super().keyPressEvent(event)
