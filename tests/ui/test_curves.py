"""Numbers of a timeline and their places in columns."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.fake_timeline import FakeTimeline
from ui.curves import Axis, counts, curve
from ui.raster import FINE
from ui.time_scale import TimeScale, View

AXIS = Axis(lowest=-30.0, highest=0.0, rows=300, pad=0.0)


def of(values, *, seconds, columns):
    timeline = FakeTimeline({"x": np.asarray(values, np.float32)})
    scale = TimeScale.of(View.newest(seconds), slots=timeline.slots, columns=columns)
    return curve(timeline, "x", scale, AXIS, scale.left_column, scale.right_column), scale


def test_an_axis_puts_its_ends_at_the_edges_and_keeps_the_rest_inside():
    assert AXIS.y_of(0.0) == 0.0
    assert AXIS.y_of(-30.0) == 300.0
    assert AXIS.y_of(-np.inf) == 300.0
    assert AXIS.y_of(5.0) == 0.0
    assert np.isnan(AXIS.y_of(np.nan))


def test_a_line_goes_through_its_numbers():
    values = -30.0 * np.random.default_rng(1).random(100)
    found, scale = of(values, seconds=10.0, columns=800)
    for slot in range(100):
        at = round((scale.x_of(slot + 0.5)) * FINE)
        assert found.line[at] == pytest.approx(AXIS.y_of(values[slot]), abs=20.0 / 8 * 2)
    # Between two numbers it lies between them.
    assert found.line.min() >= AXIS.y_of(values).min() - 1e-3
    assert found.line.max() <= AXIS.y_of(values).max() + 1e-3


def test_silence_lies_on_the_ground():
    found, _ = of([-np.inf] * 100, seconds=10.0, columns=200)
    assert found.line.tolist() == [300.0] * 800


def test_what_was_not_measured_has_no_place():
    values = np.full(100, -10.0)
    values[40:60] = np.nan
    found, scale = of(values, seconds=10.0, columns=400)
    is_there = ~np.isnan(found.line)
    inside = slice(round(scale.x_of(40) * FINE), round(scale.x_of(60) * FINE))
    assert not is_there[inside].any()
    assert is_there.sum() == 400 * FINE - (inside.stop - inside.start)


def test_a_single_number_between_gaps_is_seen():
    values = np.full(100, np.nan)
    values[50] = -15.0
    found, _ = of(values, seconds=10.0, columns=400)
    assert (~np.isnan(found.line)).sum() == 4 * FINE
    assert np.nanmax(found.line) == np.nanmin(found.line) == 150.0


@given(seed=st.integers(0, 1000), slots=st.integers(1, 3000), columns=st.integers(20, 200))
def test_a_column_of_many_slots_holds_their_lowest_highest_and_mean(seed, slots, columns):
    values = -30.0 * np.random.default_rng(seed).random(slots).astype(np.float32)
    found, scale = of(values, seconds=300.0, columns=columns)
    assert found.top is not None and found.bottom is not None
    # Parts of columns are what is assigned: each slot goes where its part begins.
    part = max(1, int(1.0 / (scale.columns_a_slot * 4)))
    values = values[: -(-scale.last_slot // part) * part]  # whole parts, of what there is
    start = np.arange(len(values)) // part * part
    place = np.floor(start * scale.columns_a_slot).astype(int) - scale.left_column
    for column in range(columns):
        mine = values[place == column]
        if len(mine) == 0:
            assert np.isnan(found.top[column])
        else:
            assert found.top[column] == pytest.approx(AXIS.y_of(mine.max()), abs=1e-3)
            assert found.bottom[column] == pytest.approx(AXIS.y_of(mine.min()), abs=1e-3)


def test_no_extreme_is_lost_over_hours():
    values = np.full(8 * 36_000, -20.0, np.float32)
    values[123_456] = -1.0
    found, _ = of(values, seconds=8 * 3600.0, columns=1200)
    assert np.nanmin(found.top) == pytest.approx(10.0, abs=1e-3)


@pytest.mark.parametrize("seconds", [10.0, 600.0])
def test_every_count_is_marked_in_its_column(seconds):
    values = np.zeros(6000)
    values[[5930, 5950, 5999]] = 1, 3, 1
    timeline = FakeTimeline({"x": values})
    scale = TimeScale.of(View.newest(seconds), slots=6000, columns=300)
    found = np.flatnonzero(counts(timeline, "x", scale, scale.left_column, scale.right_column))
    wanted = sorted({int(scale.x_of(slot + 0.5)) for slot in (5930, 5950, 5999)})
    assert len(found) == len(wanted)
    assert np.abs(found - wanted).max() <= 1
