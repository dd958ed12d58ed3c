from PyQt6.QtGui import QKeySequence

from ui.help_page import KEYS, html


def test_every_key_is_listed_and_none_has_two_meanings(scene):
    keys = [key for _, key, _ in KEYS]
    assert len(set(keys)) == len(keys)
    for name, key, what in KEYS:
        assert scene.conductor.actions[name].shortcut() == QKeySequence(key)
        assert f"<b>{key}</b>" in html() and what in html()


def test_every_key_works_in_the_window(scene):
    shown = scene.window.actions()
    assert all(scene.conductor.actions[name] in shown for name, _, _ in KEYS)
