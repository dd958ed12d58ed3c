"""The peak of the waveform between the samples, the slow way: 32-fold interpolation.

Every point that `scipy.signal.resample_poly(samples, 32, 1, window=filter_taps(...))` gives, worked
out as a matrix product and without keeping them. The filter is flat to a band edge and 80 dB down
from that edge's mirror image at half the rate, so that the samples themselves stay as they are. No
document fixes the edge: between it and half the rate the peak is a matter of the converter.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil
from typing import Final

import numpy as np
from scipy import signal

FACTOR: Final = 32
STOP_DB: Final = 80.0
BAND_EDGE: Final = 0.48
"""Share of the rate. With 0.48 the filter has 63 samples on each side of a point."""

_STEP = 4096  # frames at a time, so that they stay in the processor's nearest memory


def filter_taps(band_edge: float = BAND_EDGE) -> np.ndarray:
    """The filter at 32 times the rate, as `scipy.signal.resample_poly` takes it."""
    count, beta = signal.kaiserord(STOP_DB, 2.0 * (1.0 - 2.0 * band_edge) / FACTOR)
    half = ceil(count / 2 / FACTOR)
    return np.asarray(signal.firwin(2 * half * FACTOR + 1, 1.0 / FACTOR, window=("kaiser", beta)))


@lru_cache(maxsize=8)
def _kernel(band_edge: float) -> np.ndarray:
    """From a run of samples to the 32 points behind its middle one."""
    taps = np.append(FACTOR * filter_taps(band_edge), np.zeros(FACTOR - 1))
    return np.ascontiguousarray(taps.reshape(-1, FACTOR)[::-1], np.float32)


def peak(samples: np.ndarray, *, band_edge: float = BAND_EDGE) -> float:
    """Highest magnitude of one channel, shape (n,)."""
    kernel = _kernel(band_edge)
    half = len(kernel) // 2
    padded = np.pad(samples.astype(np.float32), half)
    runs = np.lib.stride_tricks.sliding_window_view(padded, len(kernel))
    highest = 0.0
    for start in range(0, len(runs), _STEP):
        points = np.ascontiguousarray(runs[start : start + _STEP]) @ kernel
        highest = max(highest, float(points.max()), -float(points.min()))
    return highest
