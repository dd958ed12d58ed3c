"""The interpolating filters delay by a part of a sample, and change nothing else, up to their band edge."""

from __future__ import annotations

import numpy as np
import pytest

from meter.dsp.interpolator import BAND_EDGE, SINE_EDGE, TAPS, interpolating_filters, oversampling

CYCLES = np.linspace(0.0, BAND_EDGE, 1001)
"""Frequencies as shares of the sample rate."""


@pytest.mark.parametrize("factor", [2, 4])
def test_each_filter_is_a_pure_delay_within_0_01_db_and_a_little_less_above_20_khz(factor):
    filters = interpolating_filters(factor)
    assert filters.shape == (factor - 1, TAPS)
    positions = np.arange(TAPS) - (TAPS // 2 - 1)
    for k, taps in enumerate(filters, start=1):
        response = np.exp(2j * np.pi * np.outer(CYCLES, positions - k / factor)) @ taps
        error = np.abs(response - 1.0)
        # 0.01 dB in amplitude is a relative error of 0.00115; 0.08 dB one of 0.0092.
        assert error[CYCLES <= SINE_EDGE].max() < 0.00115
        assert error.max() < 0.0092


@pytest.mark.parametrize("factor", [2, 4])
def test_the_filters_are_mirror_images(factor):
    filters = interpolating_filters(factor)
    np.testing.assert_allclose(filters, filters[::-1, ::-1], atol=1e-9)


@pytest.mark.parametrize(
    ("rate_hz", "factor"), [(8000, 4), (44_100, 4), (48_000, 4), (88_200, 2), (384_000, 2)]
)
def test_points_lie_at_least_176_khz_dense_wherever_music_is(rate_hz, factor):
    """BS.1770-5, Annex 2: fourfold at 48 kHz, twofold is sufficient at 96 kHz. SEEN-P."""
    assert oversampling(rate_hz) == factor


def test_the_band_reaches_20_khz_at_44_1_and_48_khz():
    assert BAND_EDGE * 44_100 >= 20_000 - 1
    assert BAND_EDGE * 48_000 > 20_000


def test_the_filters_are_the_caller_s_own():
    interpolating_filters(4)[:] = 0.0
    assert interpolating_filters(4).any()
