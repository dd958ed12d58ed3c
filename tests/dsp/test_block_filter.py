"""A recursive filter as matrix products gives what `scipy.signal.lfilter` gives, in any cutting."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from meter.dsp.block_filter import BlockFilter
from meter.dsp.grid import Grid
from meter.dsp.k_weighting import k_coefficients, k_filter
from tests.support.examples import a_quarter

# Matrix products in float32: 24 bits of mantissa, and sums of some hundred terms.
WITHIN = 5e-7

FILTERS = {
    "a complex pair": signal.butter(2, 0.1),
    "real poles": (np.array([1.0, -0.5]), np.convolve([1.0, -0.9], [1.0, 0.4])),
    "two pairs": signal.ellip(4, 1.0, 60.0, [0.2, 0.4], btype="band")[:2],
    "one pole": (np.array([1.0, -1.0]), np.array([1.0, -0.995])),
}


def split(found: np.ndarray) -> np.ndarray:
    """(blocks, channels, n) as (frames, channels)."""
    return found.swapaxes(0, 1).reshape(found.shape[1], -1).T


@pytest.mark.parametrize("name", FILTERS)
@pytest.mark.parametrize("run", [1, 30, 60])
def test_it_is_the_filter_of_scipy(name, run):
    b, a = FILTERS[name]
    padded = np.concatenate([b, np.zeros(len(a) - len(b))])
    samples = np.random.default_rng(4).uniform(-1.0, 1.0, (600, 2))
    block_filter = BlockFilter(padded, a, channels=2, block_frames=60, run=run)
    found = split(block_filter.process(samples.T, blocks=10))
    np.testing.assert_allclose(found, signal.lfilter(b, a, samples, axis=0), rtol=0.0, atol=WITHIN)


# K-weighting has two poles near each other and near 1, the more so the higher the rate; there the
# rounding of both ways grows (in float64 a run in extended precision stands 8e-7 from this one at
# 384 kHz and 4e-8 from lfilter: measured). 2e-6 of full scale is 44 dB under the absolute gate.
@pytest.mark.parametrize(
    ("rate_hz", "within"), [(8000, 5e-7), (44_100, 5e-7), (48_000, 5e-7), (192_000, 5e-7), (384_000, 2e-6)]
)
def test_k_weighting_is_the_filter_of_scipy(rate_hz, within):
    """With an offset of half of full scale, which is the worst."""
    grid = Grid(rate_hz)
    samples = np.random.default_rng(1).uniform(-0.5, 0.5, (grid.block_frames(0) * 20, 1)) + 0.5
    found = split(k_filter(grid, channels=1).process(samples.T, blocks=20))
    wanted = signal.lfilter(*k_coefficients(rate_hz), samples, axis=0)
    np.testing.assert_allclose(found, wanted, rtol=0.0, atol=within)


@a_quarter()
@given(calls=st.lists(st.integers(1, 7), min_size=1, max_size=8))
@pytest.mark.parametrize("rate_hz", [8000, 8300, 48_000])
def test_any_cutting_into_calls_gives_the_same_bits(rate_hz, calls):
    grid = Grid(rate_hz)
    block, blocks = grid.block_frames(0), sum(calls)
    samples = np.random.default_rng(7).uniform(-1.0, 1.0, (block * blocks, 2)).astype(np.float32)
    whole = k_filter(grid, channels=2).process(samples.T, blocks=blocks).copy()
    stream, at, parts = k_filter(grid, channels=2), 0, []
    for count in calls:
        parts.append(stream.process(samples[at * block : (at + count) * block].T, blocks=count).copy())
        at += count
    np.testing.assert_array_equal(np.concatenate(parts), whole)


def test_a_memory_that_fades_in_silence_is_let_go():
    b, a = FILTERS["one pole"]
    fading = BlockFilter(b, a, channels=1, block_frames=60, run=30)
    fading.process(np.ones((1, 60)), blocks=1)
    fading.settle(1e-18)
    assert not fading.is_at_rest()
    for _ in range(200):
        fading.process(np.zeros((1, 60)), blocks=1)
        fading.settle(1e-18)
    assert fading.is_at_rest()


def test_a_run_that_does_not_divide_the_block_is_our_own_mistake():
    with pytest.raises(AssertionError, match="the run must divide the block"):
        BlockFilter(*FILTERS["one pole"], channels=1, block_frames=60, run=7)
