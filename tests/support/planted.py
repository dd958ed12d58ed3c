"""Clean bars of the demo tune, and faults planted into them where a test wants them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

import demo_signals
from demo_signals.pattern import bar_to_s
from meter.units import Floats, db_to_amplitude

RATE_HZ = demo_signals.RATE_HZ
CLEAN_BARS = (21, 37)
"""The second half of the build and the first of the drop: nothing is wrong there."""

FADE_FRAMES = 240
LEVEL_DB = -6.0
"""Room for what a planted fault does to the peaks."""


@dataclass(frozen=True, slots=True)
class Planted:
    """What was planted, and where."""

    kind: str
    start_s: float
    end_s: float


@cache
def clean(times: int = 4) -> Floats:
    """The clean bars, so many times; about 22 s each."""
    first, last = (round(bar_to_s(bar) * RATE_HZ) for bar in CLEAN_BARS)
    part = demo_signals.render()[first:last].astype(np.float64) * db_to_amplitude(LEVEL_DB)
    return np.concatenate([part] * times)


@cache
def low_end(times: int = 4) -> Floats:
    """The same below 250 Hz, without any delay."""
    from scipy.signal import butter, sosfiltfilt

    return np.asarray(sosfiltfilt(butter(4, 250.0, fs=RATE_HZ, output="sos"), clean(times), axis=0))


def _share(samples: Floats, start_s: float, end_s: float) -> Floats:
    """1 inside, 0 outside, with short fades."""
    share = np.zeros(len(samples))
    share[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)] = 1.0
    return np.convolve(share, np.full(FADE_FRAMES, 1.0 / FADE_FRAMES), "same")


def flip_low_end(samples: Floats, start_s: float, end_s: float) -> Planted:
    """The low end of the right channel upside down."""
    samples[:, 1] -= 2.0 * low_end()[:, 1] * _share(samples, start_s, end_s)
    return Planted("lost in mono", start_s, end_s)


def low_end_left_only(samples: Floats, start_s: float, end_s: float) -> Planted:
    """No low end in the right channel."""
    samples[:, 1] -= low_end()[:, 1] * _share(samples, start_s, end_s)
    return Planted("lost in mono", start_s, end_s)


def lower_one_side(
    samples: Floats, start_s: float, end_s: float, *, side: int = 0, db: float = 14.0
) -> Planted:
    """One channel lower, the left one unless told otherwise."""
    samples[:, side] *= 1.0 - _share(samples, start_s, end_s) * (1.0 - db_to_amplitude(-db))
    return Planted("one-sided", start_s, end_s)


def silence_all(samples: Floats, start_s: float, end_s: float) -> Planted:
    """Digital silence."""
    samples[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)] = 0.0
    return Planted("silence", start_s, end_s)


def over(samples: Floats, at_s: float) -> Planted:
    """A click above full scale."""
    at = round(at_s * RATE_HZ)
    samples[at : at + 8, 1] = 1.25
    return Planted("over", at_s, at_s + 8 / RATE_HZ)
