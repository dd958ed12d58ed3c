"""The newest frames with some past before them."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.window import Window


@given(lengths=st.lists(st.integers(0, 12), min_size=1, max_size=12), past=st.integers(0, 7))
def test_it_is_a_view_on_the_stream_with_silence_before_it(lengths, past):
    stream = np.arange(1.0, 2.0 * sum(lengths) + 1.0, dtype=np.float32).reshape(-1, 2)
    window, at = Window(channels=2, past_frames=past), 0
    padded = np.concatenate([np.zeros((past, 2), np.float32), stream])
    for length in lengths:
        window.push(stream[at : at + length])
        at += length
        assert window.frames == length
        np.testing.assert_array_equal(window.planar(past), padded[at - length : at + past].T)
        np.testing.assert_array_equal(window.planar(channels=1), stream[at - length : at, :1].T)


def test_strided_rows_overlap():
    window = Window(channels=1, past_frames=2)
    window.push(np.arange(12.0, dtype=np.float32)[:, None])
    rows = window.strided(2, blocks=2, rows=3, step=2, width=4)
    assert rows.shape == (2, 1, 3, 4)
    assert rows[0, 0].tolist() == [[0, 0, 0, 1], [0, 1, 2, 3], [2, 3, 4, 5]]
    assert rows[1, 0].tolist() == [[4, 5, 6, 7], [6, 7, 8, 9], [8, 9, 10, 11]]


def test_reset_makes_the_past_silent():
    window = Window(channels=1, past_frames=3)
    window.push(np.ones((5, 1), np.float32))
    assert not window.is_silent()
    window.reset()
    window.push(np.ones((2, 1), np.float32))
    assert window.planar(3).tolist() == [[0, 0, 0, 1, 1]]


def test_it_is_silent_once_the_past_is_so_too():
    window = Window(channels=1, past_frames=3)
    window.push(np.ones((5, 1), np.float32))
    window.push(np.zeros((2, 1), np.float32))
    assert not window.is_silent()
    window.push(np.zeros((3, 1), np.float32))
    assert window.is_silent()
