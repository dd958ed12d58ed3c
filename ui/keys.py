"""The actions behind the keys and the menu."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from PyQt6.QtCore import QObject
from PyQt6.QtGui import QAction, QActionGroup, QKeySequence
from PyQt6.QtWidgets import QMenu

from ui.help_page import KEYS
from ui.state import THEMES

THEME_WORDS: Final = {
    "system": "As the system has it",
    "light": "Light",
    "dark": "Dark",
    "night": "Night: little light, no blue",
}

IN_THE_MENU: Final = (
    ("open_files", "Open files …"),
    ("open_folder", "Open folder …"),
    ("earlier", "Earlier passes …"),
    ("keep", "Keep as reference"),
    ("undo", "Undo"),
    ("delivery", "Check encoders, playback …"),
    ("large", "Large flags"),
    ("compact", "Small form, on top"),
    ("fold", "Fold by phrase …"),
    ("low_end", "Low end: pitch, key, kick, crossover …"),
    ("together", "Kick and sub together …"),
    ("mixer", "Set: my mixer's 0 …"),
    ("ears", "Hearing: what this source feeds, rule, reminders …"),
    ("caution", "About listening level"),
    ("help", "Help"),
    ("quit", "Quit"),
)

BEHIND_A_LINE: Final = ("large", "caution", "quit")

IN_THE_SMALL_FORM: Final = ("hold", "mark", "large", "compact", "theme", "help", "caution", "quit")


def make_actions(owner: QObject, doing: Mapping[str, Callable[[], object]]) -> dict[str, QAction]:
    """An action with its key for each line of the help page.

    Parameters
    ----------
    owner : QObject
    doing : mapping
        What is done, by the names of `ui.help_page.KEYS`.
    """
    actions = {}
    for name, key, what in KEYS:
        action = QAction(what[:1].upper() + what[1:], owner)
        action.setShortcut(QKeySequence(key))
        action.triggered.connect(lambda _=False, name=name: doing[name]())
        actions[name] = action
    actions["large"].setCheckable(True)
    return actions


def fill_menu(
    menu: QMenu, actions: Mapping[str, QAction], choose_theme: Callable[[str], None]
) -> dict[str, QAction]:
    """Fill the menu; the actions of the themes, by their names."""
    themes = QMenu("Theme", menu)
    group = QActionGroup(menu)
    made = {}
    for theme in THEMES:
        action = QAction(THEME_WORDS[theme], group)
        action.setCheckable(True)
        action.triggered.connect(lambda _=False, theme=theme: choose_theme(theme))
        themes.addAction(action)
        made[theme] = action
    for name, words in IN_THE_MENU:
        actions[name].setText(words)
        if name in BEHIND_A_LINE:
            menu.addSeparator()
        if name == "large":
            menu.addMenu(themes)
        menu.addAction(actions[name])
    return made
