"""Colours that can be read: WCAG 2.2, 1.4.3 (text 4.5:1) and 1.4.11 (lines 3:1). From memory."""

from itertools import pairwise

import pytest
from PyQt6.QtCore import QEvent
from PyQt6.QtGui import QPalette
from PyQt6.QtWidgets import QLabel

from ui.style import dress
from ui.theme import DARK, LIGHT, NIGHT, Choice, blend, chosen, contrast, luminance, palette_of, worn

THEMES = pytest.mark.parametrize("theme", [LIGHT, DARK, NIGHT], ids=["light", "dark", "night"])


def grounds(theme):
    """Everything that a curve may run over."""
    return {
        "paper": theme.paper,
        "fairway": theme.fairway,
        "water": blend(theme.water, theme.paper, theme.water_share),
        "water in the fairway": blend(theme.water, theme.fairway, theme.water_share),
    }


@THEMES
@pytest.mark.parametrize("ground", ["paper", "sheet", "choice"])
@pytest.mark.parametrize("text", ["ink", "ink_soft"])
def test_text_stands_out(theme, text, ground):
    assert contrast(getattr(theme, text), getattr(theme, ground)) >= 4.5


@THEMES
def test_text_on_ink_stands_out(theme):
    assert contrast(theme.paper, theme.ink) >= 4.5


@THEMES
@pytest.mark.parametrize("ground", ["paper", "fairway", "water", "water in the fairway"])
def test_every_series_stands_out_from_all_that_it_runs_over(theme, ground):
    found = [contrast(colour, grounds(theme)[ground]) for colour in theme.series]
    assert min(found) >= 3.0, found


@THEMES
@pytest.mark.parametrize("line", ["edge", "fairway_edge", "shade"])
def test_lines_that_must_be_seen_stand_out(theme, line):
    assert contrast(getattr(theme, line), theme.paper) >= 3.0


@THEMES
def test_the_edge_of_the_fairway_stands_out_from_the_water_in_it(theme):
    assert contrast(theme.fairway_edge, grounds(theme)["water in the fairway"]) >= 3.0


def test_contrast_is_that_of_the_standard():
    # WCAG 2.2: black on white is 21:1; #777777 on white is the well-known 4.48:1.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_a_blend_lies_between_its_colours():
    assert blend("#ffffff", "#000000", 0.0) == "#000000"
    assert blend("#ffffff", "#000000", 0.5) == "#808080"
    assert blend("#102030", "#ffffff", 1.0) == "#102030"


def test_a_choice_is_followed_whatever_the_system_says(qapp):
    assert chosen(Choice.LIGHT) is LIGHT
    assert chosen(Choice.DARK) is DARK
    assert chosen(Choice.NIGHT) is NIGHT


@THEMES
def test_a_palette_tells_of_which_theme_it_is(theme):
    assert worn(palette_of(theme)) is theme


def test_the_night_gives_little_light_and_hardly_any_blue():
    for name in ("paper", "sheet", "ink", "ink_soft", "hairline", "choice", "edge", "fairway"):
        colour = getattr(NIGHT, name)
        assert luminance(colour) <= 0.55 * luminance(getattr(DARK, name)), name
        assert int(colour[5:], 16) <= 0.4 * int(colour[1:3], 16), name
    lights = sorted(luminance(colour) for colour in NIGHT.series)
    assert all(b / a > 1.05 for a, b in pairwise(lights))


@pytest.mark.parametrize(("window", "theme"), [("#101010", DARK), ("#f0f0f0", LIGHT)])
def test_without_a_word_from_the_system_its_palette_decides(qapp, window, theme):
    before = qapp.palette()
    palette = palette_of(theme)
    palette.setColor(QPalette.ColorRole.Window, palette.color(QPalette.ColorRole.Window).fromString(window))
    qapp.setPalette(palette)
    try:
        assert chosen(Choice.SYSTEM) is theme
    finally:
        qapp.setPalette(before)


def test_dressed_in_what_it_wears_nothing_goes_through_the_widgets_again(app, qtbot):
    class Counting(QLabel):
        changes = 0

        def changeEvent(self, event):
            self.changes += event.type() is QEvent.Type.StyleChange

    dress(app, LIGHT)
    label = Counting("1")
    qtbot.addWidget(label)
    label.ensurePolished()
    dress(app, LIGHT)
    assert label.changes == 0
    dress(app, DARK)
    assert label.changes > 0
    assert label.palette().color(QPalette.ColorRole.WindowText).name() == DARK.ink
