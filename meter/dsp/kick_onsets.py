"""Where a kick may begin: the low signal looked at every 5 ms in seven bands.

A kick is a fall: it starts in the hundreds of Hz and settles under 130 Hz, while a snare stays where it
began and a bass note has no fall at all. What a moment looks like, from 43 ms before it to 96 ms after it, is
weighed by a small network (`meter.dsp.kick_shape`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.kick_shape import scores_of
from meter.units import Floats, powers_to_db

STEPS_A_SECOND: Final = 187.5
PARTS: Final = 4
"""Steps in a window: 21 ms, so its bins are 46.9 Hz apart at every rate."""
CHUNK: Final = 256
"""Steps that are taken at once: the arithmetic has one shape, so that no sum depends on the cutting."""
EDGES: Final = (1, 2, 3, 4, 6, 9, 14, 31)
"""First bin of each band, and behind the last: from 23 Hz to 1430 Hz."""
BANDS: Final = len(EDGES) - 1
BEFORE: Final = 8
AFTER: Final = 18
"""Steps that are looked at around one."""
MOMENTS: Final = (0, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 22)
"""The same in fewer pieces: first step of each, counted from the first that is looked at."""
FLOOR_DB: Final = -40.0
"""What is further under the loudest step of the moment counts as so far."""
LEAST_RISE: Final = 0.12
"""A rise must be this share of the highest lately."""
QUIETEST_RISE: Final = 3e-4
HOLD_STEPS: Final = 4.0 * STEPS_A_SECOND
"""What is lately: it fades over 4 s."""
NEIGHBOURS: Final = 5
"""A rise is the highest among so many steps on both sides."""
KEPT: Final = BEFORE + AFTER + NEIGHBOURS + 1
"""Steps of the past that a chunk needs."""

_LENGTHS = np.diff([*MOMENTS, BEFORE + AFTER]).astype(np.float64)[:, None]


def step_frames(rate_hz: float) -> int:
    """Samples in a step."""
    return round(rate_hz / STEPS_A_SECOND)


class BandPowers:
    """Power in the bands, step after step.

    Parameters
    ----------
    rate_hz : float
        Of the low signal, about 3 kHz.
    """

    def __init__(self, rate_hz: float) -> None:
        self._step = step_frames(rate_hz)
        width = PARTS * self._step
        at = np.arange(width)[:, None]
        turns = 2.0 * np.pi * at * np.arange(EDGES[0], EDGES[-1]) / width
        window = (0.5 - 0.5 * np.cos(2.0 * np.pi * at / width)) * (4.0 / width)
        kernel = np.concatenate([window * np.cos(turns), window * np.sin(turns)], axis=1)
        self._kernel = kernel.astype(np.float32)
        self._edges = [edge - EDGES[0] for edge in EDGES[:-1]]
        self._frames = np.empty((CHUNK, width), np.float32)
        self._past = np.zeros(width - self._step)

    def process(self, samples: Floats) -> Floats:
        """Powers of shape (CHUNK, BANDS) from CHUNK·step samples; row k ends with step k."""
        joined = np.concatenate([self._past, samples])
        self._past = joined[len(samples) :]
        item = joined.itemsize
        shape, strides = self._frames.shape, (self._step * item, item)
        self._frames[:] = np.ndarray(shape, joined.dtype, joined, strides=strides)
        parts = self._frames @ self._kernel
        parts *= parts
        powers = parts[:, : EDGES[-1] - EDGES[0]] + parts[:, EDGES[-1] - EDGES[0] :]
        return np.add.reduceat(powers, self._edges, axis=1).astype(np.float64)


class _Lately:
    """The highest value, fading."""

    def __init__(self) -> None:
        self._fade = np.exp(-np.arange(CHUNK + 1) / HOLD_STEPS)
        self._highest = 0.0

    def process(self, values: Floats) -> Floats:
        """Take CHUNK values; the highest so far at each."""
        joined = np.concatenate([[self._highest], values]) / self._fade
        highest = np.maximum.accumulate(joined) * self._fade
        self._highest = float(highest[-1])
        return np.asarray(highest[1:], np.float64)


class OnsetFinder:
    """Moments at which something begins in the low end, with their scores.

    Parameters
    ----------
    rate_hz : float
        Of the low signal.

    Attributes
    ----------
    chunk_frames : int
        Samples to give at a time.
    """

    def __init__(self, rate_hz: float) -> None:
        self._step = step_frames(rate_hz)
        self.chunk_frames = CHUNK * self._step
        self._bands = BandPowers(rate_hz)
        self._powers = np.zeros((KEPT, BANDS))
        self._rises = np.zeros(KEPT)
        self._highs = np.zeros(KEPT)
        self._louds = np.zeros(KEPT)
        self._highest, self._loudest = _Lately(), _Lately()
        self._first = -KEPT  # step of the first row that is kept

    def process(self, samples: Floats) -> list[tuple[int, float]]:
        """Take a chunk of samples; the moments that are known now, 0.2 s later at most.

        Returns
        -------
        list of (int, float)
            Sample at which it begins (within 8 ms), and the score: above 0 rather a kick than none.
        """
        self._powers = np.concatenate([self._powers, self._bands.process(samples)])
        rises = _rises(self._powers[KEPT - 8 :])
        self._rises = np.concatenate([self._rises, rises])
        self._highs = np.concatenate([self._highs, self._highest.process(rises)])
        self._louds = np.concatenate([self._louds, self._loudest.process(self._powers[KEPT:].sum(axis=1))])
        first = NEIGHBOURS + BEFORE + 1
        part = slice(first, first + CHUNK)
        tops = _highest_around(self._rises[first - NEIGHBOURS : first + CHUNK + NEIGHBOURS])
        least = np.maximum(LEAST_RISE * self._highs[part], QUIETEST_RISE)
        mine = self._rises[part]
        found = np.flatnonzero((mine >= tops) & (mine >= least)) + first
        scores = self._scores(found) if len(found) else np.zeros(0)
        told = [
            (self._sample(self._first + int(at)), float(score))
            for at, score in zip(found, scores, strict=True)
        ]
        self._powers, self._rises = self._powers[CHUNK:], self._rises[CHUNK:]
        self._highs, self._louds = self._highs[CHUNK:], self._louds[CHUNK:]
        self._first += CHUNK
        return told

    def _scores(self, found: npt.NDArray[np.int64]) -> Floats:
        return scores_of(self.numbers_of(found))

    def numbers_of(self, found: npt.NDArray[np.int64]) -> Floats:
        """What is weighed of each moment, shape (n, len(MOMENTS)·BANDS + 1)."""
        moments = self._powers[found[:, None] + np.arange(-BEFORE, AFTER)]
        shapes, loudest = shapes_of(moments)
        under_db = powers_to_db(loudest / np.maximum(self._louds[found], 1e-30))
        level_db = np.clip(under_db, FLOOR_DB, 0.0)[:, None]
        return np.concatenate([shapes.reshape(len(found), -1), level_db], axis=1)

    def _sample(self, step: int) -> int:
        """Where the rise of a step begins: the middle of its window, less half a step."""
        return max((step + 1 - PARTS // 2) * self._step - self._step // 2, 0)


def _highest_around(values: Floats) -> Floats:
    """The highest within `NEIGHBOURS` on both sides; as many fewer at both ends."""
    pairs = np.maximum(values[:-1], values[1:])
    fours = np.maximum(pairs[:-2], pairs[2:])
    eights = np.maximum(fours[:-4], fours[4:])
    return np.asarray(np.maximum(eights[:-3], eights[3:]), np.float64)


def _rises(powers: Floats) -> Floats:
    """How much amplitude came in the bands from 70 to 400 Hz, against 16 to 43 ms before.

    Parameters
    ----------
    powers : ndarray, shape (8 + n, BANDS)

    Returns
    -------
    ndarray, shape (n,)
    """
    amplitudes = np.sqrt(powers[:, 1:5])
    before = amplitudes[: len(amplitudes) - 8].copy()
    for k in range(1, 5):
        before += amplitudes[k : len(amplitudes) - 8 + k]
    rise = np.maximum(amplitudes[8:] - 0.2 * before, 0.0)
    return np.asarray(rise[:, 0] + rise[:, 1] + rise[:, 2] + rise[:, 3], np.float64)


def shapes_of(moments: Floats) -> tuple[Floats, Floats]:
    """What moments look like, in dB under the loudest step of each, and the power of that.

    Parameters
    ----------
    moments : ndarray, shape (n, BEFORE + AFTER, BANDS)

    Returns
    -------
    shapes : ndarray, shape (n, len(MOMENTS), BANDS)
    loudest : ndarray, shape (n,)
    """
    loudest = moments.sum(axis=2).max(axis=1)
    level_db = powers_to_db(moments / np.maximum(loudest, 1e-30)[:, None, None] + 1e-9)
    np.maximum(level_db, FLOOR_DB, out=level_db)
    return np.add.reduceat(level_db, MOMENTS, axis=1) / _LENGTHS, loudest
