"""Two files of the same music, before and after a limiter or a clipper: what was done to it.

The second is aligned to the first to a fraction of a sample, and its steady gain is taken off. What is
left is the gain change over time, what was taken off the peaks, and what is different in each band.
From one file none of this can be known.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.errors import UsageError
from meter.units import Floats, Samples, amplitude_to_db, db_to_amplitude, power_to_db, powers_to_db

WINDOW_S: Final = 0.010
"""Gain is told for windows so long."""
FARTHEST_S: Final = 1.0
"""The two may begin so far apart."""
ALIGN_S: Final = 20.0
HEARD_DB: Final = -40.0
"""A window so far under the highest says nothing of gain."""
BANDS_HZ: Final = ((20.0, 60.0), (60.0, 250.0), (250.0, 2000.0), (2000.0, 8000.0), (8000.0, 20_000.0))
LEAST_ALIKE: Final = 0.5
NOT_THE_SAME: Final = (
    "the two files are not the same music, or begin more than a second apart; render the same passage before "
    "and after"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What was found.

    Attributes
    ----------
    lag_frames : float
        How much later the second is.
    static_gain_db : float
        What the second is louder by where nothing was taken off.
    at_s, gain_db : ndarray, shape (n,)
        Gain change in each window, at most 0 but for what moves; nothing in quiet ones (NaN).
    peak_before_db, peak_after_db : float
        Highest sample of both, the second at the level of the first.
    residual_db : dict
        By band, what differs, against what the first has there.
    """

    lag_frames: float
    static_gain_db: float
    at_s: Floats
    gain_db: Floats
    peak_before_db: float
    peak_after_db: float
    residual_db: dict[str, float]

    @property
    def off_the_peaks_db(self) -> float:
        """What was taken off the highest peak."""
        return self.peak_before_db - self.peak_after_db

    @property
    def most_db(self) -> float:
        """The largest gain change, as a positive number; 0 where nothing was taken off."""
        known = self.gain_db[~np.isnan(self.gain_db)]
        return max(-float(known.min()), 0.0) if len(known) else 0.0


def compare(before: Samples, after: Samples, *, rate_hz: int) -> Compared:
    """Compare two recordings of the same music.

    Parameters
    ----------
    before, after : ndarray, shape (frames, channels)
        Same rate, same number of channels.

    Raises
    ------
    UsageError
        They differ in channels, or are not the same music.
    """
    if before.shape[1] != after.shape[1]:
        raise UsageError(
            f"one file has {before.shape[1]} channels and the other {after.shape[1]}, but two alike "
            "were expected; render both alike"
        )
    window = max(round(WINDOW_S * rate_hz), 1)
    shortest = min(len(before), len(after))
    if shortest < window:
        raise UsageError(
            f"one of the files lasts {1000.0 * shortest / rate_hz:.1f} ms, but {1000.0 * WINDOW_S:.0f} ms "
            "of the same music were expected in both; render a longer passage"
        )
    lag = _lag(before, after, rate_hz)
    first, second = _aligned(before.astype(np.float64), after.astype(np.float64), lag)
    if len(first) < window:
        raise UsageError(NOT_THE_SAME)
    peaks_before, peaks_after = _window_peaks(first, window), _window_peaks(second, window)
    gain = _static_gain(first, second, window)
    second = second / gain
    peaks_after = peaks_after / gain
    is_heard = peaks_before > peaks_before.max(initial=0.0) * db_to_amplitude(HEARD_DB)
    gain_db = np.full(len(peaks_before), np.nan)
    ratio = np.maximum(peaks_after[is_heard], 1e-9) / peaks_before[is_heard]
    gain_db[is_heard] = 2.0 * powers_to_db(ratio)
    return Compared(
        lag_frames=lag,
        static_gain_db=amplitude_to_db(gain),
        at_s=np.arange(len(gain_db)) * window / rate_hz,
        gain_db=gain_db,
        peak_before_db=amplitude_to_db(float(np.abs(first).max(initial=0.0))),
        peak_after_db=amplitude_to_db(float(np.abs(second).max(initial=0.0))),
        residual_db=_residuals(first, second, rate_hz),
    )


def _lag(before: Samples, after: Samples, rate_hz: int) -> float:
    """How many frames later the second is: the peak of the correlation, between the samples too."""
    from scipy import fft

    count = min(len(before), len(after), round(ALIGN_S * rate_hz))
    one, two = (x[:count].mean(axis=1, dtype=np.float64) for x in (before, after))
    size = fft.next_fast_len(2 * count, real=True)
    spectrum = np.conj(fft.rfft(one, size)) * fft.rfft(two, size)
    farthest = min(round(FARTHEST_S * rate_hz), count - 1)
    found = fft.irfft(spectrum, size)
    around = np.concatenate([found[size - farthest :], found[: farthest + 1]])
    at = int(around.argmax())
    alike = float(around[at]) / max(math.sqrt(float(one @ one) * float(two @ two)), 1e-30)
    if alike < LEAST_ALIKE:
        raise UsageError(NOT_THE_SAME)
    return at - farthest + _between(spectrum, at - farthest, size)


def _between(spectrum: np.ndarray[tuple[int], np.dtype[np.complex128]], lag: int, size: int) -> float:
    """The fraction of a sample, from the slope of the phase weighted by the power."""
    omega = 2.0 * np.pi * np.arange(len(spectrum)) / size
    power = np.abs(spectrum)
    turned = spectrum * np.exp(1j * omega * lag)
    phase = np.where(power > 0.0, np.angle(turned), 0.0)
    is_low = omega < np.pi / 2.0
    weight = power * omega * is_low
    total = float((weight * omega).sum())
    fraction = -float((weight * phase).sum()) / total if total > 0.0 else 0.0
    return float(np.clip(fraction, -0.5, 0.5)) if abs(fraction) > 1e-3 else 0.0


def _aligned(before: Floats, after: Floats, lag: float) -> tuple[Floats, Floats]:
    """Both from the first common frame on; the second moved by the fraction too."""
    from scipy import fft

    whole = math.floor(lag + 0.5)
    fraction = lag - whole
    if whole >= 0:
        after = after[whole:]
    else:
        before = before[-whole:]
    count = min(len(before), len(after))
    before, after = before[:count], after[:count]
    if fraction and count:
        size = fft.next_fast_len(count + 256, real=True)
        omega = 2.0 * np.pi * np.arange(size // 2 + 1) / size
        turned = fft.rfft(after, size, axis=0) * np.exp(1j * omega * fraction)[:, None]
        after = np.asarray(fft.irfft(turned, size, axis=0)[:count], np.float64)
    return before, after


def _window_peaks(samples: Floats, window: int) -> Floats:
    count = len(samples) // window
    return np.asarray(np.abs(samples[: count * window]).reshape(count, -1).max(axis=1), np.float64)


def _static_gain(first: Floats, second: Floats, window: int) -> float:
    """The gain of windows that nothing was taken off: the most frequent, in the quieter ones."""
    count = len(first) // window
    energies = [
        (x[: count * window].reshape(count, -1) ** 2).sum(axis=1) for x in (first, second)
    ]
    is_heard = energies[0] > energies[0].max(initial=0.0) * 10.0 ** (HEARD_DB / 10.0)
    if not is_heard.any():
        return 1.0
    gains_db = powers_to_db(np.maximum(energies[1][is_heard], 1e-30) / energies[0][is_heard])
    bins = np.round(gains_db / 0.02).astype(np.int64)
    values, counts = np.unique(bins, return_counts=True)
    # What was taken off lies below, so of bins alike in number the highest counts.
    often = values[counts >= max(counts.max() * 0.5, 1)]
    chosen = gains_db[np.abs(bins - often.max()) <= 1]
    return db_to_amplitude(float(np.median(chosen)))


def _residuals(first: Floats, second: Floats, rate_hz: int) -> dict[str, float]:
    from scipy import fft

    spectra = [np.abs(fft.rfft(x, axis=0)) ** 2 for x in (second - first, first)]
    hz = fft.rfftfreq(len(first), 1.0 / rate_hz)
    made = {}
    for low, high in BANDS_HZ:
        inside = (hz >= low) & (hz < high)
        there, own = (float(one[inside].sum()) for one in spectra)
        if own > 0.0:
            made[f"{low:g}-{high:g}"] = power_to_db(there / own)
    return made
