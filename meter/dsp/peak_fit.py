"""The peak between three points, by the one sine that runs through them.

For a sine the fit is exact whatever the phase, so fourfold oversampling reads what an endless
one would. On a plateau the fit is 0/0 and the middle point stands.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from meter.dsp.interpolator import BAND_EDGE
from meter.units import Floats

_MARGIN = 1.008
_PLATEAU = 1e-300
"""Where all three are equal the tilt is 0 too: 0 over this is 0."""


@lru_cache(maxsize=2)
def largest_rise(factor: int) -> float:
    """By how much a peak can stand above its nearest point, for anything inside the pass band."""
    return float(_MARGIN / np.cos(np.pi * BAND_EDGE / factor))


def sine_peaks(before: Floats, middle: Floats, after: Floats, *, factor: int) -> Floats:
    """Amplitude of the sine through three equally spaced points, middle the highest.

    Parameters
    ----------
    before, middle, after : ndarray, shape (n,)
        Signed values; where the middle is not the highest in magnitude its magnitude is returned.
    factor : int
        Oversampling that the points were taken at; bounds the result.

    Returns
    -------
    ndarray, shape (n,)
        Amplitudes, never below ``abs(middle)``.

    Source
    ------
    Trigonometry: y± = A·cos(p ± t), so y₊+y₋ = 2·y0·cos t and y₊-y₋ = -2·A·sin p·sin t.
    """
    height = np.abs(middle)
    is_top = (height >= np.abs(before)) & (height >= np.abs(after)) & (height > 0.0)
    found = height.copy()
    found[is_top] = top_peaks(before[is_top], middle[is_top], after[is_top], factor=factor)
    return found


def top_peaks(before: Floats, middle: Floats, after: Floats, *, factor: int) -> Floats:
    """The same of points that are known to be tops: the middle is the highest in magnitude, and not 0."""
    # Ten times a second when live, so in few steps.
    curve = (before + after) / middle
    curve *= curve
    curve = np.maximum(4.0 - curve, _PLATEAU)
    tilt = after - before
    tilt *= tilt
    tilt /= curve
    tilt += middle * middle
    return np.minimum(np.sqrt(tilt), largest_rise(factor) * np.abs(middle))
