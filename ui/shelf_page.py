"""A pass against the shelf, equally loud: the trim, the measures, the spectrum, what stands out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QDialog, QDialogButtonBox, QGridLayout, QLabel, QScrollArea, QVBoxLayout, QWidget

from meter.shelf import page as words
from ui import fonts
from ui.bands_plot import BandsPlot
from ui.style import SENTENCE_PX, SMALL_PX, SPACE_PX, TEXT_PX, label, typeset

if TYPE_CHECKING:
    from meter.shelf.compare import Comparison

NEAREST_PX: Final = 330
"""Room for the names of the nearest references; longer ones stand whole in the tip."""


class ShelfPage(QDialog):
    """One comparison, in a window of its own, closed with Escape."""

    def __init__(self, comparison: Comparison, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.setWindowTitle("Against the shelf · Leadline")
        title = words.title_text(comparison)
        self.setAccessibleName(title)
        inside = QWidget()
        inside.setObjectName("page")
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, SPACE_PX, 0)
        column.setSpacing(SPACE_PX)
        column.addWidget(_text(title, is_soft=True))
        self.headline = _text(_capital(words.headline(comparison)), size_px=SENTENCE_PX)
        column.addWidget(self.headline)
        column.addSpacing(SPACE_PX)
        column.addLayout(_table(comparison))
        if comparison.bands:
            column.addSpacing(SPACE_PX)
            self.plot = BandsPlot(comparison.bands, words.spoken_bands(comparison))
            column.addWidget(self.plot, 1)
            column.addWidget(_text(words.legend(comparison), size_px=SMALL_PX, is_soft=True))
        self.below = [_text(_capital(one)) for one in words.sentences_below(comparison)]
        for one in self.below:
            column.addWidget(one)
        column.addStretch(0)

        scroll = QScrollArea()
        scroll.setWidget(inside)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setAccessibleName(title)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.close)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(3 * SPACE_PX, 2 * SPACE_PX, 2 * SPACE_PX, 2 * SPACE_PX)
        layout.addWidget(scroll)
        layout.addWidget(buttons)
        self.resize(900, 780)


def _text(text: str, *, size_px: int = TEXT_PX, is_soft: bool = False) -> QLabel:
    made = label(typeset(text), size_px=size_px, is_soft=is_soft)
    made.setWordWrap(True)
    made.setTextInteractionFlags(
        Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
    )
    return made


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _table(comparison: Comparison) -> QGridLayout:
    grid = QGridLayout()
    grid.setHorizontalSpacing(3 * SPACE_PX)
    grid.setVerticalSpacing(3)
    right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop
    left = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop
    for column, text in enumerate(words.HEADINGS):
        grid.addWidget(label(text, size_px=SMALL_PX, is_soft=True), 0, column, right)
    for row, texts in enumerate(words.cells(comparison), 1):
        for column, text in enumerate(texts):
            is_number, is_last = 0 < column < len(texts) - 1, column == len(texts) - 1
            made = label(typeset(text), size_px=SMALL_PX if is_last else TEXT_PX)
            if is_last:
                whole = made.text()
                made.setText(
                    fonts.metrics(SMALL_PX).elidedText(whole, Qt.TextElideMode.ElideRight, NEAREST_PX)
                )
                made.setToolTip(whole if made.text() != whole else "")
                made.setAccessibleName(whole)
            grid.addWidget(made, row, column, right if is_number else left)
    grid.setColumnStretch(len(words.HEADINGS) - 1, 1)
    return grid
