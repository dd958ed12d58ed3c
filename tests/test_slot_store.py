from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.slot_store import CHUNK_SLOTS, NODE_SLOTS, SlotStore


def plain(values, *, n, first, count):
    """Lowest, highest and mean of the finite of each column, one column at a time."""
    found = np.full((3, count), np.nan)
    for k in range(count):
        start, stop = (first + k) * n, (first + k + 1) * n
        part = values[max(start, 0) : max(stop, 0)].astype(np.float64)
        part = part[~np.isnan(part)]
        if len(part):
            finite = part[np.isfinite(part)]
            found[:, k] = part.min(), part.max(), finite.mean() if len(finite) else part.min()
    return found


def filled(values, cuts=()):
    store = SlotStore(2)
    edges = [0, *cuts, len(values)]
    for start, stop in pairwise(edges):
        if stop > start:
            store.write(start, np.stack([values[start:stop], -values[start:stop]], axis=1))
    return store


def made_up(slots, *, seed):
    rng = np.random.default_rng(seed)
    values = rng.uniform(-40.0, 0.0, slots).astype(np.float32)
    for what in (np.nan, -np.inf):
        for start in rng.integers(0, max(slots, 1), 4):
            values[start : start + rng.integers(0, 200)] = what
    return values


@settings(max_examples=150)
@given(
    slots=st.integers(1, 3000),
    n=st.integers(1, 700),
    first=st.integers(-5, 40),
    count=st.integers(0, 60),
    cuts=st.lists(st.integers(0, 3000), max_size=6),
    seed=st.integers(0, 99),
)
def test_columns_are_the_lowest_the_highest_and_the_mean_of_their_slots(slots, n, first, count, cuts, seed):
    values = made_up(slots, seed=seed)
    store = filled(values, sorted(min(cut, slots) for cut in cuts))
    columns = store.columns(0, slots_a_column=n, first=first, count=count, slots=slots)
    low, high, mean = plain(values, n=n, first=first, count=count)
    np.testing.assert_array_equal(columns.low, low.astype(np.float32))
    np.testing.assert_array_equal(columns.high, high.astype(np.float32))
    np.testing.assert_allclose(columns.mean, mean, rtol=1e-6)


@pytest.mark.parametrize("n", [240, 241, 4096])
def test_columns_go_over_the_ends_of_chunks(n):
    slots = 2 * CHUNK_SLOTS + 777
    values = made_up(slots, seed=n)
    store = filled(values, [CHUNK_SLOTS - 3, CHUNK_SLOTS + 5])
    count = slots // n + 2
    columns = store.columns(0, slots_a_column=n, first=0, count=count, slots=slots)
    low, high, mean = plain(values, n=n, first=0, count=count)
    np.testing.assert_array_equal(columns.low, low.astype(np.float32))
    np.testing.assert_array_equal(columns.high, high.astype(np.float32))
    np.testing.assert_allclose(columns.mean, mean, rtol=1e-6)


def test_each_series_has_its_own_values():
    values = made_up(500, seed=1)
    store = filled(values)
    np.testing.assert_array_equal(store.values(1, 0, 500, slots=500), -values)


def test_outside_of_what_there_is_there_is_nothing():
    store = filled(np.ones(10, np.float32))
    found = store.values(0, -3, 14, slots=10)
    assert np.isnan(found[:3]).all() and np.isnan(found[13:]).all()
    assert list(found[3:13]) == [1.0] * 10
    assert len(store.values(0, 5, 2, slots=10)) == 0


def test_a_count_that_is_older_than_what_was_written_hides_the_rest():
    store = filled(np.arange(100, dtype=np.float32))
    assert np.isnan(store.values(0, 40, 60, slots=50)[10:]).all()
    columns = store.columns(0, slots_a_column=40, first=0, count=3, slots=50)
    assert list(columns.high[:2]) == [39.0, 49.0]
    assert np.isnan(columns.high[2])


def test_slots_that_are_left_out_are_nothing_and_whole_chunks_of_them_take_no_memory():
    store = SlotStore(1)
    store.write(0, np.full((5, 1), 2.0, np.float32))
    far = 10 * CHUNK_SLOTS + 7
    store.write(far, np.full((3, 1), 4.0, np.float32))
    assert sum(chunk is not None for chunk in store._chunks) == 2
    columns = store.columns(0, slots_a_column=CHUNK_SLOTS, first=0, count=11, slots=far + 3)
    assert columns.mean[0] == 2.0 and columns.mean[10] == 4.0
    assert np.isnan(columns.low[1:10]).all()
    assert np.isnan(store.values(0, 5, far, slots=far + 3)).all()


def test_the_last_slot_may_be_written_again():
    store = filled(np.zeros(2 * NODE_SLOTS, np.float32))
    last = 2 * NODE_SLOTS - 1
    store.write(last, np.full((2, 2), 7.0, np.float32))
    columns = store.columns(0, slots_a_column=2 * NODE_SLOTS, first=0, count=2, slots=last + 2)
    assert list(columns.high) == [7.0, 7.0]


def test_silence_does_not_pull_the_mean_down_where_there_is_sound_too():
    values = np.array([-10.0, -np.inf, -20.0, -np.inf, -np.inf, -np.inf], np.float32)
    columns = filled(values).columns(0, slots_a_column=3, first=0, count=2, slots=6)
    assert list(columns.mean) == [-15.0, -np.inf]
    assert list(columns.low) == [-np.inf, -np.inf]
