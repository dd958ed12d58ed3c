"""The colours of the page are those of the window, whose contrast is held by tests/ui/test_theme.py."""

import re
from importlib.resources import files

import pytest

from ui.theme import LIGHT, NIGHT

CSS = files("meter.second_screen").joinpath("page.css").read_text("utf-8")


@pytest.mark.parametrize(
    ("selector", "theme"), [(":root {", NIGHT), (':root[data-palette="day"] {', LIGHT)], ids=["night", "day"]
)
def test_night_and_day_are_those_of_the_window(selector, theme):
    block = CSS.partition(selector)[2].partition("}")[0]
    assert dict(re.findall(r"--([a-z-]+): (#\w+)", block)) == {
        "paper": theme.paper,
        "sheet": theme.sheet,
        "ink": theme.ink,
        "soft": theme.ink_soft,
        "edge": theme.edge,
        "fairway": theme.fairway,
        "fairway-edge": theme.fairway_edge,
        "main": theme.series[0],
    }


def test_nothing_else_has_a_colour_of_its_own():
    rest = CSS.partition("* { box-sizing")[2]
    assert rest and not re.findall(r"#[0-9a-f]{3,8}\b(?=[;\s])|rgb|hsl", rest)
