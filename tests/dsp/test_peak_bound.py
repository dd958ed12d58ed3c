"""No point between samples stands higher than the bound says, and some stand as high."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.dsp.interpolator import TAPS, interpolating_filters
from meter.dsp.peak_bound import bound

LEFT = TAPS // 2 - 1


def most(samples: np.ndarray, factor: int) -> np.ndarray:
    """The bound for the points between the two middle samples of each row."""
    limits = bound(factor)
    height = np.abs(samples[:, LEFT : LEFT + 2]).max(axis=1)
    return limits.height * height + limits.bend * np.abs(np.diff(samples, n=2, axis=1)).max(axis=1)


@given(seed=st.integers(0, 10_000), smooth=st.sampled_from([0.0, 0.5, 0.95, 0.999]))
@settings(max_examples=60)
@pytest.mark.parametrize("factor", [2, 4])
def test_no_point_is_higher_than_its_bound(factor, seed, smooth):
    rng = np.random.default_rng(seed)
    samples = rng.standard_normal((50, TAPS)) if seed % 2 else rng.choice([-1.0, 1.0], (50, TAPS))
    for k in range(1, TAPS):
        samples[:, k] += smooth * samples[:, k - 1]
    points = np.abs(samples @ interpolating_filters(factor).T).max(axis=1)
    assert (points <= most(samples, factor)).all()


@pytest.mark.parametrize("factor", [2, 4])
def test_the_worst_waveform_reaches_the_bound(factor):
    """CALC: from unit impulses as second differences the response to each follows, and its sign."""
    highest = 0.0
    for taps in interpolating_filters(factor):
        ramps = np.maximum(np.arange(TAPS)[None, :] - np.arange(1, TAPS - 1)[:, None], 0.0)
        # Each ramp bends once; less the straight line through its two middle samples, these are 0.
        slope = ramps[:, LEFT + 1] - ramps[:, LEFT]
        ramps -= ramps[:, [LEFT]] + slope[:, None] * (np.arange(TAPS) - LEFT)[None, :]
        worst = np.sign(ramps @ taps) @ ramps
        assert np.abs(np.diff(worst, n=2)).max() == pytest.approx(1.0)
        highest = max(highest, float(worst @ taps / most(worst[None], factor)[0]))
    # What the gain at 0 Hz lacks of 1 is counted with the neighbours in the bound: here they are 0.
    assert highest == pytest.approx(1.0, abs=0.01)
