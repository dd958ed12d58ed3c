"""Third-octave levels of a piece of sound: its spectrum in bands as wide as the ear takes together.

One Fourier transform of the whole piece, whose energy is summed between the exact band edges: the
mean square behind ideal band-pass filters. By Parseval's theorem the bands of any sound add up to
its mean square, and a bin that an edge cuts is shared by its parts.

Source
------
Band edges: IEC 61260-1:2014, base ten (from memory, see `meter.standards.iec_61260_1_2014`). The filters of
that standard have slopes where these have none; of broad sound both read the same, of a sine near
an edge they share it between two bands.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy import fft

from meter.standards import iec_61260_1_2014 as iec
from meter.units import Floats, Samples

FADE_S: Final = 0.5
FADE_SHARE: Final = 0.1
"""Both ends fade in and out, so that cutting it out of the tune rings into no other band; over a tenth of
the length where that is less."""

CELLS_A_BAND: Final = 4.0
"""A band narrower than so many times what the length can tell apart has no level."""


def third_octave_powers(
    samples: Samples, *, rate_hz: int, weights: Sequence[float] | None = None
) -> Floats:
    """Mean square in each third-octave band from nominal 20 Hz to 20 kHz.

    Parameters
    ----------
    samples : ndarray, shape (frames, channels)
        Full scale 1.0.
    rate_hz : int
    weights : sequence of float, optional
        How much each channel counts, as in the loudness; every one 1 unless given.

    Returns
    -------
    ndarray, shape (31,)
        Summed over the channels. NaN for a band that reaches above half the rate, or is too narrow
        for so short a piece.
    """
    frames, channels = samples.shape
    indices = iec.indices()
    edges_hz = np.array([iec.edges_hz(index) for index in indices])
    if frames == 0:
        return np.full(len(indices), np.nan)
    shares = np.ones(channels) if weights is None else np.asarray(weights, np.float64)
    window = _window(frames, rate_hz)
    size = int(fft.next_fast_len(frames, real=True))
    energies = np.zeros(size // 2 + 1)
    for channel in np.flatnonzero(shares):
        spectrum = fft.rfft(samples[:, channel].astype(np.float64) * window, size)
        energies += shares[channel] * (spectrum.real**2 + spectrum.imag**2)
    energies[1 : (size + 1) // 2] *= 2.0  # the negative frequencies
    powers = energies / (size * np.square(window).sum())
    made = _between(powers, edges_hz, rate_hz / size)
    widths_hz = edges_hz[:, 1] - edges_hz[:, 0]
    is_told = (edges_hz[:, 1] <= rate_hz / 2.0) & (widths_hz * frames / rate_hz >= CELLS_A_BAND)
    return np.where(is_told, made, np.nan)


def _window(frames: int, rate_hz: int) -> Floats:
    """Ones with a fade of half a cosine at both ends."""
    fade = min(round(FADE_S * rate_hz), int(FADE_SHARE * frames))
    window = np.ones(frames)
    slope = np.square(np.sin(0.5 * np.pi * (np.arange(fade) + 0.5) / max(fade, 1)))
    window[:fade] = slope
    window[frames - fade :] = slope[::-1]
    return window


def _between(powers: Floats, edges_hz: Floats, bin_hz: float) -> Floats:
    """Power between two edges; a bin is as wide as the distance to the next, half of it on each side."""
    made = np.zeros(len(edges_hz))
    for band, (low, high) in enumerate(np.minimum(edges_hz / bin_hz + 0.5, len(powers))):
        first, last = int(low), min(int(high), len(powers) - 1)
        part = powers[first : last + 1].copy()
        if len(part):
            part[-1] *= high - last
            part[0] -= powers[first] * (low - first)
            made[band] = part.sum()
    return made
