"""Matrix products give the points that the filters give one by one, whatever stands beside them."""

from __future__ import annotations

import numpy as np
import pytest

from meter.dsp.interpolation import CENTRE, LINE_FRAMES, PAST_FRAMES, Interpolation
from meter.dsp.interpolator import TAPS, interpolating_filters


def plain_wave(samples: np.ndarray, factor: int) -> np.ndarray:
    """Samples from the `CENTRE` - 1st on, each with the points after it, one dot product after the other."""
    filters = interpolating_filters(factor)
    windows = np.lib.stride_tricks.sliding_window_view(samples.astype(np.float64), TAPS)
    return np.column_stack([windows[:, CENTRE - 1], *(windows @ taps for taps in filters)])


@pytest.mark.parametrize("factor", [2, 4])
def test_every_line_holds_the_points_of_the_filters(factor):
    rng = np.random.default_rng(factor)
    source = rng.uniform(-1.0, 1.0, (3, PAST_FRAMES + 900)).astype(np.float32)
    points = Interpolation(factor)
    channels = rng.integers(0, 3, 200)
    starts = rng.integers(0, 900 - LINE_FRAMES + 1, 200)
    waves = points.waves(source, channels, starts)
    assert waves.shape == (200, points.width) == (200, LINE_FRAMES * factor + 2)
    plain = [plain_wave(one, factor) for one in source]
    for wave, channel, start in zip(waves, channels, starts, strict=True):
        own = plain[channel][start + 1 : start + 1 + LINE_FRAMES].reshape(-1)
        np.testing.assert_allclose(wave[1:-1], own, rtol=0.0, atol=2e-6)
        assert wave[0] == pytest.approx(plain[channel][start, -1], abs=2e-6)
        np.testing.assert_array_equal(
            wave[1::factor], source[channel, start + CENTRE : start + CENTRE + LINE_FRAMES + 1]
        )


@pytest.mark.parametrize("factor", [2, 4])
def test_a_line_gives_the_same_bits_wherever_it_stands(factor):
    """So a stream may be cut in any way: the lines that a call brings together differ then."""
    source = np.random.default_rng(2).standard_normal((2, PAST_FRAMES + 5000)).astype(np.float32)
    points = Interpolation(factor)
    starts = np.arange(0, 5000 - LINE_FRAMES, 3)
    channels = np.zeros(len(starts), np.int64)
    together = points.waves(source, channels, starts).copy()
    for first in (1, 2, 5, 31, 32, 33, 700, 1500):
        later = points.waves(source, channels[first:], starts[first:])
        np.testing.assert_array_equal(later, together[first:])
    order = np.random.default_rng(3).permutation(len(starts))
    np.testing.assert_array_equal(points.waves(source, channels, starts[order]), together[order])
