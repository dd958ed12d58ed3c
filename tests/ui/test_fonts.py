"""The shipped font: there, readable, and with digits that do not move their neighbours."""

import pytest
from PyQt6.QtGui import QFontInfo, QRawFont

from ui import fonts


@pytest.fixture(autouse=True)
def loaded(qapp):
    assert fonts.load() is None


def test_it_is_the_one_that_is_used():
    assert QFontInfo(fonts.font(14)).family() == fonts.FAMILY
    assert QFontInfo(fonts.font(14, is_bold=True)).bold()


@pytest.mark.parametrize("is_bold", [False, True])
def test_all_digits_are_equally_wide(is_bold):
    measure = fonts.metrics(40, is_bold=is_bold)
    assert {measure.horizontalAdvance(digit) for digit in "0123456789"} == {measure.horizontalAdvance("0")}


@pytest.mark.parametrize("is_bold", [False, True])
def test_it_has_every_letter_that_is_drawn(is_bold):
    raw = QRawFont.fromFont(fonts.font(14, is_bold=is_bold))
    assert [letter for letter in "−–…∞·±°+,.:()%" if not raw.supportsCharacter(letter)] == []


def test_nothing_is_written_smaller_than_can_be_read():
    assert fonts.font(3).pixelSize() == fonts.SMALLEST_PX


def test_a_missing_file_is_said_in_one_sentence(monkeypatch):
    monkeypatch.setattr(fonts, "FILES", ("B612-Regular.otf", "B612-Gone.otf"))
    said = fonts.why_missing()
    assert said is not None and said.startswith(
        "the window's font is not complete: B612-Gone.otf expected in "
    )
    assert said.endswith("install Leadline again, or take a whole checkout")


def test_its_licence_is_shipped_with_it(root):
    assert "SIL OPEN FONT LICENSE Version 1.1" in (root / "ui" / "fonts" / "OFL.txt").read_text("utf-8")
