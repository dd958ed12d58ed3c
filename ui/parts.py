"""What several pages are made of: texts, boxes for numbers, buttons under them, what scrolls between."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFrame,
    QLabel,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from ui.page import resize_within_screen
from ui.style import SPACE_PX, TEXT_PX, label, typeset


def prose(text: str = "", *, size_px: int = TEXT_PX, is_soft: bool = False, wraps: bool = True) -> QLabel:
    """Text that can be selected, and wraps."""
    made = label(typeset(text), size_px=size_px, is_soft=is_soft)
    made.setWordWrap(wraps)
    made.setTextInteractionFlags(
        Qt.TextInteractionFlag.TextSelectableByMouse | Qt.TextInteractionFlag.TextSelectableByKeyboard
    )
    return made


def number_box(
    lowest: float, highest: float, value: float, unit: str, name: str, *, decimals: int = 1
) -> QDoubleSpinBox:
    """A box for a number, its unit behind it; the name is for those who do not see it."""
    made = QDoubleSpinBox()
    made.setDecimals(decimals)
    made.setRange(lowest, highest)
    made.setSuffix(unit)
    made.setValue(value)
    made.setAccessibleName(name)
    made.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.NoButtons)
    return made


def scrolled(inside: QWidget, name: str) -> QScrollArea:
    """As wide as there is room, and scrolled up and down; without a frame."""
    made = QScrollArea()
    made.setWidget(inside)
    made.setWidgetResizable(True)
    made.setFrameShape(QFrame.Shape.NoFrame)
    made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    made.setAccessibleName(name)
    return made


def fill_page(page: QDialog, inside: QWidget, size_px: tuple[int, int]) -> None:
    """Lay out a page of which all but its Close is scrolled, so large where the screen has room for it."""
    buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
    buttons.rejected.connect(page.close)
    layout = QVBoxLayout(page)
    layout.setContentsMargins(3 * SPACE_PX, 2 * SPACE_PX, 2 * SPACE_PX, 2 * SPACE_PX)
    layout.addWidget(scrolled(inside, page.accessibleName()))
    layout.addWidget(buttons)
    resize_within_screen(page, *size_px)


def ok_and_cancel(page: QDialog) -> QDialogButtonBox:
    """OK and Cancel of a page that asks."""
    made = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
    made.accepted.connect(page.accept)
    made.rejected.connect(page.reject)
    return made
