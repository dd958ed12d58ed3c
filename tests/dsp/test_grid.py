"""The time grid: edges at round(k·rate/100), halves up."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.grid import CELLS_A_BLOCK, Grid
from meter.errors import UsageError

RATES = st.integers(8000, 384_000)


@given(rate_hz=RATES, cell=st.integers(0, 10**9))
def test_edges_lie_at_the_nearest_frame(rate_hz, cell):
    assert Grid(rate_hz).cell_edge(cell) == math.floor(Fraction(cell * rate_hz, 100) + Fraction(1, 2))


@given(rate_hz=RATES, first=st.integers(0, 10**6))
def test_blocks_are_five_cells_and_leave_no_frame_out(rate_hz, first):
    grid = Grid(rate_hz)
    edges = grid.cell_edges(first * CELLS_A_BLOCK, CELLS_A_BLOCK + 1)
    assert edges[0] == 0
    assert edges[-1] == grid.block_frames(first)
    assert abs(grid.block_frames(first) - rate_hz / 20.0) < 1.0


@given(rate_hz=RATES)
def test_a_rate_is_regular_when_10_ms_are_whole_frames(rate_hz):
    grid = Grid(rate_hz)
    assert grid.is_regular == (rate_hz % 100 == 0)
    if grid.is_regular:
        assert {grid.block_frames(k) for k in range(50)} == {rate_hz // 20}
        assert grid.block_frames(0) % grid.divisor_near(30) == 0


def test_400_ms_are_taken_to_the_nearest_sample():
    """BS.1770-5, Annex 1: Tg is 400 ms to the nearest sample. SEEN-P."""
    assert Grid(11_025).cell_edge(40) == 4410
    assert Grid(22_255).cell_edge(40) == 8902


@pytest.mark.parametrize(
    "rate_hz", [7999, 384_001, 0, -48_000, 44_100.5, float("nan"), float("inf"), float("-inf")]
)
def test_a_rate_that_cannot_be_measured_is_named(rate_hz):
    sentence = f"the sample rate is {rate_hz:g} Hz, but Leadline measures whole rates from 8000 to 384000 Hz;"
    with pytest.raises(UsageError, match=sentence):
        Grid(rate_hz)


@pytest.mark.parametrize("rate_hz", [8000, 384_000])
def test_the_ends_of_the_range_are_inside(rate_hz):
    assert Grid(rate_hz).rate_hz == rate_hz


def test_a_whole_rate_may_come_as_a_float():
    """As sound cards state it; everything is counted in whole frames all the same."""
    grid = Grid(44_100.0)
    assert isinstance(grid.rate_hz, int)
    assert isinstance(grid.cell_edge(7), int)
