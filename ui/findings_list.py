"""The findings: where, and what about it; the newest on top."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QModelIndex, QRect, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QPainter, QResizeEvent
from PyQt6.QtWidgets import (
    QListView,
    QListWidget,
    QListWidgetItem,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from meter.soundings import as_text_time
from meter.window_text import for_window
from ui import fonts
from ui.style import SMALL_PX, SPACE_PX, TEXT_PX, typeset

if TYPE_CHECKING:
    from collections.abc import Callable

    from meter.findings import Finding

FINDING: Final = Qt.ItemDataRole.UserRole
WRAPPED: Final = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
PLACE_SAMPLE: Final = "0:00:00.0"
PAD_PX: Final = 5


class FindingsList(QListWidget):
    """Choosing a finding moves every lane there. Slight ones are shown when they are asked for.

    Attributes
    ----------
    where : callable
        What stands under the place of a finding, in short lines.

    Signals
    -------
    finding_chosen : Finding
    counted : int, int
        How many are shown, and how many slight ones there are.
    """

    finding_chosen = pyqtSignal(object)
    counted = pyqtSignal(int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Findings")
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setItemDelegate(_Row(self))
        self.findings: tuple[Finding, ...] = ()
        self.where: Callable[[Finding], list[str]] = lambda finding: []
        self._with_slight = False
        self.itemClicked.connect(self._tell)
        self.itemActivated.connect(self._tell)

    def set_findings(self, findings: tuple[Finding, ...]) -> None:
        """Show these; the chosen one stays chosen where it is still there."""
        if findings == self.findings:
            return
        self.findings = findings
        self._fill()

    def show_slight(self, on: bool) -> None:
        """Show the slight ones too, or leave them out."""
        self._with_slight = on
        self._fill()

    def _fill(self) -> None:
        shown = [one for one in self.findings if self._with_slight or not one.is_slight]
        shown.sort(key=_key, reverse=True)
        keys = {_key(one) for one in shown}
        for row in range(self.count() - 1, -1, -1):
            if _key(self._finding(row)) not in keys:
                self.takeItem(row)
        # What is left stands in the same order, so each is either there or missing here.
        for row, finding in enumerate(shown):
            if row >= self.count() or _key(self._finding(row)) != _key(finding):
                self.insertItem(row, QListWidgetItem())
                self._write(row, finding)
            elif self._finding(row) != finding:
                self._write(row, finding)
        self.counted.emit(len(shown), sum(one.is_slight for one in self.findings))

    def _finding(self, row: int) -> Finding:
        found: Finding = self.model().index(row, 0).data(FINDING)  # type: ignore[union-attr]
        return found

    def _write(self, row: int, finding: Finding) -> None:
        item = self.item(row)
        assert item is not None
        item.setData(FINDING, finding)
        place = ", ".join([as_text_time(finding.at_s), *self.where(finding)])
        spoken = f"{place}: {_printed(finding)}"
        item.setData(Qt.ItemDataRole.AccessibleTextRole, spoken)

    @property
    def chosen(self) -> Finding | None:
        """The finding that is chosen."""
        item = self.currentItem()
        return None if item is None else item.data(FINDING)

    def choose(self, finding: Finding) -> None:
        """Choose this one, as a click would."""
        for row in range(self.count()):
            item = self.item(row)
            if item is not None and item.data(FINDING) == finding:
                self.setCurrentItem(item)
                self._tell(item)

    def forget_choice(self) -> None:
        """Nothing is chosen."""
        self.setCurrentRow(-1)

    def _tell(self, item: QListWidgetItem) -> None:
        self.finding_chosen.emit(item.data(FINDING))

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Other lines may be needed."""
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()

    def room_px(self) -> int:
        """Width of the text of a row."""
        viewport = self.viewport()
        width = self.width() if viewport is None else viewport.width()
        return max(width - _place_px() - 3 * SPACE_PX, 80)


def _key(finding: Finding) -> tuple[int, str]:
    """Which one it is, however it grows."""
    return finding.first_slot, finding.kind


@lru_cache(maxsize=4096)
def _height_px(text: str, room_px: int) -> int:
    room = QRectF(0.0, 0.0, room_px, 10_000.0)
    return round(fonts.metrics(TEXT_PX).boundingRect(room, WRAPPED, text).height())


@lru_cache(maxsize=1)
def _place_px() -> int:
    return round(fonts.metrics(TEXT_PX, is_bold=True).horizontalAdvance(PLACE_SAMPLE)) + SPACE_PX


@lru_cache(maxsize=2)
def _line_px(*, is_bold: bool = False) -> int:
    """Height of the place, or of a line under it."""
    return math.ceil(fonts.metrics(TEXT_PX if is_bold else SMALL_PX, is_bold=is_bold).lineSpacing())


def _printed(finding: Finding) -> str:
    return typeset(for_window(finding.text[:1].upper() + finding.text[1:]))


class _Row(QStyledItemDelegate):
    """Paints the place in a column of its own, and the text beside it."""

    def __init__(self, owner: FindingsList) -> None:
        super().__init__(owner)
        self._list = owner

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex) -> QSize:
        """As many lines as the text needs."""
        finding = index.data(FINDING)
        if finding is None:
            return QSize(0, 0)
        room_px = self._list.room_px()
        high_px, under = _height_px(_printed(finding), room_px), len(self._list.where(finding))
        if under:
            high_px = max(high_px, _line_px(is_bold=True) + under * _line_px())
        return QSize(room_px, high_px + 2 * PAD_PX)

    def paint(self, painter: QPainter | None, option: QStyleOptionViewItem, index: QModelIndex) -> None:
        """Place and text."""
        assert painter is not None
        finding = index.data(FINDING)
        if finding is None:
            return
        painter.save()
        try:
            palette = self._list.palette()
            if option.state & option.state.State_Selected:
                painter.fillRect(option.rect, palette.highlight())
            painter.setPen(palette.text().color())
            place = QRect(option.rect).adjusted(SPACE_PX, PAD_PX, 0, -PAD_PX)
            place.setWidth(_place_px())
            painter.setFont(fonts.font(TEXT_PX, is_bold=True))
            painter.drawText(place, int(Qt.AlignmentFlag.AlignLeft), as_text_time(finding.at_s))
            painter.setFont(fonts.font(SMALL_PX))
            place.translate(0, _line_px(is_bold=True))
            for line in self._list.where(finding):
                painter.drawText(place, int(Qt.AlignmentFlag.AlignLeft), line)
                place.translate(0, _line_px())
            text = QRect(option.rect).adjusted(SPACE_PX + _place_px(), PAD_PX, 0, 0)
            text.setWidth(self._list.room_px())
            painter.setFont(fonts.font(TEXT_PX))
            painter.drawText(text, WRAPPED, _printed(finding))
        finally:
            painter.restore()
