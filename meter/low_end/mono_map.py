"""The cross-spectrum of left and right from 20 to 250 Hz, a column a second.

Each column is the mean of four spectra of half a second (Hann), half overlapped, in bands of a sixth of
an octave. Columns are kept for the whole pass: 350 bytes a second, 10 MB for eight hours.

Source
------
Welch's method: P. D. Welch 1967, IEEE Trans. Audio Electroacoust. 15:70 (cited, not read); the tests hold
it to `scipy.signal.csd`. The choice of bands is our own.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from meter.low_end.clock import LowClock
from meter.low_end.mono_records import Float32s, MonoMap
from meter.units import Floats

LOWEST_HZ: Final = 20.0
HIGHEST_HZ: Final = 250.0
BANDS_AN_OCTAVE: Final = 6
SPECTRA: Final = 4
"""In a column."""

_BANDS: Final = round(BANDS_AN_OCTAVE * np.log2(HIGHEST_HZ / LOWEST_HZ))
_GROWTH: Final = 256


def band_edges_hz() -> Floats:
    """Edges of the bands, one more than there are bands."""
    return np.geomspace(LOWEST_HZ, HIGHEST_HZ, _BANDS + 1)


def band_middles_hz() -> Floats:
    """Geometric middles of the bands."""
    edges = band_edges_hz()
    return np.asarray(np.sqrt(edges[1:] * edges[:-1]), np.float64)


class MonoMaps:
    """Makes the map of a pass. A part of `LowEndAnalysis`."""

    def __init__(self, clock: LowClock) -> None:
        self._clock = clock
        self._column = clock.count(1.0)
        self._hop = self._column // SPECTRA
        self._length = 2 * self._hop
        self._needed = self._column - self._hop + self._length  # the last spectrum reaches beyond its column
        window = np.hanning(self._length + 1)[:-1]
        self._window = window / np.sqrt((window**2).sum() * self._length)
        self._first_bin, self._into_bands = self._bins()
        self._at_s = np.zeros(0)
        self._powers: Float32s = np.zeros((0, _BANDS, 4), np.float32)
        self._count = 0
        self._forget()

    def _bins(self) -> tuple[int, Floats]:
        """The first bin that is needed, and the share of each in each band; a bin is as wide as its step."""
        step_hz = self._clock.rate_hz / self._length
        edges = band_edges_hz()
        first, last = int(edges[0] / step_hz), int(np.ceil(edges[-1] / step_hz)) + 1
        lower = (np.arange(first, last) - 0.5) * step_hz
        overlap = np.minimum(lower[:, None] + step_hz, edges[1:]) - np.maximum(lower[:, None], edges[:-1])
        return first, np.maximum(overlap, 0.0) / step_hz

    def _forget(self) -> None:
        self._pending = np.zeros((0, 2))
        self._index = 0

    # --- the stream

    def process(self, samples: Floats, first_index: int) -> None:
        """Take what comes next. See `LowEndAnalysis.process`."""
        if len(self._pending) == 0:
            self._index, self._pending = first_index, np.array(samples, np.float64)
        else:
            self._pending = np.concatenate([self._pending, samples])
        at = 0
        while len(self._pending) - at >= self._needed:
            self._take(self._pending[at : at + self._needed], self._index + at)
            at += self._column
        if at:
            self._index, self._pending = self._index + at, self._pending[at:].copy()

    def gap(self) -> None:
        """What comes next does not follow on what came."""
        if len(self._pending) >= self._length:
            self._take(self._pending[: self._needed], self._index)
        self._forget()

    def flush(self) -> None:
        """The pass has ended."""
        self.gap()

    def _take(self, samples: Floats, first_index: int) -> None:
        """A column of the spectra that are whole."""
        whole = (len(samples) - self._length) // self._hop + 1
        frames = np.zeros((SPECTRA, 2, self._length))  # always as many: the last bits must not hang on that
        for k in range(whole):
            frames[k] = samples[k * self._hop : k * self._hop + self._length].T * self._window
        spectra = np.fft.rfft(frames, axis=2)[:, :, self._first_bin : self._first_bin + len(self._into_bands)]
        left, right = spectra[:, 0], spectra[:, 1]
        cross = left * right.conj()
        products = np.stack([np.abs(left) ** 2, np.abs(right) ** 2, cross.real, cross.imag])
        # Twice: half of the power is at the negative frequencies.
        self._keep(first_index, (2.0 / whole * products.sum(axis=1)) @ self._into_bands)

    def _keep(self, first_index: int, powers: Floats) -> None:
        if self._count == len(self._at_s):
            # New arrays, since somebody may look at these.
            more = max(_GROWTH, self._count // 2)
            self._at_s = np.concatenate([self._at_s, np.zeros(more)])
            grown = np.zeros((more, _BANDS, 4), np.float32)
            self._powers = np.concatenate([self._powers, grown])
        self._at_s[self._count] = self._clock.at_s(first_index)
        self._powers[self._count] = powers.T
        self._count += 1

    def reading(self) -> MonoMap | None:
        """What is known now; views that never change."""
        if self._count == 0:
            return None
        return MonoMap(
            hz=band_middles_hz(), at_s=self._at_s[: self._count], powers=self._powers[: self._count]
        )
