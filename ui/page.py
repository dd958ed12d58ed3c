"""A page of text in a window of its own, closed with Escape."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QDialog, QDialogButtonBox, QTextBrowser, QVBoxLayout, QWidget

from ui.style import SPACE_PX


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
        self.resize(680, 740)
