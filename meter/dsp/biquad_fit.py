"""Second-order digital filters that follow a given magnitude closely, at any rate.

A plain bilinear transform squeezes the frequency axis towards half the rate. Here the squared
magnitude is fitted instead, as a rational function of X = tan²(pi·f/rate); the bilinear
transform turns such a function into a filter exactly, and its left-hand factors make it stable
and minimum-phase.
"""

from __future__ import annotations

import numpy as np

from meter.dsp.filter_design import bilinear_biquad
from meter.units import Floats

Biquad = tuple[Floats, Floats]
"""Numerator and denominator, three coefficients each, denominator[0] = 1."""

_ROUNDS = 40


def power_response(biquad: Biquad, f_hz: Floats, rate_hz: float) -> Floats:
    """Squared magnitude of a filter at the frequencies given."""
    delay = np.exp(-2j * np.pi * f_hz / rate_hz)
    b, a = biquad
    return np.asarray(np.abs(np.polyval(b[::-1], delay) / np.polyval(a[::-1], delay)) ** 2, np.float64)


def _left_factor(coefficients: Floats) -> Floats:
    """Factor of c0 + c1·X + c2·X² with X = -s² whose roots lie on the left; descending powers of s."""
    c0, c1, c2 = coefficients
    roots = np.roots([c2, 0.0, -c1, 0.0, c0])
    left = roots[np.argsort(roots.real)][:2]
    return np.asarray(np.sqrt(c2) * np.poly(left).real, np.float64)


def fit_biquad(
    f_hz: Floats, power: Floats, *, rate_hz: float, centre_hz: float, high_pass: bool = False
) -> Biquad:
    """Filter whose squared magnitude follows `power`, with the least relative error.

    Parameters
    ----------
    f_hz, power : ndarray, shape (n,)
        Wanted squared magnitude at frequencies below half the rate; all > 0.
    rate_hz : float
        Rate the filter runs at.
    centre_hz : float
        Where the filter acts; keeps the equations well scaled.
    high_pass : bool
        Force a double zero at 0 Hz.
    """
    middle = np.tan(np.pi * min(centre_hz, 0.4 * rate_hz) / rate_hz)
    x = (np.tan(np.pi * f_hz / rate_hz) / middle) ** 2
    numerators = [x * x] if high_pass else [np.ones_like(x), x, x * x]
    denominator = 1.0 + x * x
    solution = np.zeros(0)
    for _ in range(_ROUNDS):
        weight = 1.0 / (power * denominator)
        rows = np.stack([*numerators, -power * x, -power * x * x], axis=1)
        solution = np.linalg.lstsq(rows * weight[:, None], power * weight, rcond=None)[0]
        denominator = 1.0 + solution[-2] * x + solution[-1] * x * x
    scale = np.array([1.0 / middle**2, 1.0 / middle, 1.0])  # from the scaled axis back to s = tan
    top = np.array([np.sqrt(solution[0]), 0.0, 0.0]) if high_pass else _left_factor(solution[:3])
    bottom = _left_factor(np.array([1.0, solution[-2], solution[-1]]))
    return bilinear_biquad(top * scale, bottom * scale, rate_hz=0.5)
