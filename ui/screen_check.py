"""Whether a window can be shown here, asked before Qt is: without a display Qt ends the whole process.

Nothing is opened but a connection to the display. It is kept until `let_go`: a server may start anew
when its last program leaves, and Qt, coming just then, would end the process.
"""

from __future__ import annotations

import ctypes
import os
import socket
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from meter.errors import MeterError

DISPLAYLESS: Final = ("offscreen", "minimal", "vnc", "linuxfb", "eglfs")
"""Platforms of Qt that need none."""

PACKAGES: Final[Mapping[str, str]] = {
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libfontconfig.so.1": "libfontconfig1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libglib-2.0.so.0": "libglib2.0-0",
}
"""Debian's package of each library that Qt loads."""


class NoWindow(MeterError):
    """No window can be shown here."""


TEXT_INSTEAD: Final = 'for the meter as text type "leadline listen"'


def why_no_window(environ: Mapping[str, str] = os.environ) -> str | None:
    """One sentence: why no window can be shown here, and what to do; None when one can."""
    why = _why_no_qt() or _why_no_screen(environ)
    return None if why is None else f"no window can be shown: {why}; {TEXT_INSTEAD}"


def why_no_picture() -> str | None:
    """The same of a picture, which is drawn without a display: only why."""
    return _why_no_qt() or _why_no_screen({"QT_QPA_PLATFORM": "offscreen"})


def _why_no_qt() -> str | None:
    try:
        from PyQt6 import QtGui, QtWidgets  # noqa: F401
    except ImportError as error:
        if isinstance(error, ModuleNotFoundError):
            return "PyQt6 is not installed"
        return _library(str(error))
    return None


def _library(message: str) -> str:
    """What the loader's message says, with the package to install where it is known."""
    name = message.partition(":")[0].strip()
    package = PACKAGES.get(name)
    if package is None:
        return f"Qt cannot be loaded ({message.strip()})"
    return f"the library {name} is missing, install the package {package}"


def _why_no_screen(environ: Mapping[str, str]) -> str | None:
    if not sys.platform.startswith("linux"):
        return None
    wanted = environ.get("QT_QPA_PLATFORM", "").split(":")[0]
    if wanted in DISPLAYLESS:
        return _why_no_plugin(wanted)
    has_wayland = _wayland_answers(environ)
    if wanted.startswith("wayland") or (not wanted and has_wayland and not environ.get("DISPLAY")):
        return None if has_wayland else "no Wayland display answers"
    display = environ.get("DISPLAY", "")
    if not display:
        return "there is no display (DISPLAY is not set)"
    return _why_no_plugin(wanted or "xcb") or _why_no_x(display)


def _wayland_answers(environ: Mapping[str, str]) -> bool:
    name = environ.get("WAYLAND_DISPLAY", "")
    if not name:
        return False
    path = Path(environ.get("XDG_RUNTIME_DIR", "/")) / name
    with socket.socket(socket.AF_UNIX) as asked:
        try:
            asked.connect(str(path))
        except OSError:
            return False
    return True


def _why_no_plugin(name: str) -> str | None:
    """Load the platform's plugin, as Qt would: a missing library says its name here."""
    from PyQt6.QtCore import QLibraryInfo

    folder = Path(QLibraryInfo.path(QLibraryInfo.LibraryPath.PluginsPath)) / "platforms"
    plugin = folder / f"libq{name}.so"
    if not plugin.exists():
        return f"Qt has no part {plugin.name} for this display"
    try:
        ctypes.CDLL(str(plugin))
    except OSError as error:
        return _library(str(error))
    return None


_held: Final[list[Callable[[], object]]] = []


def let_go() -> None:
    """Qt has its own connection now, or wants none."""
    while _held:
        _held.pop()()


def _why_no_x(display: str) -> str | None:
    """Ask the X server, with the library and the permission that Qt would use."""
    try:
        xcb = ctypes.CDLL("libxcb.so.1")
    except OSError:
        return None  # the plugin has been loaded, so it is somewhere; Qt will find it
    xcb.xcb_connect.restype = ctypes.c_void_p
    xcb.xcb_connect.argtypes = [ctypes.c_char_p, ctypes.POINTER(ctypes.c_int)]
    xcb.xcb_connection_has_error.argtypes = [ctypes.c_void_p]
    xcb.xcb_disconnect.argtypes = [ctypes.c_void_p]
    connection = xcb.xcb_connect(display.encode(), None)
    _held.append(lambda: xcb.xcb_disconnect(connection))
    if connection is not None and xcb.xcb_connection_has_error(connection) == 0:
        return None
    let_go()
    return f"the display {display} does not answer or does not let us in"
