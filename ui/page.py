"""A page of text in a window of its own, closed with Escape."""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QDialog, QDialogButtonBox, QTextBrowser, QVBoxLayout, QWidget

from ui.style import SPACE_PX

TITLE_BAR_PX: Final = 40
"""Room for what the system puts over a window, about."""


class Page(QDialog):
    """A page.

    Parameters
    ----------
    title : str
    html : str
        Its text.
    """

    def __init__(self, title: str, html: str, *, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.setWindowTitle(f"{title} · Leadline")
        self.setAccessibleName(title)
        self.text = QTextBrowser()
        self.text.setAccessibleName(title)
        self.text.setOpenLinks(False)
        self.text.document().setDocumentMargin(2 * SPACE_PX)  # type: ignore[union-attr]
        self.text.setHtml(html)
        self.text.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.close)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(3 * SPACE_PX, 2 * SPACE_PX, 2 * SPACE_PX, 2 * SPACE_PX)
        layout.addWidget(self.text)
        layout.addWidget(buttons)
        resize_within_screen(self, 680, 740)


def resize_within_screen(window: QWidget, width_px: int, height_px: int) -> None:
    """As large as this, or as the screen has room for: what closes it stays in sight."""
    screen = window.screen()
    if screen is not None:
        room = screen.availableSize()
        width_px, height_px = min(width_px, room.width()), min(height_px, room.height() - TITLE_BAR_PX)
    window.resize(width_px, height_px)
