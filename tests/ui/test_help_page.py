import pytest
from PyQt6.QtCore import QSize
from PyQt6.QtGui import QKeySequence
from PyQt6.QtWidgets import QWidget

from ui.help_page import KEYS, html
from ui.page import resize_within_screen


def test_every_key_is_listed_and_none_has_two_meanings(scene):
    keys = [key for _, key, _ in KEYS]
    assert len(set(keys)) == len(keys)
    for name, key, what in KEYS:
        assert scene.conductor.actions[name].shortcut() == QKeySequence(key)
        assert f"<b>{key}</b>" in html() and what in html()


def test_every_key_works_in_the_window(scene):
    shown = scene.window.actions()
    assert all(scene.conductor.actions[name] in shown for name, _, _ in KEYS)


@pytest.mark.parametrize(
    ("room", "is_wanted"), [(QSize(1280, 720), (900, 680)), (QSize(800, 1200), (800, 760))]
)
def test_a_page_is_no_larger_than_the_screen(qtbot, monkeypatch, room, is_wanted):
    widget = QWidget()
    qtbot.addWidget(widget)
    monkeypatch.setattr(type(widget.screen()), "availableSize", lambda _: room)
    resize_within_screen(widget, 900, 760)
    assert (widget.width(), widget.height()) == is_wanted
