"""Which theme is worn now, and the system's own that it may follow."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication

from ui import style
from ui.theme import Choice, Theme, chosen

if TYPE_CHECKING:
    from ui.lane_view import LanesView


class Wardrobe:
    """Knows what the system wanted before we dressed the application.

    A system that does not say light or dark is known by its palette only, and that is ours from
    the first dressing on.
    """

    def __init__(self, app: QApplication) -> None:
        self._app = app
        self._from_palette = chosen(Choice.SYSTEM)

    def theme(self, name: str) -> Theme:
        """The theme of a choice: "system", "light", "dark" or "night"."""
        choice = Choice(name)
        hints = self._app.styleHints()
        if choice is Choice.SYSTEM and (hints is None or hints.colorScheme() is Qt.ColorScheme.Unknown):
            return self._from_palette
        return chosen(choice)

    def dress(self, name: str, lanes: Iterable[LanesView]) -> Theme:
        """Give the application and its lanes the theme of a choice."""
        theme = self.theme(name)
        style.dress(self._app, theme)
        for one in lanes:
            one.set_theme(theme)
        return theme
