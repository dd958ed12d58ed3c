import io
import os
import re
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.screen import Screen, can_redraw, fit, size_of


class Terminal(io.StringIO):
    """Obeys what `Screen` writes, on a grid without an end."""

    def __init__(self):
        super().__init__()
        self.rows, self.row, self.column, self.pieces = [""], 0, 0, 0

    def isatty(self):
        return True

    def write(self, text):
        self.pieces += 1
        for sequence, letter in re.findall(r"(\x1b\[\d*[AKJ])|([^\x1b])", text):
            self._obey(sequence) if sequence else self._put(letter)
        return len(text)

    def _put(self, letter):
        if letter == "\r":
            self.column = 0
        elif letter == "\n":
            self.row, self.column = self.row + 1, 0
            self.rows += [""] * (self.row + 1 - len(self.rows))
        else:
            line = self.rows[self.row].ljust(self.column)
            self.rows[self.row] = line[: self.column] + letter + line[self.column + 1 :]
            self.column += 1

    def _obey(self, sequence):
        if sequence.endswith("A"):
            self.row -= int(sequence[2:-1])
        else:
            self.rows[self.row] = self.rows[self.row][: self.column]
            if sequence.endswith("J"):
                del self.rows[self.row + 1 :]


def test_lines_are_drawn_over_the_ones_before_in_one_piece():
    terminal = Terminal()
    screen = Screen(terminal)
    terminal.write("$ leadline listen\n")
    screen.draw(["one two", "three", "four"])
    screen.draw(["one", "3", "four"])
    assert terminal.rows == ["$ leadline listen", "one", "3", "four"]
    assert terminal.pieces == 3


def test_what_did_not_change_is_not_drawn_again():
    terminal = Terminal()
    screen = Screen(terminal)
    screen.draw(["a", "b"])
    screen.draw(["a", "b"])
    assert terminal.pieces == 1


@pytest.mark.parametrize("after", [["a"], ["a", "b", "c", "d"]])
def test_the_number_of_lines_may_change(after):
    terminal = Terminal()
    screen = Screen(terminal)
    screen.draw(["1", "2", "3"])
    screen.draw(after)
    assert terminal.rows == after


def test_what_comes_after_leaving_stands_below():
    terminal = Terminal()
    screen = Screen(terminal)
    screen.leave()
    screen.draw(["a", "b"])
    screen.leave()
    screen.draw(["c"])
    assert terminal.rows == ["a", "b", "c"]


@pytest.mark.parametrize(("term", "expected"), [("xterm-256color", True), ("dumb", False)])
def test_a_terminal_that_knows_how_is_redrawn(monkeypatch, term, expected):
    monkeypatch.setenv("TERM", term)
    assert can_redraw(Terminal()) is expected


def test_a_file_is_not_redrawn():
    assert not can_redraw(io.StringIO())


def test_what_has_no_size_is_taken_for_80_by_24(tmp_path):
    assert size_of(io.StringIO()) == (80, 24)
    with open(tmp_path / "a", "w") as stream:
        assert size_of(stream) == (80, 24)


def test_a_size_of_nothing_is_taken_for_80_by_24(monkeypatch):
    monkeypatch.setattr(os, "get_terminal_size", lambda descriptor: os.terminal_size((0, 0)))
    with open(os.devnull) as stream:
        assert size_of(stream) == (80, 24)


@pytest.mark.parametrize(
    ("text", "columns", "expected"),
    [
        ("short", 5, "short"),
        ("longer", 5, "long…"),
        ("低音", 4, "低音"),
        ("低音計", 5, "低音…"),
        ("低音計", 4, "低…"),
        ("a\x1b[2Jb\nc", 20, "a?[2Jb?c"),
        ("abc", 1, "…"),
        ("abc", 0, ""),
        ("", 0, ""),
    ],
)
def test_a_text_is_cut_to_the_columns_it_takes(text, columns, expected):
    assert fit(text, columns) == expected


@given(text=st.text(max_size=30), columns=st.integers(0, 20))
def test_nothing_is_wider_than_it_may_be_or_obeyed(text, columns):
    shown = fit(text, columns)
    width = sum(
        0 if unicodedata.combining(one) else 2 if unicodedata.east_asian_width(one) in "WF" else 1
        for one in shown
    )
    assert width <= columns
    assert not any(unicodedata.category(one) in ("Cc", "Cf", "Zl", "Zp") for one in shown)
