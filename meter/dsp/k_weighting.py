"""K-weighting: the frequency weighting that loudness stands on, at any sample rate.

At 48 kHz the published coefficients are used as printed. For other rates the standard only
asks for "the same frequency response": a plain bilinear transform of the prototype drifts by
0.04 dB at 192 kHz and by 0.47 dB at 8 kHz, so the shelf is fitted to the published response
instead (tests hold the result within 0.05 dB up to 0.45 of the rate, 8 to 384 kHz).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Protocol

import numpy as np
import numpy.typing as npt

from meter.dsp.biquad_fit import Biquad, fit_biquad, power_response
from meter.dsp.block_filter import BlockFilter
from meter.dsp.grid import Grid
from meter.dsp.linear_filter import filtered, linear_filter
from meter.standards import bs1770
from meter.units import Floats, Samples


def _published() -> tuple[Biquad, Biquad]:
    shelf = (np.array(bs1770.STAGE_1_B), np.array(bs1770.STAGE_1_A))
    high_pass = (np.array(bs1770.STAGE_2_B), np.array(bs1770.STAGE_2_A))
    return shelf, high_pass


def _high_pass_at(rate_hz: float) -> Biquad:
    """Bilinear transform of the high-pass prototype, numerator 1, -2, 1 as at 48 kHz."""
    k = np.tan(np.pi * bs1770.HIGHPASS_HZ / rate_hz)
    norm = 1.0 + k / bs1770.HIGHPASS_Q + k * k
    a = np.array([1.0, 2.0 * (k * k - 1.0) / norm, (1.0 - k / bs1770.HIGHPASS_Q + k * k) / norm])
    return np.array([1.0, -2.0, 1.0]), a


def _fit_shelf(rate_hz: float) -> Biquad:
    """Second-order shelf whose product with `_high_pass_at` follows the 48 kHz response."""
    shelf48, high48 = _published()
    top_hz = min(0.475 * rate_hz, 24_000.0)
    f_hz = np.concatenate([np.linspace(5.0, top_hz, 600), np.geomspace(5.0, top_hz, 400)])
    wanted = power_response(shelf48, f_hz, 48_000.0) * power_response(high48, f_hz, 48_000.0)
    wanted /= power_response(_high_pass_at(rate_hz), f_hz, rate_hz)
    if rate_hz > 48_000.0:  # above 24 kHz there is nothing published: stay flat
        beyond = np.linspace(24_000.0, 0.499 * rate_hz, 200)
        f_hz = np.concatenate([f_hz, beyond])
        wanted = np.concatenate([wanted, np.full(200, wanted[599])])
    return fit_biquad(f_hz, wanted, rate_hz=rate_hz, centre_hz=bs1770.SHELF_HZ)


@lru_cache(maxsize=16)
def k_coefficients(rate_hz: int) -> tuple[Floats, Floats]:
    """Fourth-order transfer function (b, a) of K-weighting.

    Parameters
    ----------
    rate_hz : int
        Sample rate, 8000 to 384000.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2 (48 kHz, as printed); other rates:
    Annex 1, "the same frequency response", fitted.
    """
    shelf, high_pass = _published() if rate_hz == 48_000 else (_fit_shelf(rate_hz), _high_pass_at(rate_hz))
    return np.convolve(shelf[0], high_pass[0]), np.convolve(shelf[1], high_pass[1])


def k_weight(samples: Samples, *, rate_hz: int) -> Floats:
    """K-weight a whole array, shape (frames, channels), in float64."""
    b, a = k_coefficients(rate_hz)
    return np.asarray(filtered(b, a, np.ascontiguousarray(samples.T, np.float64)).T)


_RUN = 48
"""Samples in a run of the block filter: the quickest of 20 to 60 with 512-bit arithmetic."""


class KFilter(Protocol):
    """K-weighting of a stream of blocks."""

    def process(self, planar: npt.NDArray[np.floating], *, blocks: int) -> Floats | npt.NDArray[np.float32]:
        """(channels, blocks·n) in, (blocks, channels, n) out."""

    def reset(self) -> None:
        """Back to rest."""

    def settle(self, floor: float) -> None:
        """In silence: memories under `floor` become zero."""

    def is_at_rest(self) -> bool:
        """Whether every memory is zero."""


class _PlainKFilter:
    """K-weighting by `lfilter`: for rates whose 10 ms is no whole number of samples."""

    def __init__(self, b: Floats, a: Floats, channels: int) -> None:
        self._b, self._a = b, a
        self._state = np.zeros((channels, len(a) - 1))

    def process(self, planar: npt.NDArray[np.floating], *, blocks: int) -> Floats:
        samples = np.asarray(planar, np.float64)
        out, self._state = linear_filter(self._b, self._a, samples, self._state)
        return np.ascontiguousarray(out.reshape(len(planar), blocks, -1).swapaxes(0, 1))

    def reset(self) -> None:
        self._state[:] = 0.0

    def settle(self, floor: float) -> None:
        self._state[np.abs(self._state) < floor] = 0.0

    def is_at_rest(self) -> bool:
        return not self._state.any()


def k_filter(grid: Grid, *, channels: int) -> KFilter:
    """The quickest K filter for this rate."""
    b, a = k_coefficients(grid.rate_hz)
    if not grid.is_regular:
        return _PlainKFilter(b, a, channels)
    return BlockFilter(
        b, a, channels=channels, block_frames=grid.block_frames(0), run=grid.divisor_near(_RUN)
    )
