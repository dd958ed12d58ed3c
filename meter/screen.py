"""A block of lines that is redrawn in place on a terminal, in one piece and only when it changed."""

from __future__ import annotations

import os
import sys
import unicodedata
from collections.abc import Sequence
from typing import Final, TextIO

from meter.console import printable

UP: Final = "\x1b[{}A"
CLEAR_LINE: Final = "\x1b[K"
CLEAR_BELOW: Final = "\x1b[J"
"""ECMA-48 (5th edition), 8.3.22 CUU, 8.3.41 EL, 8.3.39 ED; from memory."""


class Screen:
    """Draws over what it drew before; the cursor rests behind the last line.

    Parameters
    ----------
    stream : text stream
        A terminal that `can_redraw`.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._drawn: list[str] = []

    def draw(self, lines: Sequence[str]) -> None:
        """Show these lines in place of the ones before."""
        fitted = [printable(line, self._stream) for line in lines]
        if fitted == self._drawn:
            return
        rows = len(self._drawn)
        back = "\r" + (UP.format(rows - 1) if rows > 1 else "")
        # Each line is cleared behind its text, never before it: nothing flickers.
        self._stream.write(back + "\n".join(line + CLEAR_LINE for line in fitted) + CLEAR_BELOW)
        self._stream.flush()
        self._drawn = fitted

    def leave(self) -> None:
        """Let what stands there stand, and go on below it."""
        if self._drawn:
            self._stream.write("\n")
            self._stream.flush()
            self._drawn = []


def can_redraw(stream: TextIO) -> bool:
    """Whether lines can be drawn in place: a terminal that knows how."""
    if not stream.isatty() or os.environ.get("TERM", "") == "dumb":
        return False
    return _allow_sequences()


def _allow_sequences() -> bool:
    """Whether the terminal obeys sequences; a Windows console (10 and later) is asked to."""
    if sys.platform == "win32":
        import ctypes

        kernel = ctypes.windll.kernel32
        output, mode = kernel.GetStdHandle(-11), ctypes.c_uint32()
        return bool(
            kernel.GetConsoleMode(output, ctypes.byref(mode))
            and kernel.SetConsoleMode(output, mode.value | 4)
        )
    return True


def size_of(stream: TextIO) -> tuple[int, int]:
    """Columns and rows of a terminal; 80 by 24 where it does not say."""
    try:
        size = os.get_terminal_size(stream.fileno())
    except (OSError, ValueError):
        return 80, 24
    return size.columns or 80, size.lines or 24


def fit(text: str, columns: int) -> str:
    """A text on one line of so many columns: cut when longer, no control characters.

    Names of devices and files are anybody's text: they may hold wide characters, or what a
    terminal would obey.
    """
    shown: list[str] = []
    used = 0
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cf", "Cs", "Zl", "Zp"):
            character = "?"
        width = _width(character)
        if used + width > columns:
            while shown and used + 1 > columns:
                used -= _width(shown.pop())
            return "".join([*shown, "…"]) if columns > 0 else ""
        shown.append(character)
        used += width
    return "".join(shown)


def _width(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1
