import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.sounding_line import MARGIN, WIDTH, rope, scale, top_lufs
from meter.targets import Limit

CLUB = Limit(min=-8.0, max=-6.0)
EBU = Limit(min=-24.0, max=-22.0)
levels = st.none() | st.just(-math.inf) | st.floats(-80.0, 6.0)


def test_the_rope_reaches_as_deep_as_it_is_loud_and_the_target_stands_on_it():
    drawn = rope({"S": -7.0, "L": -9.0, "I": -12.0}, CLUB)
    assert drawn == "  ~~~~~~~~~~~~o~~~~~~~~~~~I~~~~~L~[~S ]              "
    assert scale(CLUB) == " -24         -18         -12         -6           0  "


def test_every_number_stands_under_its_knot():
    drawn, numbers = rope({"S": 0.0}, None), scale(None)
    knots = [MARGIN, *(k for k, glyph in enumerate(drawn) if glyph == "o"), MARGIN + WIDTH - 1]
    assert len(knots) == 5
    assert all(numbers[knot] != " " for knot in knots)


@pytest.mark.parametrize(
    ("band", "top"), [(None, 0), (CLUB, 0), (EBU, -12), (Limit(min=-14.0), -6), (Limit(max=3.0), 0)]
)
def test_the_scale_ends_six_lu_or_more_above_the_target(band, top):
    assert top_lufs(band) == top


@pytest.mark.parametrize(
    ("band", "brackets"),
    [
        (Limit(max=-6.0), "]"),
        (Limit(min=-8.0), "["),
        (CLUB, "[]"),
        (Limit(min=-7.1, max=-6.9), "|"),
        (Limit(min=-60.0, max=-6.0), "]"),
    ],
)
def test_a_target_shows_the_ends_it_has(band, brackets):
    assert rope({"S": None}, band).replace(" ", "") == brackets


def test_what_is_left_of_the_scale_is_not_there_and_what_is_right_of_it_stands_at_the_end():
    assert rope({"S": -30.0, "I": -math.inf}, None).strip() == ""
    assert rope({"S": 3.0}, None).rstrip().endswith("~S")


def test_of_two_marks_in_one_place_the_first_is_seen():
    assert "I" not in rope({"S": -9.0, "I": -9.1}, None)


@given(marks=st.lists(levels, min_size=3, max_size=3), low=st.floats(-69.0, 5.0), width=st.floats(0.0, 20.0))
def test_whatever_is_drawn_is_as_long_as_the_scale(marks, low, width):
    band = Limit(min=low, max=low + width)
    assert len(rope(dict(zip("SLI", marks)), band)) == len(scale(band)) == WIDTH + 2 * MARGIN
