"""A- and C-weighting, and the time weightings F and S, as a sound level meter has them, at any rate.

The poles at the low end are moved to the digital filter as they are; the double one at 12.2 kHz is
fitted to the response, since a bilinear transform would pull the top down by several decibels.

Source
------
IEC 61672-1:2013, Annex E and clause 5.8; see `meter.standards.iec_61672_1_2013` for what was seen.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, Literal

import numpy as np

from meter.dsp.biquad_fit import fit_biquad
from meter.dsp.filter_design import bilinear_biquad, gain_of_sections
from meter.dsp.linear_filter import linear_filter
from meter.standards import iec_61672_1_2013 as iec
from meter.units import Floats, Samples

Weighting = Literal["A", "C", "A of C"]
"""The last one makes what is A-weighted of what is C-weighted: they differ by two poles only."""

_NORMAL_HZ: Final = 1000.0
_TOP_SHARE: Final = 0.475


@lru_cache(maxsize=16)
def weighting_sections(weighting: Weighting, rate_hz: int) -> Floats:
    """Second-order sections of a frequency weighting, 0 dB at 1 kHz.

    Parameters
    ----------
    weighting : "A", "C" or "A of C"
    rate_hz : int
        Sample rate, 8000 to 384000. What lies above half of it is not there.

    Returns
    -------
    ndarray, shape (n, 6)
    """
    lows = [] if weighting == "A of C" else [(iec.F1_HZ, iec.F1_HZ)]
    if weighting != "C":
        lows.append((iec.F2_HZ, iec.F3_HZ))
    sections = [_high_pass(*poles_hz, rate_hz=rate_hz) for poles_hz in lows]
    if weighting != "A of C":
        top_hz = np.linspace(20.0, min(_TOP_SHARE * rate_hz, 40_000.0), 800)
        wanted = (1.0 + (top_hz / iec.F4_HZ) ** 2) ** -2
        b, a = fit_biquad(top_hz, wanted, rate_hz=rate_hz, centre_hz=iec.F4_HZ)
        sections.append(np.concatenate([b, a]))
    made = np.array(sections)
    made[0, :3] /= gain_of_sections(made, _NORMAL_HZ, rate_hz=rate_hz)
    return made


def _high_pass(first_hz: float, second_hz: float, *, rate_hz: int) -> Floats:
    """s² over two real poles, by the bilinear transform."""
    poles = -2.0 * np.pi * np.array([first_hz, second_hz])
    bottom = np.asarray(np.poly(poles), np.float64)
    return np.concatenate(bilinear_biquad(np.array([1.0, 0.0, 0.0]), bottom, rate_hz=rate_hz))


class SoundWeighting:
    """Frequency weighting of a stream.

    Parameters
    ----------
    weighting : "A", "C" or "A of C"
    rate_hz, channels : int
    """

    def __init__(self, weighting: Weighting, *, rate_hz: int, channels: int) -> None:
        self._sections = weighting_sections(weighting, rate_hz)
        self._memories = np.zeros((len(self._sections), channels, 2))

    def process(self, planar: Samples) -> Floats:
        """Weighted samples, of the shape (channels, n) of what came, n >= 1; in float64."""
        out = np.asarray(planar, np.float64)
        for section, memory in zip(self._sections, self._memories, strict=True):
            out, memory[:] = linear_filter(section[:3], section[3:], out, memory)
        return out

    def reset(self) -> None:
        """Back to rest."""
        self._memories[:] = 0.0


class TimeWeighting:
    """The exponential mean of squares, F (125 ms) or S (1 s).

    Parameters
    ----------
    constant_s : float
    rate_hz, channels : int
    """

    def __init__(self, constant_s: float, *, rate_hz: int, channels: int) -> None:
        keep = float(np.exp(-1.0 / (constant_s * rate_hz)))
        self._b, self._a = np.array([1.0 - keep, 0.0]), np.array([1.0, -keep])
        self._memory = np.zeros((channels, 1))

    def process(self, squares: Floats) -> Floats:
        """The mean square at every sample, shape (channels, n), n >= 1."""
        out, self._memory = linear_filter(self._b, self._a, squares, self._memory)
        return out

    def reset(self) -> None:
        """Back to rest."""
        self._memory = np.zeros_like(self._memory)
