"""The passes of this session, the newest on top, and above them what sounds now."""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from ui.style import typeset
from ui.thinker import PassLine

NUMBER: Final = Qt.ItemDataRole.UserRole
NOW: Final = 0
"""Stands for what sounds now; passes are counted from 1."""


class PassesList(QListWidget):
    """Choosing a pass draws it in the lanes; choosing "now" goes back to what sounds."""

    now_chosen = pyqtSignal()
    pass_chosen = pyqtSignal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Passes of this session")
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTextElideMode(Qt.TextElideMode.ElideNone)
        self._passes: dict[int, PassLine] = {}
        self._add(NOW, "What sounds now")
        self.setCurrentRow(0)
        self.itemClicked.connect(self._tell)
        self.itemActivated.connect(self._tell)

    def _add(self, number: int, text: str, row: int = 0) -> None:
        item = QListWidgetItem(text)
        item.setData(NUMBER, number)
        self.insertItem(row, item)

    def set_passes(self, passes: tuple[PassLine, ...]) -> None:
        """Take what is known of the passes, the newest last."""
        for one in passes:
            if one.number not in self._passes:
                self._add(one.number, _two_lines(one), 1)
            elif one != self._passes[one.number]:
                item = self.item(self._row_of(one.number))
                if item is not None:
                    item.setText(_two_lines(one))
            self._passes[one.number] = one

    def _row_of(self, number: int) -> int:
        for row in range(self.count()):
            item = self.item(row)
            if item is not None and item.data(NUMBER) == number:
                return row
        return -1

    def _tell(self, item: QListWidgetItem) -> None:
        number = item.data(NUMBER)
        if number == NOW:
            self.now_chosen.emit()
        else:
            self.pass_chosen.emit(self._passes[number])

    def show_now(self) -> None:
        """Mark that what sounds now is shown."""
        self.setCurrentRow(0)

    def show_pass(self, one: PassLine) -> None:
        """Mark that this pass is shown."""
        self.setCurrentRow(self._row_of(one.number))

    @property
    def newest(self) -> PassLine | None:
        """The newest pass."""
        return self._passes[max(self._passes)] if self._passes else None

    @property
    def chosen(self) -> PassLine | None:
        """The pass that is chosen; None when what sounds now is."""
        item = self.currentItem()
        return None if item is None else self._passes.get(item.data(NUMBER))

    def pass_of(self, number: int) -> PassLine | None:
        """The pass of this number."""
        return self._passes.get(number)


def _two_lines(one: PassLine) -> str:
    """Number and length over the levels: the list is narrow."""
    number, length, *levels = typeset(one.text).split("  ")
    so_far = " so far" if one.last_slot is None else ""
    return f"{number}    {length}{so_far}\n" + "   ".join(levels)
