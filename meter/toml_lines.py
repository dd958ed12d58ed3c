"""On which line each key of a TOML file stands.

The standard library's parser gives values without their places. A settings file with a
problem is only of use to its owner with the line, so this walks over a text that the parser
has already accepted and notes where every key begins. It judges nothing.

Source
------
TOML v1.0.0 (2021), grammar. From memory; held to `tomllib` by a property test.
"""

from __future__ import annotations

import re
import tomllib
from typing import Final

KeyPath = tuple[str, ...]
"""Key within key; an element of an array of tables carries its number as text."""

_SKIPPED: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BLANKS: Final = re.compile(r"[ \t]*")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR: Final = re.compile(r"[^,\]}\r\n#]+")
# Strings, longest opening first. The last quotes of a triple-quoted one may be part of it.
_STRINGS: Final = tuple(
    re.compile(pattern, re.DOTALL)
    for pattern in (
        r'"""(?:\\.|[^\\])*?"""(?:"{0,2})',
        r"'''.*?'''(?:'{0,2})",
        r'"(?:\\.|[^"\\])*"',
        r"'[^']*'",
    )
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line (counted from 1) of every key and table of a valid TOML text.

    Parameters
    ----------
    text : str
        TOML that `tomllib.loads` accepts; for other text the result means nothing.

    Returns
    -------
    dict
        From the path of a key to its line. A table that appears only within a dotted name
        has the line of that name.
    """
    walker = _Walker(text.replace("\r\n", "\n"))
    walker.document()
    return walker.lines


class _Walker:
    """One pass over the text; ``at`` is the index of the next character."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self._tables_in_array: dict[KeyPath, int] = {}

    def document(self) -> None:
        table: KeyPath = ()
        while True:
            self._match(_SKIPPED)
            if self.at >= len(self.text):
                return
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _header(self) -> KeyPath:
        line = self._line()
        in_array = self.text.startswith("[[", self.at)
        self.at += 2 if in_array else 1
        path = self._resolve(self._dotted_key())
        if in_array:
            number = self._tables_in_array.get(path, 0)
            self._tables_in_array[path] = number + 1
            self._note(path, line)
            path = (*path, str(number))
        self._note(path, line)
        self.at += 2 if in_array else 1
        return path

    def _resolve(self, names: KeyPath) -> KeyPath:
        """Within an array of tables, a header speaks of the newest table of it."""
        path: KeyPath = ()
        for name in names[:-1]:
            path = (*path, name)
            if path in self._tables_in_array:
                path = (*path, str(self._tables_in_array[path] - 1))
        return (*path, names[-1])

    def _pair(self, table: KeyPath) -> None:
        line = self._line()
        path = table + self._dotted_key()
        self._note(path, line)
        self.at += 1  # the equals sign
        self._value(path)

    def _dotted_key(self) -> KeyPath:
        names: list[str] = []
        while True:
            self._match(_BLANKS)
            if self.text[self.at] in "\"'":
                # The parser itself knows what a quoted key says.
                names.append(next(iter(tomllib.loads(self._string() + "=0"))))
            else:
                names.append(self._match(_BARE_KEY))
            self._match(_BLANKS)
            if self.text[self.at] != ".":
                return tuple(names)
            self.at += 1

    def _value(self, path: KeyPath) -> None:
        self._match(_SKIPPED)
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first == "[":
            self._array(path)
        elif first == "{":
            self._inline_table(path)
        else:
            self._match(_SCALAR)

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        number = 0
        while True:
            self._match(_SKIPPED)
            if self.text[self.at] == "]":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._note((*path, str(number)), self._line())
            self._value((*path, str(number)))
            number += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        while True:
            self._match(_SKIPPED)
            if self.text[self.at] == "}":
                self.at += 1
                return
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._pair(path)

    def _string(self) -> str:
        for pattern in _STRINGS:
            found = pattern.match(self.text, self.at)
            if found:
                self.at = found.end()
                return found.group()
        raise AssertionError("a string that the parser accepted has no end here")

    def _match(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        assert found is not None, "text that the parser accepted cannot be walked here"
        self.at = found.end()
        return found.group()

    def _note(self, path: KeyPath, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _line(self) -> int:
        return self.text.count("\n", 0, self.at) + 1
