import builtins
import subprocess
import sys

import pytest

from ui import screen_check
from ui.screen_check import TEXT_INSTEAD, why_no_window


def test_without_a_display_one_sentence_says_so():
    said = why_no_window({})
    assert said == f"no window can be shown: there is no display (DISPLAY is not set); {TEXT_INSTEAD}"


def test_a_display_that_does_not_answer_is_named():
    said = why_no_window({"DISPLAY": ":4711"})
    assert said is not None and "the display :4711 does not answer or does not let us in" in said


def test_a_wayland_display_that_does_not_answer_is_said(tmp_path):
    environ = {"QT_QPA_PLATFORM": "wayland", "WAYLAND_DISPLAY": "none", "XDG_RUNTIME_DIR": str(tmp_path)}
    assert "no Wayland display answers" in str(why_no_window(environ))


def test_a_platform_without_a_screen_needs_none():
    assert why_no_window({"QT_QPA_PLATFORM": "offscreen"}) is None


def test_a_platform_that_qt_does_not_have_is_named():
    said = why_no_window({"QT_QPA_PLATFORM": "bogus", "DISPLAY": ":0"})
    assert said is not None and "Qt has no part libqbogus.so for this display" in said


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (ModuleNotFoundError("No module named 'PyQt6'"), "PyQt6 is not installed"),
        (
            ImportError("libEGL.so.1: cannot open shared object file: No such file or directory"),
            "the library libEGL.so.1 is missing, install the package libegl1",
        ),
        (ImportError("something else"), "Qt cannot be loaded (something else)"),
    ],
)
def test_a_qt_that_cannot_be_loaded_is_said_with_what_is_missing(monkeypatch, error, expected):
    real = builtins.__import__

    def fails(name, *args, **kwargs):
        if name == "PyQt6":
            raise error
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", fails)
    assert screen_check.why_no_window({}) == f"no window can be shown: {expected}; {TEXT_INSTEAD}"


def test_a_library_that_the_plugin_needs_is_said_with_its_package(monkeypatch):
    message = "libxcb-cursor.so.0: cannot open shared object file: No such file or directory"

    def fails(name):
        raise OSError(message)

    monkeypatch.setattr(screen_check.ctypes, "CDLL", fails)
    said = why_no_window({"DISPLAY": ":0"})
    assert said is not None and "install the package libxcb-cursor0" in said


def test_the_program_without_a_display_ends_with_2_and_one_line(root, leadline_home):
    done = subprocess.run(
        [sys.executable, "-m", "ui"], cwd=root, env={"PATH": "", "LEADLINE_HOME": str(leadline_home)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.splitlines() == [str(why_no_window({}))]
