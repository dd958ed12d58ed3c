"""Where slots lie in columns."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ui.time_scale import LAST_MINUTE, TimeScale, View, around, zoomed


def test_a_live_view_has_the_newest_at_its_right():
    scale = TimeScale.of(LAST_MINUTE, slots=1000, columns=600)
    assert scale.x_of(1000) == 600.0
    assert scale.x_of(400) == 0.0
    assert scale.slot_at(0.0) == 400
    assert scale.slot_at(599.0) == 999


@given(
    slots=st.integers(0, 10**6), columns=st.integers(1, 4000), seconds=st.sampled_from([30.0, 60.0, 600.0])
)
def test_the_newest_ends_within_one_column_of_the_right(slots, columns, seconds):
    scale = TimeScale.of(View.newest(seconds), slots=slots, columns=columns)
    assert -1.0 < scale.x_of(slots) - columns <= 0.25 + 1e-6 * max(slots, 1)


@given(slots=st.integers(1, 10**5), more=st.integers(0, 500), columns=st.integers(10, 3000))
def test_a_slot_keeps_its_column_when_time_goes_on(slots, more, columns):
    before = TimeScale.of(LAST_MINUTE, slots=slots, columns=columns)
    after = TimeScale.of(LAST_MINUTE, slots=slots + more, columns=columns)
    assert before.x_of(0) + before.left_column == after.x_of(0) + after.left_column
    assert before.columns_a_slot == after.columns_a_slot


def test_hours_move_on_by_a_quarter_of_a_column():
    columns, found = 1000, set()
    for slots in range(200_000, 200_290):
        scale = TimeScale.of(View.newest(8 * 3600.0), slots=slots, columns=columns)
        found.add(scale)
        assert 0.0 <= (slots - scale.last_slot) * scale.columns_a_slot <= 0.25
    assert 4 <= len(found) <= 6


def test_a_part_that_stands_still_fills_the_width():
    scale = TimeScale.of(View.part(100, 300), slots=1000, columns=400)
    assert (scale.x_of(100), scale.x_of(300)) == (0.0, 400.0)
    assert (scale.first_slot, scale.last_slot) == (100, 300)


def test_what_grows_is_drawn_anew_only_when_it_no_longer_fits():
    widths = {TimeScale.of(View.part(50), slots=50 + k, columns=500).columns_a_slot for k in range(1, 601)}
    assert widths == {500 / 600}
    assert TimeScale.of(View.part(50), slots=651, columns=500).columns_a_slot == 500 / 900


def test_a_slot_outside_of_what_there_is_is_kept_inside():
    scale = TimeScale.of(View.part(100, 300), slots=200, columns=400)
    assert scale.slot_at(-50.0) == 100
    assert scale.slot_at(399.0) == 199
    assert not scale.holds(250)


@pytest.mark.parametrize(("steps", "seconds"), [(1, 30.0), (2, 20.0), (-1, 120.0), (-2, 300.0)])
def test_zooming_a_live_view_goes_by_steps(steps, seconds):
    assert zoomed(LAST_MINUTE, slots=5000, at_slot=None, steps=steps) == View.newest(seconds)


def test_zooming_a_part_keeps_the_chosen_slot_in_its_place():
    view = View.part(1000, 2200, origin_slot=900)
    near = zoomed(view, slots=5000, at_slot=1300, steps=1)
    assert near.origin_slot == 900
    assert near.last_slot - near.first_slot == 600
    assert (1300 - near.first_slot) / 600 == pytest.approx((1300 - 1000) / 1200)


def test_zooming_ends_at_the_last_step():
    assert zoomed(View.newest(5.0), slots=100, at_slot=None, steps=3) == View.newest(5.0)


def test_around_a_span_there_is_room_on_both_sides():
    view = around(1000, 1400, origin_slot=7)
    assert view.first_slot < 1000 and view.last_slot > 1400
    assert view.last_slot - view.first_slot == 640
    assert around(3, 4, origin_slot=0) == View.part(0, 200, origin_slot=0)
