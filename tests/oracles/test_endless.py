"""The 32-fold interpolation that clipped music is held to, itself held to scipy and to sines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from meter.units import amplitude_to_db
from tests.support import endless
from tests.support.sound import noise

RATE_HZ = 48_000


@pytest.mark.parametrize("band_edge", [0.4535, endless.BAND_EDGE, 0.495])
def test_it_finds_the_highest_point_that_scipy_gives(band_edge):
    samples = np.clip(noise(0.1, seed=3, level_dbfs=-3.0)[:, 0], -0.5, 0.5)
    points = signal.resample_poly(
        samples.astype(np.float64), endless.FACTOR, 1, window=endless.filter_taps(band_edge)
    )
    assert endless.peak(samples, band_edge=band_edge) == pytest.approx(np.abs(points).max(), rel=1e-5)


@pytest.mark.parametrize("share", [0.01, 0.125, 0.25, 1 / 3, 0.4, 0.45, 0.475])
def test_it_reads_the_own_peak_of_a_sine(share):
    # The grid costs at most 20·log10(cos(π·share/32)), 0.010 dB (BS.1770-5, Annex 2, attachment: CALC).
    frames = np.arange(RATE_HZ // 2)
    fade = np.minimum(1.0, np.minimum(frames, frames[::-1]) / (0.1 * RATE_HZ))
    for phase in np.linspace(0.0, np.pi, 7):
        samples = 0.5 * fade * np.sin(2.0 * np.pi * share * frames + phase)
        error_db = amplitude_to_db(endless.peak(samples) / 0.5)
        assert amplitude_to_db(np.cos(np.pi * share / 32)) - 0.002 <= error_db <= 0.002


def test_it_never_reads_under_the_samples():
    samples = np.clip(noise(0.1, seed=4, level_dbfs=0.0)[:, 0], -0.5, 0.5)
    assert endless.peak(samples) >= 0.5
    lone = np.zeros(400)
    lone[200] = 1.0
    assert endless.peak(lone) == pytest.approx(1.0, abs=1e-4)  # the stop band is 80 dB down, not more


def test_it_finds_a_peak_that_only_the_top_of_the_band_makes():
    """Samples that change sign each time, with one slip: between the two equal ones all tails add up."""
    samples = np.zeros(2000)
    samples[900:1000] = 0.5 * (-1.0) ** np.arange(100)
    samples[1000:1100] = 0.5 * (-1.0) ** np.arange(1, 101)
    samples[300:400] = 0.6  # higher than any sample of the burst
    assert endless.peak(samples) > 1.0
