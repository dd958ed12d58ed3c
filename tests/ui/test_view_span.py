import pytest

from ui.thinker import PassLine
from ui.time_scale import LAST_10_MINUTES, LAST_MINUTE, View
from ui.view_span import NOW, Place, pass_at, view_of

PASSES = (
    PassLine(number=1, first_slot=100, last_slot=900, text=""),
    PassLine(number=2, first_slot=1000, last_slot=None, text=""),
)


class Line:
    """A timeline of which all is told from slot 50 on."""

    slots = 20_000

    def origin_slot(self, slot):
        return 50


@pytest.mark.parametrize(
    ("view", "expected"),
    [
        ("60 s", LAST_MINUTE),
        ("10 min", LAST_10_MINUTES),
        ("pass", View.part(1000, None, origin_slot=50)),
        ("session", View.part(0)),
    ],
)
def test_with_nothing_chosen_the_newest_is_at_the_right(view, expected):
    assert view_of(NOW, view, PASSES, Line()) == expected
    assert expected.is_live


def test_before_the_first_pass_the_last_minute_stands_for_it():
    assert view_of(NOW, "pass", (), Line()).is_live


def test_a_chosen_pass_is_shown_whole_whatever_the_view():
    for view in ("60 s", "session"):
        assert view_of(Place(pass_number=1), view, PASSES, Line()) == View.part(100, 900, origin_slot=50)


@pytest.mark.parametrize("slot", [0, 200, 5000, 19_990])
def test_a_chosen_moment_lies_in_what_is_shown_and_the_zero_is_that_of_its_sentence(slot):
    for view, wide in (("60 s", 600), ("10 min", 6000)):
        shown = view_of(Place(slot=slot), view, PASSES, Line())
        assert shown.last_slot - shown.first_slot == wide
        assert shown.first_slot <= slot < shown.last_slot <= max(Line.slots, wide)
        assert shown.origin_slot == 50


def test_a_chosen_moment_with_the_view_of_passes_shows_its_pass():
    assert view_of(Place(slot=500), "pass", PASSES, Line()) == View.part(100, 900, origin_slot=50)
    assert view_of(Place(slot=950), "pass", PASSES, Line()) == View.part(0)


def test_zoomed_by_hand_nothing_moves_it():
    free = View.part(3, 9)
    assert view_of(Place(free=free), "pass", PASSES, Line()) == free


def test_a_slot_is_looked_up_in_the_pass_that_holds_it():
    found = [pass_at(slot, PASSES) for slot in (99, 100, 899, 900, 1000, 9999)]
    assert [one and one.number for one in found] == [None, 1, 1, None, 2, 2]
