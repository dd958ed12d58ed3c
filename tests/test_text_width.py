"""How wide sentences are on a terminal, and where there is none."""

import io

import pytest

from meter.console import text_width


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("columns", "width"), [("60", 60), ("20", 40), ("200", 100)])
def test_a_terminal_gives_its_columns_within_reason(columns, width, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    assert text_width(Terminal()) == width


def test_a_file_or_a_pipe_gives_the_widest(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    assert text_width(io.StringIO()) == 100
