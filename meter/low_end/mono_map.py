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
_AT_ONCE: Final = 2
"""Columns that are worked out together where they have come: more would not stay in the processor's cache."""


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
        # Kept, since fresh memory takes as long as what is worked out in it.
        self._frames = np.empty((_AT_ONCE, SPECTRA, 2, self._length))
        self._spectra = np.empty((_AT_ONCE, SPECTRA, 2, self._length // 2 + 1), np.complex128)
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
        self._pending = np.zeros((2, 0))
        self._index = 0

    # --- the stream

    def process(self, samples: Floats, first_index: int) -> None:
        """Take what comes next. See `LowEndAnalysis.process`."""
        if self._pending.shape[1] == 0:
            self._index = first_index
        pending = np.concatenate([self._pending, samples.T], axis=1)
        columns = max((pending.shape[1] - self._needed) // self._column + 1, 0)
        for first in range(0, columns, _AT_ONCE):
            count = min(_AT_ONCE, columns - first)
            at = first * self._column
            powers = self._powers_of(pending, at, count)
            for k in range(count):
                self._keep(self._index + at + k * self._column, powers[k])
        at = columns * self._column
        self._index, self._pending = self._index + at, pending[:, at:].copy() if at else pending

    def gap(self) -> None:
        """What comes next does not follow on what came."""
        length = self._pending.shape[1]
        if length >= self._length:
            whole = min((length - self._length) // self._hop + 1, SPECTRA)
            padded = np.zeros((2, self._needed))
            padded[:, :length] = self._pending
            self._keep(self._index, self._powers_of(padded, 0, 1, whole=whole)[0])
        self._forget()

    def flush(self) -> None:
        """The pass has ended."""
        self.gap()

    def _powers_of(self, samples: Floats, first: int, columns: int, *, whole: int = SPECTRA) -> Floats:
        """Columns, shape (columns, 4, bands), of the spectra that are whole in each: all, or the first.

        Of samples of shape (2, n) from the first on, `_AT_ONCE` columns at most.
        """
        # Always as many for a column: the last bits must not hang on that.
        frames, spectra = self._frames[:columns], self._spectra[:columns]
        far, near = samples.strides
        strides = self._column * near, self._hop * near, far, near
        views = np.ndarray(frames.shape, samples.dtype, samples, offset=first * near, strides=strides)
        np.multiply(views, self._window, out=frames)
        frames[:, whole:] = 0.0
        np.fft.rfft(frames, out=spectra)
        needed = spectra[..., self._first_bin : self._first_bin + len(self._into_bands)]
        cross = needed[:, :, 0] * needed[:, :, 1].conj()
        products = np.empty((columns, SPECTRA, 4, len(self._into_bands)))
        np.add(np.square(needed.real), np.square(needed.imag), out=products[:, :, :2])
        products[:, :, 2], products[:, :, 3] = cross.real, cross.imag
        # Twice: half of the power is at the negative frequencies.
        return np.asarray((2.0 / whole * products.sum(axis=1)) @ self._into_bands, np.float64)

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
