"""The designs of filters against those of `scipy.signal`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from meter.dsp.filter_design import bilinear_biquad, butterworth_band_pass, gain_of_sections, kaiser_low_pass

coefficients = st.lists(st.floats(0.1, 100.0), min_size=3, max_size=3)


@given(b=coefficients, a=coefficients, rate_hz=st.sampled_from([0.5, 3000.0, 48_000.0]))
def test_a_bilinear_biquad_is_that_of_scipy(b, a, rate_hz):
    scale = np.array([1.0 / rate_hz**2, 1.0 / rate_hz, 1.0])  # corners within the band
    b, a = np.array(b) * scale, np.array(a) * scale
    wanted = signal.bilinear(b, a, fs=rate_hz)
    for own, theirs in zip(bilinear_biquad(b, a, rate_hz=rate_hz), wanted, strict=True):
        np.testing.assert_allclose(own, theirs, rtol=1e-9, atol=1e-12)


@given(
    order=st.integers(1, 3),
    low_hz=st.floats(20.0, 200.0),
    share=st.floats(1.2, 5.0),
    rate_hz=st.floats(2500.0, 4000.0),
)
def test_a_band_pass_is_that_of_scipy(order, low_hz, share, rate_hz):
    band_hz = (low_hz, low_hz * share)
    wanted = signal.butter(order, band_hz, "bandpass", fs=rate_hz)
    for own, theirs in zip(butterworth_band_pass(order, band_hz, rate_hz=rate_hz), wanted, strict=True):
        np.testing.assert_allclose(own, theirs, rtol=1e-8, atol=1e-13)


@pytest.mark.parametrize("factor", [2, 5, 15, 16, 60, 128])
def test_a_kaiser_low_pass_is_that_of_scipy(factor):
    width = 0.8 / factor
    count, beta = signal.kaiserord(90.0, width)
    wanted = signal.firwin(count | 1, 1.0 / factor, window=("kaiser", beta))
    made = kaiser_low_pass(1.0 / factor, width=width, stop_db=90.0)
    assert len(made) == len(wanted)
    np.testing.assert_allclose(made, wanted, rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("f_hz", [20.0, 1000.0, 20_000.0])
def test_the_gain_of_sections_is_that_of_scipy(f_hz):
    sections = signal.butter(6, [100.0, 5000.0], "bandpass", fs=48_000, output="sos")
    _, response = signal.freqz_sos(sections, [f_hz], fs=48_000)
    assert gain_of_sections(sections, f_hz, rate_hz=48_000) == pytest.approx(abs(response[0]), rel=1e-9)
