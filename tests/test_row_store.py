import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter import row_store
from meter.chain import Chain
from meter.row_store import RowStore
from meter.soundings import MAX_CHANNELS, SOUNDING
from tests.support.sound import noise


def rows(first, count):
    made = np.zeros(count, SOUNDING)
    made["start_frame"] = np.arange(first, first + count)
    return made


def filled(count, channels):
    """Rows without a byte of 0, but for the channels that there are not."""
    drawn = np.random.default_rng(1).integers(1, 256, count * SOUNDING.itemsize, np.uint8)
    made = drawn.view(SOUNDING)
    for name in ("k_power", "true_peak", "sample_peak", "dc"):
        made[name][:, channels:] = 0.0
    return made


@given(
    parts=st.lists(st.integers(0, 40), max_size=12),
    start=st.integers(0, 200),
    stop=st.none() | st.integers(0, 200),
    chunk=st.integers(1, 16),
    plain=st.integers(1, 4),
    channels=st.integers(1, MAX_CHANNELS),
)
def test_rows_come_back_as_they_were_put_in_whatever_the_cutting(parts, start, stop, chunk, plain, channels):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(row_store, "CHUNK_ROWS", chunk)
        patch.setattr(row_store, "PLAIN_CHUNKS", plain)
        store, whole = RowStore(channels), filled(sum(parts), channels)
        for count in parts:
            store.append(whole[len(store) : len(store) + count])
        assert len(store) == len(whole)
        assert store.rows(start, stop).tobytes() == whole[start:stop].tobytes()


@pytest.mark.parametrize("channels", [1, 2, MAX_CHANNELS])
def test_what_a_chain_tells_of_a_pass_comes_back_bit_by_bit(channels):
    chain, store = Chain(rate_hz=8_000, channels=channels), RowStore(channels)
    told = chain.process(noise(1.5, rate_hz=8_000, channels=channels, seed=1, level_dbfs=-6.0))
    store.append(told)
    assert len(told) >= 10 and store.rows().tobytes() == told.tobytes()


def test_what_is_handed_out_and_what_was_put_in_may_be_changed_without_harm():
    store, mine = RowStore(), rows(0, 3)
    store.append(mine)
    mine["start_frame"] = 9
    store.rows()["start_frame"] = 8
    assert list(store.rows()["start_frame"]) == [0, 1, 2]


def test_eight_hours_of_stereo_take_three_megabytes_an_hour_once_they_are_half_an_hour_old():
    chain = Chain(rate_hz=8_000, channels=2)
    batch = chain.process(noise(60.0, rate_hz=8_000, channels=2, seed=1, level_dbfs=-6.0))
    store = RowStore(2)
    for _ in range(8 * 60):
        store.append(batch)
    assert len(store) == 8 * 3600 * 10
    of_others = 4 * (MAX_CHANNELS - 2) * 4  # K power, both peaks and DC, four bytes each
    plain_bytes = row_store.CHUNK_ROWS * (SOUNDING.itemsize - of_others)
    held = [len(chunk) if isinstance(chunk, bytes) else chunk.nbytes for chunk in store._chunks]
    assert held[-row_store.PLAIN_CHUNKS :] == [plain_bytes] * row_store.PLAIN_CHUNKS
    assert sum(held[: -row_store.PLAIN_CHUNKS]) <= 7.5 * 3.2e6
    assert store.rows(1200, 1800).tobytes() == batch.tobytes()


def test_a_row_is_small():
    assert SOUNDING.itemsize <= 200
