"""The two choosers of the bar: what is listened to, and what it is held against."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Iterable, Mapping
from typing import Final

from PyQt6.QtCore import QPointF, QRect, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF, QStandardItem, QStandardItemModel
from PyQt6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QSizePolicy,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionComboBox,
    QStylePainter,
    QWidget,
)

from meter.capture.records import SourceInfo
from meter.targets import Target

LOG: Final = logging.getLogger("ui.window")

SPEC: Final = Qt.ItemDataRole.UserRole
NAME: Final = SPEC + 1
OPEN_FILE: Final = "file:"
"""Stands for the choice of a file, in the list."""

TARGETLESS: Final = "No target"
FILE_KINDS: Final = "Audio (*.wav *.aif *.aiff *.flac *.ogg *.opus *.mp3);;All files (*)"
LOOK_MS: Final = 50
TEXT_MARGINS_PX: Final = 42


class Chooser(QComboBox):
    """A combo box that tells what the user chose, never what the program set."""

    chosen = pyqtSignal(str)

    def __init__(
        self, name: str, what_it_does: str, *, characters: int, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setAccessibleDescription(what_it_does)
        self.setToolTip(what_it_does)
        self.setMinimumContentsLength(characters)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setModel(QStandardItemModel(self))
        self.setItemDelegate(QStyledItemDelegate(self))  # Qt's own here does not know the style sheet
        self.activated.connect(self._tell)

    def _tell(self, row: int) -> None:
        self.chosen.emit(self.itemData(row, SPEC))

    def fill(self, entries: Iterable[tuple[str, str, str | None]]) -> None:
        """Another list: key, text, and why an entry cannot be chosen. What is chosen stays chosen."""
        kept = self.currentData(SPEC)
        model = self.model()
        assert isinstance(model, QStandardItemModel)
        model.clear()
        for key, text, why_not in entries:
            item = QStandardItem(text if why_not is None else f"{text}: {why_not}")
            item.setData(key, SPEC)
            item.setData(text, NAME)
            item.setToolTip(item.text())
            item.setEnabled(why_not is None)
            model.appendRow(item)
        self.show_chosen(kept)
        view = self.view()
        if view is not None:
            view.setMinimumWidth(min(view.sizeHintForColumn(0) + 40, 640))
            view.setTextElideMode(Qt.TextElideMode.ElideRight)
            if view.isVisible():  # the list is open: the arrow keys go on from here
                view.setCurrentIndex(model.index(max(self.currentIndex(), 0), 0))

    def show_chosen(self, key: str | None) -> None:
        """Show this entry as the chosen one, without telling anybody."""
        row = self.findData(key, SPEC)
        self.setCurrentIndex(row)

    @property
    def shown(self) -> str:
        """What stands in the closed box: the name alone."""
        # Why it cannot be heard is said in the list, and by the sentence.
        return self.currentData(NAME) or ""

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """The box, its text with an ellipsis where it is too long, and a chevron."""
        option = QStyleOptionComboBox()
        self.initStyleOption(option)
        painter = QStylePainter(self)
        try:
            painter.drawComplexControl(QStyle.ComplexControl.CC_ComboBox, option)
            room = self.width() - TEXT_MARGINS_PX
            option.currentText = self.fontMetrics().elidedText(self.shown, Qt.TextElideMode.ElideRight, room)
            painter.drawControl(QStyle.ControlElement.CE_ComboBoxLabel, option)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(QPen(self.palette().windowText().color(), 1.5))
            painter.drawPolyline(_chevron(self.rect()))
        finally:
            painter.end()


def _chevron(box: QRect) -> QPolygonF:
    x, y = box.right() - 14.0, box.center().y() + 1.0
    return QPolygonF([QPointF(x - 4.0, y - 2.0), QPointF(x, y + 2.0), QPointF(x + 4.0, y - 2.0)])


class SourceChooser(Chooser):
    """Everything that can be listened to; looked for in a thread, each time the list is opened.

    Parameters
    ----------
    list_sources : callable
        Gives them; may take its time.
    """

    def __init__(
        self,
        list_sources: Callable[[], list[SourceInfo]] | None = None,
        *,
        choose_file: Callable[[QWidget], str] | None = None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__("Source", "What is listened to (S)", characters=22, parent=parent)
        self._list_sources = _list_sources if list_sources is None else list_sources
        self._choose_file = _choose_file if choose_file is None else choose_file
        self._found: queue.SimpleQueue[list[SourceInfo]] = queue.SimpleQueue()
        self._is_looking = False
        self._infos: list[SourceInfo] = []
        self._current = SourceInfo(spec="", name="")
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self._take)
        self.show_infos([SourceInfo(spec="system", name="What the system plays"), _DEMO])

    def _tell(self, row: int) -> None:
        spec = self.itemData(row, SPEC)
        if spec != OPEN_FILE:
            self.chosen.emit(spec)
            return
        self.show_chosen(self._current.spec)
        path = self._choose_file(self)
        if path:
            self.chosen.emit(OPEN_FILE + path)

    def showPopup(self) -> None:
        """Open the list, and look for what there is now."""
        self.look_around()
        super().showPopup()

    def look_around(self) -> None:
        """Look for sources, in a thread."""
        if self._is_looking:
            return
        self._is_looking = True
        threading.Thread(target=self._look, name="leadline sources", daemon=True).start()
        self._timer.start()

    def _look(self) -> None:
        try:
            self._found.put(self._list_sources())
        except Exception:
            LOG.exception("please report this: sources could not be listed")
            self._found.put([])

    def _take(self) -> None:
        if self._found.empty():
            return
        self._timer.stop()
        self._is_looking = False
        infos = self._found.get()
        if infos and infos != self._infos:
            self.show_infos(infos)

    def show_infos(self, infos: list[SourceInfo]) -> None:
        """Show these, with what is listened to now."""
        self._infos = infos
        listed = [info for info in infos if info.spec != "file:PATH"]
        if self._current.spec and all(info.spec != self._current.spec for info in listed):
            listed.insert(0, self._current)
        entries = [(info.spec, _name(info), _why_not(info)) for info in listed]
        self.fill([*entries, (OPEN_FILE, "An audio file …", None)])
        self.show_chosen(self._current.spec)

    def set_current(self, info: SourceInfo) -> None:
        """What is listened to."""
        if info.spec == self._current.spec and info.name == self._current.name:
            return
        self._current = info
        self.show_infos(self._infos)
        self.setToolTip(f"What is listened to (S): {info.name}")


class TargetChooser(Chooser):
    """The targets there are, and none."""

    def __init__(self, *, parent: QWidget | None = None) -> None:
        super().__init__("Target", "What it is held against (T)", characters=11, parent=parent)
        self._targets: Mapping[str, Target] = {}

    def set_targets(self, targets: Mapping[str, Target]) -> None:
        """Show these."""
        self._targets = targets
        self.fill([("", TARGETLESS, None), *((name, one.title, None) for name, one in targets.items())])

    def target(self, name: str) -> Target | None:
        """The target of this name."""
        return self._targets.get(name)


_DEMO: Final = SourceInfo(spec="demo", name="the demo tune")


def _name(info: SourceInfo) -> str:
    """The name, with a capital where it is ours and not that of a device or a file."""
    name = _DEMO.name if info.spec == _DEMO.spec else info.name
    is_ours = info.spec in ("system", _DEMO.spec) or info.why_not is not None
    return name[:1].upper() + name[1:] if is_ours else name


def _why_not(info: SourceInfo) -> str | None:
    if info.why_not is None or info.what_to_do is None:
        return info.why_not
    return f"{info.why_not}; {info.what_to_do}"


def _list_sources() -> list[SourceInfo]:
    from meter.capture.listing import list_sources

    return list_sources()


def _choose_file(parent: QWidget) -> str:
    path, _ = QFileDialog.getOpenFileName(parent, "Listen to an audio file", "", FILE_KINDS)
    return path
