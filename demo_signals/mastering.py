"""The mastering stage of the demo: soft saturation, a DC filter, a look-ahead true-peak limiter.

It is there so that the tune has the level of a finished master; it is no measure. Its
peak detector is a plain four-times oversampling, enough to keep a ceiling.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from demo_signals.pattern import RATE_HZ
from meter.units import db_to_amplitude, powers_to_db

CEILING_DBTP: Final = -0.7
"""Where the limiter holds true peaks; what it lets through on moving gain stays under -0.3."""

DC_EDGE_HZ: Final = 3.0

ATTACK_S: Final = 0.004
"""Look-ahead: the gain falls this long before a peak."""

RELEASE_DB_S: Final = 90.0
"""How fast the gain comes back."""

_CELL: Final = 8
"""Frames that share one gain value before interpolation."""

_PHASES: Final = 4
_TAPS: Final = 24

Block = npt.NDArray[np.float32]


def saturate(mix: Block) -> None:
    """Soft saturation in place: the hyperbolic tangent, slope 1 at 0, nothing above 1."""
    np.tanh(mix, out=mix)


def remove_dc(mix: Block) -> None:
    """High-pass in place: saturated kicks leave some DC behind.

    Low and gentle, because a steeper one tilts the flat tops of the saturated sub, and the
    limiter then has to give away a decibel.
    """
    from scipy.signal import butter, sosfilt

    sos = butter(1, DC_EDGE_HZ, "highpass", fs=RATE_HZ, output="sos")
    for side in (0, 1):
        mix[:, side] = sosfilt(sos, mix[:, side].astype(np.float64))


def limit(mix: Block) -> None:
    """Hold the true peaks of both channels under `CEILING_DBTP`, in place, with one gain for both."""
    from scipy.ndimage import maximum_filter1d, uniform_filter1d

    peaks = _cell_peaks(mix)
    over_db = np.maximum(0.0, powers_to_db(peaks**2) - CEILING_DBTP)
    # Release as a straight line in dB: a running maximum of values that are tilted up.
    tilt_db = np.arange(len(over_db)) * (RELEASE_DB_S * _CELL / RATE_HZ)
    held_db = np.maximum.accumulate(over_db + tilt_db) - tilt_db
    # Every value that the average takes in is a maximum over the peak at hand, so the
    # average cannot be less than the peak asks for; one cell more for the interpolation.
    half = round(ATTACK_S * RATE_HZ / _CELL)
    reduce_db = uniform_filter1d(maximum_filter1d(held_db, 2 * half + 3), 2 * half + 1, mode="nearest")
    _apply(mix, np.power(10.0, reduce_db / -20.0))


def _apply(mix: Block, cell_gain: npt.NDArray[np.float64]) -> None:
    chunk = 1 << 16
    centres = (np.arange(len(cell_gain)) + 0.5) * _CELL
    for start in range(0, len(mix), chunk):
        stop = min(start + chunk, len(mix))
        near = slice(max(0, start // _CELL - 2), stop // _CELL + 2)
        gain = np.interp(np.arange(start, stop), centres[near], cell_gain[near])
        mix[start:stop] *= gain.astype(np.float32)[:, None]


def _kernels() -> list[Block]:
    """Windowed-sinc interpolators for the points between two samples."""
    place = np.arange(_TAPS) - (_TAPS / 2 - 1)
    kernels = []
    for offset in np.arange(1, _PHASES) / _PHASES:
        away = place - offset
        window = np.i0(7.0 * np.sqrt(1.0 - (away / (_TAPS / 2)) ** 2)) / np.i0(7.0)
        kernels.append((np.sinc(away) * window)[::-1].astype(np.float32))
    return kernels


def _cell_peaks(mix: Block) -> npt.NDArray[np.float64]:
    """Highest true peak of either channel in each cell, shape (cells,)."""
    cells = -(-len(mix) // _CELL)
    chunk, before = 1 << 16, _TAPS // 2 - 1
    peaks = np.empty(cells)
    padded = np.zeros((cells * _CELL + _TAPS, 2), np.float32)
    padded[before : before + len(mix)] = mix
    kernels = _kernels()
    floor = 0.5 * db_to_amplitude(CEILING_DBTP)
    for start in range(0, cells * _CELL, chunk):
        stop = min(start + chunk, cells * _CELL)
        near = padded[start : stop + _TAPS - 1]
        highest = np.abs(near[before : before + stop - start]).max(axis=1)
        if highest.max() > floor:
            for side in (0, 1):
                column = np.ascontiguousarray(near[:, side])
                for kernel in kernels:
                    np.maximum(highest, np.abs(np.convolve(column, kernel, "valid")), out=highest)
        peaks[start // _CELL : stop // _CELL] = highest.reshape(-1, _CELL).max(axis=1)
    return peaks
