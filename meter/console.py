"""Text on a terminal, in a file or down a pipe, whatever characters it can show.

Also the one line that says how far a long reading has come, and then goes away.
"""

from __future__ import annotations

import shutil
import time
from typing import Final, TextIO

from meter.soundings import as_text_time

SHOW_AFTER_S: Final = 1.0
"""Shorter work needs no progress."""

STEP_S: Final = 0.2

PROGRESS_WIDTH: Final = 78

PLAIN_GLYPHS: Final = str.maketrans(
    {"✓": "+", "▲": "^", "▼": "v", "…": "-", "∞": "inf", "·": "-", "±": "+-", "−": "-", "–": "-"}
)
"""For a terminal that knows no other characters; a word stands beside each glyph anyway."""


def say(text: str, stream: TextIO) -> None:
    """Write a text and a line break at once, in characters that the stream can show."""
    stream.write(printable(text, stream) + "\n")
    stream.flush()


WIDEST: Final = 100
NARROWEST: Final = 40
"""Sentences are wrapped to the terminal, within these columns; where there is none, to the widest."""


def text_width(stream: TextIO) -> int:
    """How wide sentences on a stream may be."""
    if not stream.isatty():
        return WIDEST
    return min(max(shutil.get_terminal_size((WIDEST, 24)).columns, NARROWEST), WIDEST)


def terminal_columns(stream: TextIO) -> int | None:
    """How wide the terminal is; None where it is none, and nothing need be shortened."""
    return shutil.get_terminal_size().columns if stream.isatty() else None


def printable(text: str, stream: TextIO) -> str:
    """The text as the stream can show it: plain glyphs where it must, escapes at the worst."""
    encoding = stream.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return text.translate(PLAIN_GLYPHS).encode(encoding, "backslashreplace").decode(encoding)
    return text


class ProgressLine:
    """Writes to a terminal only; into a file or a pipe nothing goes.

    Parameters
    ----------
    stream : text stream
        Standard error, as a rule.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._is_on = stream.isatty()
        self._next_s = time.monotonic() + SHOW_AFTER_S
        self._width = 0

    def show(self, name: str, done_s: float, whole_s: float | None) -> None:
        """Say how far it is, but neither at once nor too often."""
        text = f"{name}  {as_text_time(done_s)}"
        if whole_s:
            text += f" of {as_text_time(whole_s)}, {min(100.0 * done_s / whole_s, 100.0):.0f} %"
        self._write(text, keep_end=True)

    def show_share(self, what: str, share: float, name: str) -> None:
        """The same of many: what is done, what share of all that is, 0 to 1, and what is at work."""
        self._write(f"{what}, {100.0 * share:.0f} %  {name}", keep_end=False)

    def _write(self, text: str, *, keep_end: bool) -> None:
        now_s = time.monotonic()
        if not self._is_on or now_s < self._next_s:
            return
        self._next_s = now_s + STEP_S
        text = printable(" ".join(text.split("\n")), self._stream)
        text = text[-PROGRESS_WIDTH:] if keep_end else text[:PROGRESS_WIDTH]
        padded = f"{text:<{self._width}}"
        self._width = len(text)  # before it is written: Ctrl-C may come right after, and must find it
        self._stream.write(f"\r{padded}")
        self._stream.flush()

    def clear(self) -> None:
        """Take the line away; call before anything else is printed."""
        if self._width:
            self._stream.write(f"\r{'':<{self._width}}\r")
            self._stream.flush()
            self._width = 0
