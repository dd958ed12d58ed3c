"""The few designs of filters that are needed, without `scipy.signal`.

That package is right and well kept, and the tests hold these functions to it; but to import it takes a
second and 75 MB, in every process that checks a file, for what fits on this page.

Source
------
Bilinear transform, Butterworth's poles: algebra. Kaiser's window and its length: J. F. Kaiser 1974, as
`scipy.signal.kaiserord` and `scipy.signal.kaiser_beta` have it (the paper was not read).
"""

from __future__ import annotations

import numpy as np

from meter.units import Floats


def bilinear_biquad(b: Floats, a: Floats, *, rate_hz: float) -> tuple[Floats, Floats]:
    """A second-order analogue filter as a digital one.

    Parameters
    ----------
    b, a : ndarray, shape (3,)
        Coefficients of s², s and 1.
    rate_hz : float
        Sample rate; no frequency is warped back.

    Returns
    -------
    b, a : ndarray, shape (3,)
        ``a[0]`` = 1.
    """
    top, bottom = (_with_z(np.asarray(part, np.float64), 2.0 * rate_hz) for part in (b, a))
    return top / bottom[0], bottom / bottom[0]


def _with_z(part: Floats, twice_rate_hz: float) -> Floats:
    """With s = 2·rate·(1 - 1/z)/(1 + 1/z), times (1 + 1/z)²."""
    square, plain, constant = part[0] * twice_rate_hz**2, part[1] * twice_rate_hz, part[2]
    return np.array([square + plain + constant, 2.0 * (constant - square), square - plain + constant])


def butterworth_band_pass(
    order: int, band_hz: tuple[float, float], *, rate_hz: float
) -> tuple[Floats, Floats]:
    """Butterworth's band-pass, its two edges at -3.01 dB.

    Parameters
    ----------
    order : int
        Of the low-pass that it is made of: the filter's own order is twice that.
    band_hz : tuple of float
        Edges, between 0 and half the rate.
    rate_hz : float
        Sample rate.

    Returns
    -------
    b, a : ndarray, shape (2 order + 1,)
        ``a[0]`` = 1.
    """
    low, high = np.tan(np.pi * np.asarray(band_hz, np.float64) / rate_hz)  # bent, as the transform bends back
    prototype = np.exp(0.5j * np.pi * (1.0 + (2.0 * np.arange(order) + 1.0) / order))
    half = 0.5 * (high - low) * prototype
    apart = np.sqrt(half * half - low * high + 0j)
    poles = np.concatenate([half + apart, half - apart])
    gain = (high - low) ** order / np.prod(1.0 - poles).real
    zeros = np.repeat([1.0, -1.0], order)  # 0 Hz and half the rate
    b, a = gain * np.poly(zeros), np.poly((1.0 + poles) / (1.0 - poles)).real
    return np.asarray(b, np.float64), np.asarray(a, np.float64)


def kaiser_low_pass(cutoff: float, *, width: float, stop_db: float) -> Floats:
    """A linear-phase low-pass of odd length, its gain at 0 Hz 1.

    Parameters
    ----------
    cutoff : float
        Where the gain is a half, as a share of half the rate.
    width : float
        Of the transition, as a share of half the rate.
    stop_db : float
        How far down the stop band is, over 50 dB.

    Returns
    -------
    ndarray, shape (odd number,)
    """
    assert stop_db > 50.0, "the formula for beta is that for more than 50 dB"
    count = int(np.ceil((stop_db - 7.95) / 2.285 / (np.pi * width) + 1.0)) | 1
    beta = 0.1102 * (stop_db - 8.7)
    at = np.arange(count) - (count - 1) / 2.0
    taps = cutoff * np.sinc(cutoff * at) * np.kaiser(count, beta)
    return np.asarray(taps / taps.sum(), np.float64)


def gain_of_sections(sections: Floats, f_hz: float, *, rate_hz: float) -> float:
    """Magnitude of second-order sections, shape (n, 6), at a frequency."""
    delay = np.exp(-2j * np.pi * f_hz / rate_hz) ** np.arange(3)
    return float(np.abs(np.prod(sections[:, :3] @ delay / (sections[:, 3:] @ delay))))
