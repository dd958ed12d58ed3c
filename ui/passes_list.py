"""What can be drawn in the lanes: what sounds now, the passes of this session, the files, the shelf."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QResizeEvent
from PyQt6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from ui import fonts
from ui.style import SMALL_PX, TEXT_PX, typeset
from ui.thinker import PassLine

KEY: Final = Qt.ItemDataRole.UserRole
"""Of a row: its group, and its number in it."""

NOW: Final = ("pass", 0)
"""Stands for what sounds now; passes are counted from 1."""

HEADINGS: Final = {"file": "Opened", "shelf": "Shelf"}
ORDER: Final = ("pass", "file", "shelf")

ROOM_PX: Final = 158
"""For a row, in a list of the usual width with a scroll bar."""

GAP: Final = "  "
SINCE: Final = "since last"

Key = tuple[str, int]


class PassesList(QListWidget):
    """Choosing a pass draws it in the lanes; choosing "now" goes back to what sounds.

    Signals
    -------
    now_chosen
    pass_chosen : PassLine
    file_chosen, reference_chosen : int
        Number in its group.
    file_unwanted, reference_unwanted : int
        Delete was pressed on it.
    """

    now_chosen = pyqtSignal()
    pass_chosen = pyqtSignal(object)
    file_chosen = pyqtSignal(int)
    reference_chosen = pyqtSignal(int)
    file_unwanted = pyqtSignal(int)
    reference_unwanted = pyqtSignal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Passes, files and shelf")
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.setTextElideMode(Qt.TextElideMode.ElideNone)
        self._passes: dict[int, PassLine] = {}
        self._write(NOW, "What sounds now", self._item_at(NOW, 0))
        self.setCurrentRow(0)
        self.itemClicked.connect(self._tell)
        self.itemActivated.connect(self._tell)

    # --- rows

    def _item_at(self, key: Key, row: int) -> QListWidgetItem:
        item = QListWidgetItem()
        item.setData(KEY, key)
        self.insertItem(row, item)
        return item

    def _write(self, key: Key, text: str, item: QListWidgetItem, full: str = "") -> None:
        item.setText(text)
        spoken = (full or text).replace("\n", ", ")
        item.setData(Qt.ItemDataRole.AccessibleTextRole, spoken)
        item.setToolTip(full if full != text else "")

    def _row_of(self, key: Key) -> int:
        for row in range(self.count()):
            item = self.item(row)
            if item is not None and item.data(KEY) == key:
                return row
        return -1

    def _first_row(self, group: str) -> int:
        """Where the newest row of a group goes; its heading is made when it is missing."""
        if group == "pass":
            return 1
        row = self._row_of((group, -1))
        if row < 0:
            later = ORDER[ORDER.index(group) + 1 :]
            rows = [found for one in later if (found := self._row_of((one, -1))) >= 0]
            row = min(rows, default=self.count())
            item = self._item_at((group, -1), row)
            item.setText(HEADINGS[group])
            item.setFont(fonts.font(SMALL_PX))
            item.setFlags(Qt.ItemFlag.NoItemFlags)
        return row + 1

    # --- what is in it

    def set_passes(self, passes: tuple[PassLine, ...]) -> None:
        """Take what is known of the passes, the newest last."""
        for one in passes:
            if one.number not in self._passes:
                self._write_pass(one, self._item_at(("pass", one.number), self._first_row("pass")))
            elif one != self._passes[one.number]:
                item = self.item(self._row_of(("pass", one.number)))
                if item is not None:
                    self._write_pass(one, item)
            self._passes[one.number] = one

    def _write_pass(self, one: PassLine, item: QListWidgetItem) -> None:
        self._write(("pass", one.number), _lines(one), item)

    def add_file(self, number: int, name: str, numbers: str, change: str = "") -> None:
        """A file that was measured, on top of those that were there."""
        self._item_at(("file", number), self._first_row("file"))
        self.write_file(number, name, numbers, change)

    def write_file(
        self, number: int, name: str, numbers: str, change: str, tried: Sequence[tuple[str, str]] = ()
    ) -> None:
        """The row of a file, with what each encoder makes of it: in short, and in full for the tip."""
        item = self.item(self._row_of(("file", number)))
        if item is not None:
            known = [*_numbers(numbers), *_changes(change)]
            lines = [short(name), *known, *(typeset(line) for line, _ in tried)]
            full = [name, *known, *(typeset(line) for _, line in tried)]
            self._write(("file", number), "\n".join(lines), item, full="\n".join(full))

    def remove_file(self, number: int) -> None:
        """Its row goes, and the heading with the last one."""
        self.takeItem(self._row_of(("file", number)))
        rows = (self.item(row) for row in range(self.count()))
        left = [item for item in rows if item is not None and item.data(KEY)[0] == "file"]
        if len(left) == 1:
            self.takeItem(self._row_of(("file", -1)))

    def set_shelf(self, names: Sequence[str]) -> None:
        """The references by name, and all of them together where there are several."""
        for row in range(self.count() - 1, -1, -1):
            item = self.item(row)
            if item is not None and item.data(KEY)[0] == "shelf":
                self.takeItem(row)
        for number in reversed(range(len(names))):
            item = self._item_at(("shelf", number), self._first_row("shelf"))
            self._write(("shelf", number), short(names[number]), item, full=names[number])

    # --- choosing

    def _tell(self, item: QListWidgetItem) -> None:
        group, number = item.data(KEY)
        if (group, number) == NOW:
            self.now_chosen.emit()
        elif number < 0:
            return
        elif group == "file":
            self.file_chosen.emit(number)
        elif group == "shelf":
            self.reference_chosen.emit(number)
        else:
            self.pass_chosen.emit(self._passes[number])

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Delete takes a reference off the shelf, and a file out of the list."""
        item = self.currentItem()
        if event is not None and event.key() == Qt.Key.Key_Delete and item is not None:
            group, number = item.data(KEY)
            if group in ("shelf", "file") and number >= 0:
                (self.reference_unwanted if group == "shelf" else self.file_unwanted).emit(number)
                return
        super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """What is chosen stays in sight."""
        super().resizeEvent(event)
        item = self.currentItem()
        if item is not None:
            self.scrollToItem(item)

    def show_now(self) -> None:
        """Mark that what sounds now is shown."""
        self.setCurrentRow(0)

    def show_pass(self, one: PassLine) -> None:
        """Mark that this pass is shown."""
        self.setCurrentRow(self._row_of(("pass", one.number)))

    def show_file(self, number: int) -> None:
        """Mark that this file is shown."""
        self.setCurrentRow(self._row_of(("file", number)))

    @property
    def newest(self) -> PassLine | None:
        """The newest pass."""
        return self._passes[max(self._passes)] if self._passes else None

    @property
    def chosen(self) -> PassLine | None:
        """The pass that is chosen; None when what sounds now, or something else, is."""
        item = self.currentItem()
        group, number = NOW if item is None else item.data(KEY)
        return self._passes.get(number) if group == "pass" else None

    def pass_of(self, number: int) -> PassLine | None:
        """The pass of this number."""
        return self._passes.get(number)


def short(name: str) -> str:
    """A name that fits; what is left out is in the middle, and all of it in the row's tip."""
    return fonts.metrics(TEXT_PX).elidedText(name, Qt.TextElideMode.ElideMiddle, ROOM_PX)


def _lines(one: PassLine) -> str:
    """Number and length over the levels and what has changed: the list is narrow."""
    number, length, *levels = typeset(one.text).split(GAP)
    so_far = " so far" if one.last_slot is None else ""
    return "\n".join([f"{number}    {length}{so_far}", *_fitted(levels, "   "), *_changes(one.change)])


def _numbers(text: str) -> list[str]:
    return _fitted(typeset(text).split(GAP), GAP)


def _changes(change: str) -> list[str]:
    """What has changed since the one below it in the list."""
    if not change:
        return []
    first, *more = typeset(change).split(", ")
    together = f"{SINCE} {first}"
    if _fits(together):
        return _fitted([together, *more], ", ")
    return [SINCE, *_fitted([first, *more], ", ")]


def _fits(line: str) -> bool:
    return fonts.metrics(TEXT_PX).horizontalAdvance(line) <= ROOM_PX


def _fitted(parts: Sequence[str], between: str) -> list[str]:
    """The parts in lines that are narrow enough; none is cut."""
    lines: list[str] = []
    for part in parts:
        longer = f"{lines[-1]}{between}{part}" if lines else part
        if lines and _fits(longer):
            lines[-1] = longer
        else:
            lines.append(part)
    return lines
