"""The style of Qt's own widgets: chart paper, hairlines instead of boxes, one measure of space.

Made of a `Theme`, so that no colour is written anywhere else.
"""

from __future__ import annotations

import re
from typing import Final

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QLabel, QStyleFactory

from ui import fonts
from ui.theme import Theme, palette_of

TEXT_PX: Final = 14
SMALL_PX: Final = 12
SENTENCE_PX: Final = 19
FAR_SENTENCE_PX: Final = 36
LOW_FAR_SENTENCE_PX: Final = 28
"""To be read from two metres, and the same in a low or narrow window."""
TITLE_PX: Final = 24
SPACE_PX: Final = 8


def dress(app: QApplication, theme: Theme) -> None:
    """Give the whole application this theme."""
    if app.property("is_dressed") is None:
        app.setStyle(QStyleFactory.create("Fusion"))
        app.setProperty("is_dressed", True)
    font, palette, text = fonts.font(TEXT_PX), palette_of(theme), sheet(theme)
    if (app.font(), app.palette(), app.styleSheet()) == (font, palette, text):
        return  # each of the three goes through every widget again
    app.setFont(font)
    app.setPalette(palette)
    app.setStyleSheet(text)


def label(text: str = "", *, size_px: int = TEXT_PX, is_bold: bool = False, is_soft: bool = False) -> QLabel:
    """Plain text in one of the window's sizes."""
    made = QLabel(text)
    made.setTextFormat(Qt.TextFormat.PlainText)
    made.setFont(fonts.font(size_px, is_bold=is_bold))
    if is_soft:
        made.setObjectName("soft")
    return made


def typeset(text: str) -> str:
    """Text of `meter` as it is printed: with a minus before numbers, not a hyphen."""
    return _HYPHEN.sub("−", text)


_HYPHEN: Final = re.compile(r"(?<![\w.])-(?=[0-9∞])")


def sheet(theme: Theme) -> str:
    """The style sheet of a theme."""
    return f"""
QMainWindow, QDialog, #page {{ background: {theme.paper}; color: {theme.ink}; }}
QLabel {{ color: {theme.ink}; background: transparent; }}
QLabel[calls="true"] {{ color: {theme.paper}; background: {theme.ink}; }}
QLabel#soft {{ color: {theme.ink_soft}; }}

QPushButton, QToolButton {{
    color: {theme.ink}; background: transparent; border: 1px solid {theme.edge};
    border-radius: 3px; padding: 5px 12px; min-height: 18px;
}}
QPushButton:hover, QToolButton:hover {{ background: {theme.choice}; }}
QPushButton:checked, QToolButton:checked {{
    background: {theme.ink}; color: {theme.paper}; border-color: {theme.ink};
}}
QPushButton:disabled, QToolButton:disabled {{ color: {theme.ink_soft}; border-color: {theme.hairline}; }}
QLineEdit {{ placeholder-text-color: {theme.ink_soft}; }}
QPushButton:focus, QToolButton:focus, QComboBox:focus, QListView:focus, QTextBrowser:focus,
QDoubleSpinBox:focus, QDialog > QLineEdit:focus, #page QLineEdit:focus {{
    border: 2px solid {theme.fairway_edge};
}}
QPushButton:focus, QToolButton:focus {{ padding: 4px 11px; }}
QToolButton::menu-indicator {{ image: none; }}
QPushButton#link {{
    border: none; padding: 3px 2px; color: {theme.ink_soft}; text-align: left;
    text-decoration: underline; min-height: 14px;
}}
QPushButton#link:checked {{ background: transparent; color: {theme.ink_soft}; }}
QPushButton#link:hover {{ color: {theme.ink}; background: transparent; }}
QPushButton#link:focus {{ border: 1px solid {theme.fairway_edge}; padding: 2px 1px; }}
QPushButton#segment, QPushButton#first {{ border-radius: 0; padding: 4px 10px; }}
QPushButton#segment {{ border-left: none; padding-left: 11px; }}
QPushButton#segment:focus, QPushButton#first:focus {{ padding: 3px 9px; }}
QDialogButtonBox {{ dialogbuttonbox-buttons-have-icons: 0; }}

QComboBox {{
    color: {theme.ink}; background: transparent; border: 1px solid {theme.edge}; border-radius: 3px;
    padding: 5px 4px 5px 10px; min-height: 18px;
}}
QComboBox:focus {{ padding: 4px 3px 4px 9px; }}
QComboBox:hover {{ background: {theme.choice}; }}
QComboBox::drop-down {{ border: none; width: 22px; }}
QComboBox QAbstractItemView {{
    background: {theme.sheet}; color: {theme.ink};
    border: 0 solid {theme.edge}; border-left-width: 1px; border-right-width: 1px;
    selection-background-color: {theme.choice}; selection-color: {theme.ink}; padding: 2px; outline: none;
}}
QComboBox QAbstractItemView:focus {{
    border: 0 solid {theme.edge}; border-left-width: 1px; border-right-width: 1px;
}}
QComboBox QAbstractItemView::item {{ padding: 4px 8px; }}
QComboBox QAbstractItemView::item:selected {{ background: {theme.choice}; }}
QComboBox QAbstractItemView::item:disabled {{ color: {theme.ink_soft}; }}
QListView {{
    background: transparent; border: 2px solid transparent; outline: none;
    selection-background-color: {theme.choice}; selection-color: {theme.ink};
}}
QListView::item {{ padding: 4px 6px; color: {theme.ink}; }}
QListView::item:selected {{ background: {theme.choice}; color: {theme.ink}; }}
QMenu {{ background: {theme.sheet}; color: {theme.ink}; border: 1px solid {theme.edge}; padding: 4px; }}
QMenu::item {{ padding: 5px 24px 5px 24px; }}
QMenu::item:selected {{ background: {theme.choice}; }}
QMenu::item:disabled {{ color: {theme.ink_soft}; }}
QMenu::separator {{ height: 1px; background: {theme.hairline}; margin: 4px 8px; }}
QToolTip {{ background: {theme.sheet}; color: {theme.ink}; border: 1px solid {theme.edge}; padding: 4px; }}
QTextBrowser {{ background: {theme.paper}; color: {theme.ink}; border: 2px solid transparent; }}
QDoubleSpinBox, QDialog > QLineEdit, #page QLineEdit {{
    color: {theme.ink}; background: {theme.sheet}; border: 1px solid {theme.edge}; border-radius: 3px;
    padding: 4px 6px; min-height: 18px;
    selection-background-color: {theme.choice}; selection-color: {theme.ink};
}}
QDoubleSpinBox:disabled {{ color: {theme.ink_soft}; border-color: {theme.hairline}; }}
QScrollBar:vertical {{ background: transparent; width: 10px; margin: 0; }}
QScrollBar::handle:vertical {{
    background: {theme.edge}; border-radius: 3px; min-height: 24px; margin: 0 2px;
}}
QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
QFrame#hairline {{ background: {theme.hairline}; border: none; }}
QFrame#message {{ background: {theme.sheet}; border: none; border-left: 4px solid {theme.series[1]}; }}
QFrame#progress {{ background: {theme.sheet}; border: none; }}
QFrame#empty {{ background: {theme.sheet}; border: 1px solid {theme.edge}; border-radius: 3px; }}
"""
