"""Fitted second-order filters follow the magnitude that was asked for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from meter.dsp.biquad_fit import fit_biquad, power_response

F_HZ = np.geomspace(5.0, 21_000.0, 500)


def test_power_response_is_that_of_scipy():
    biquad = signal.butter(2, 1000.0, fs=48_000)
    _, response = signal.freqz(*biquad, F_HZ, fs=48_000)
    np.testing.assert_allclose(power_response(biquad, F_HZ, 48_000), np.abs(response) ** 2, rtol=1e-9)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000, 384_000])
def test_a_filter_that_exists_is_found_again(rate_hz):
    """The magnitude of a digital shelf leads back to its own coefficients."""
    corner = 2.0 * np.pi * 1000.0
    prototype = [1.6, 1.8 * corner, corner**2], [1.0, 1.4 * corner, corner**2]
    wanted = signal.bilinear(*prototype, fs=rate_hz)
    power = power_response(wanted, F_HZ, rate_hz)
    found = fit_biquad(F_HZ, power, rate_hz=rate_hz, centre_hz=1000.0)
    np.testing.assert_allclose(power_response(found, F_HZ, rate_hz), power, rtol=1e-5)
    np.testing.assert_allclose(found[1], wanted[1], rtol=0.0, atol=1e-6)


def test_a_high_pass_has_a_double_zero_at_0_hz():
    power = 1.0 / (1.0 + (F_HZ / 20.0) ** -4.0)
    b, a = fit_biquad(F_HZ, power, rate_hz=48_000, centre_hz=20.0, high_pass=True)
    np.testing.assert_allclose(b / b[0], [1.0, -2.0, 1.0], atol=1e-12)
    assert a[0] == 1.0
    assert np.abs(np.roots(a)).max() < 1.0
