"""The sine through three points: exact for a sine, never below the middle point."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.interpolator import BAND_EDGE
from meter.dsp.peak_fit import largest_rise, sine_peaks

POINTS = st.floats(np.float32(-1e15), np.float32(1e15), width=32)
"""What the meter is given: float32, cleaned."""


@given(
    cycles=st.floats(1e-3, BAND_EDGE / 4.0),
    phase=st.floats(-0.5, 0.5),
    amplitude=st.floats(1e-6, 1e6),
    sign=st.sampled_from([-1.0, 1.0]),
)
def test_the_peak_of_a_sine_is_exact_whatever_the_phase(cycles, phase, amplitude, sign):
    """A·cos, its highest point within half a step of the peak. Trigonometry, CALC."""
    steps = np.array([-1.0, 0.0, 1.0])[:, None]
    before, middle, after = sign * amplitude * np.cos(2.0 * np.pi * cycles * (steps - phase))
    (found,) = sine_peaks(before, middle, after, factor=4)
    assert abs(found / amplitude - 1.0) < 1e-6


@given(points=st.lists(POINTS, min_size=3, max_size=3), factor=st.sampled_from([2, 4]))
def test_no_three_points_give_less_than_the_middle_or_more_than_a_sine_could(points, factor):
    before, middle, after = (np.array([point]) for point in points)
    (found,) = sine_peaks(before, middle, after, factor=factor)
    assert abs(points[1]) <= found <= abs(points[1]) * largest_rise(factor) * (1.0 + 1e-12)


def test_a_plateau_is_as_high_as_its_points():
    ones = np.array([1.0])
    assert sine_peaks(ones, ones, ones, factor=4) == 1.0
    assert sine_peaks(-ones, -ones, -ones, factor=4) == 1.0


def test_silence_has_no_peak():
    zero = np.array([0.0])
    assert sine_peaks(zero, zero, zero, factor=4) == 0.0


def test_a_point_beside_a_higher_one_stands_as_it_is():
    assert sine_peaks(np.array([1.0]), np.array([0.5]), np.array([0.25]), factor=4) == 0.5
