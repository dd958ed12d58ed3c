"""Readings of the demo tune that share nothing with `meter`: plain whole-array arithmetic.

Sources: K-weighting coefficients at 48 kHz, the constant -0.691 and the windows of 0.4 s and
3 s: ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2, and EBU Tech 3341 v4 (facts.md 1.1,
1.2, 2.2); held to pyloudnorm by a test. Fold loss: the definition of our own in design.md 2,
LR4 low-pass at 120 Hz and LR4 high-pass at 20 Hz (CALC, facts.md 5.13).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import signal

from demo_signals import RATE_HZ

STEP = RATE_HZ // 10
SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])


def db(power):
    return 10.0 * np.log10(np.maximum(power, 1e-30))


def cut(tune, start_s, end_s):
    return tune[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)]


def k_power(tune):
    """K-weighted power of both channels together, shape (frames,)."""
    weighted = signal.lfilter(*HIGH_PASS, signal.lfilter(*SHELF, tune.astype(float), axis=0), axis=0)
    return (weighted**2).sum(axis=1)


def windows(values, seconds):
    """Mean of each window, every 100 ms: (start in s, end in s, mean)."""
    length = round(seconds * RATE_HZ)
    total = np.concatenate(([0.0], np.cumsum(values)))
    starts = np.arange(0, len(values) - length, STEP)
    return starts / RATE_HZ, starts / RATE_HZ + seconds, (total[starts + length] - total[starts]) / length


def below_120_hz(tune):
    """Left and right through both Linkwitz-Riley filters."""
    low = tune.astype(float)
    for kind, edge_hz in (("high", 20.0), ("high", 20.0), ("low", 120.0), ("low", 120.0)):
        low = signal.sosfilt(signal.butter(2, edge_hz, kind, fs=RATE_HZ, output="sos"), low, axis=0)
    return low


def fold_loss_db(low):
    left, right = low.T
    return float(db(((left + right) ** 2).sum() / (2 * (left**2 + right**2).sum())))


def fold_loss_windows(low):
    """Fold loss of each window of 3 s, and its level: (start, end, fold loss in dB, level in dB)."""
    left, right = low.T
    start, end, both = windows(left**2 + right**2, 3.0)
    summed = windows((left + right) ** 2, 3.0)[2]
    return start, end, db(summed / np.maximum(2 * both, 1e-30)), db(both)


def true_peaks(tune, times=8):
    """Highest peak of either channel in each 10 ms, by polyphase oversampling in pieces."""
    piece, margin, cell = 480_000, 480, RATE_HZ // 100
    peaks = []
    for start in range(0, len(tune), piece):
        first = max(0, start - margin)
        near = signal.resample_poly(tune[first : start + piece + margin], times, 1, axis=0)
        near = np.abs(near[(start - first) * times :][: piece * times]).max(axis=1)
        whole = len(near) // (cell * times) * (cell * times)
        peaks.append(near[:whole].reshape(-1, cell * times).max(axis=1))
    return np.concatenate(peaks)


LOW_RATE_HZ = RATE_HZ // 20


def low_part(mono, edge_hz):
    """What lies below an edge of at most 220 Hz, without delay, at `LOW_RATE_HZ`."""
    sos = signal.butter(3, edge_hz, fs=RATE_HZ, output="sos")
    return signal.sosfiltfilt(sos, mono.astype(float))[::20]


def low_cut(mono, start_s, end_s):
    return mono[round(start_s * LOW_RATE_HZ) : round(end_s * LOW_RATE_HZ)]


def steady_hz(mono, around_hz):
    """Frequency of the one tone near `around_hz`: slope of the phase after shifting it to 0 Hz."""
    t = np.arange(len(mono)) / LOW_RATE_HZ
    shifted = mono * np.exp(-2j * np.pi * around_hz * t)
    # A Hann window three periods long takes the mirror image and the neighbours away.
    tone = np.convolve(shifted, np.hanning(round(3 * LOW_RATE_HZ / around_hz)), "valid")
    phase = np.unwrap(np.angle(tone))
    slope = np.polyfit(np.arange(len(phase)) / LOW_RATE_HZ, phase, 1, w=np.abs(tone))[0]
    return around_hz + slope / (2 * np.pi)


TRIED_HZ = np.arange(40.0, 130.0, 0.25)


@lru_cache
def decaying_waves(frames):
    """For each tried frequency two waves, at right angles, that span its decaying sines of any phase."""
    t = np.arange(frames) / LOW_RATE_HZ
    periods = TRIED_HZ[:, None] * t
    turning = np.exp((2j * np.pi - 1.0 / 8.0) * periods)
    return np.linalg.qr(np.stack([turning.real, turning.imag], axis=2))[0]


def settling_hz(mono):
    """The decaying sine that fits a short piece best, of all from 40 to 130 Hz by steps of 0.25."""
    fitted_power = ((mono @ decaying_waves(len(mono))) ** 2).sum(axis=1)
    return float(TRIED_HZ[np.argmax(fitted_power)])
