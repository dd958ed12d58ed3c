import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter import row_store
from meter.row_store import RowStore
from meter.soundings import SOUNDING


def rows(first, count):
    made = np.zeros(count, SOUNDING)
    made["start_frame"] = np.arange(first, first + count)
    return made


@given(
    parts=st.lists(st.integers(0, 40), max_size=12),
    start=st.integers(0, 200),
    stop=st.none() | st.integers(0, 200),
    chunk=st.integers(1, 16),
)
def test_rows_come_back_as_they_were_put_in_whatever_the_cutting(parts, start, stop, chunk):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(row_store, "CHUNK_ROWS", chunk)
        store = RowStore()
        for count in parts:
            store.append(rows(len(store), count))
        whole = rows(0, sum(parts))
        assert len(store) == len(whole)
        np.testing.assert_array_equal(store.rows(start, stop), whole[start:stop])


def test_what_is_handed_out_and_what_was_put_in_may_be_changed_without_harm():
    store, mine = RowStore(), rows(0, 3)
    store.append(mine)
    mine["start_frame"] = 9
    store.rows()["start_frame"] = 8
    assert list(store.rows()["start_frame"]) == [0, 1, 2]


def test_eight_hours_take_no_more_memory_than_their_rows_and_one_chunk():
    store, batch = RowStore(), rows(0, 6000)
    for _ in range(48):
        store.append(batch)
    assert len(store) == 8 * 3600 * 10
    assert len(store._chunks) * row_store.CHUNK_ROWS <= len(store) + row_store.CHUNK_ROWS


def test_a_row_is_small():
    assert SOUNDING.itemsize <= 200
