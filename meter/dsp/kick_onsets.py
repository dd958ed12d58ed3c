"""Where a kick may begin: the low signal looked at every 5 ms in seven bands.

A kick is a fall: it starts in the hundreds of Hz and settles under 130 Hz, while a snare stays where it
began and a bass note has no fall at all. What a moment looks like, from 43 ms before it to 96 ms after it, is
weighed by a small network (`meter.dsp.kick_shape`).
"""

from __future__ import annotations

from functools import reduce
from itertools import groupby, pairwise
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

Places = npt.NDArray[np.intp]

_LENGTHS: Final = np.diff([*MOMENTS, BEFORE + AFTER]).astype(np.float64)[:, None]
_RUNS: Final = tuple(
    (run[0], run[-1] + 1, int(length))
    for length, alike in groupby(range(len(MOMENTS)), lambda k: _LENGTHS[k, 0])
    for run in [list(alike)]
)
"""Moments of one length that follow on each other: the first, behind the last, and the length."""
_AROUND: Final = np.arange(-BEFORE, AFTER)[:, None]


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
        self._kernel = kernel.astype(np.float32).T
        # Kept, since fresh memory takes as long as what is worked out in it.
        self._frames = np.empty((CHUNK, width), np.float32)
        self._parts = np.empty((len(self._kernel), CHUNK), np.float32)
        self._past = np.zeros(width - self._step)

    def process(self, samples: Floats) -> Floats:
        """Powers of shape (BANDS, n·CHUNK) from n·CHUNK·step samples; column k ends with step k."""
        joined = np.concatenate([self._past, samples])
        self._past = joined[len(samples) :]
        step, item = self._step, joined.itemsize
        shape = (len(samples) // (CHUNK * step), *self._frames.shape)
        strides = (CHUNK * step * item, step * item, item)
        frames = np.ndarray(shape, joined.dtype, joined, strides=strides)
        bins = EDGES[-1] - EDGES[0]
        powers = np.empty((bins, len(frames), CHUNK), np.float32)
        for k, part in enumerate(frames):
            self._frames[:] = part
            np.matmul(self._kernel, self._frames.T, out=self._parts)
            np.square(self._parts, out=self._parts)
            np.add(self._parts[:bins], self._parts[bins:], out=powers[:, k])
        made = np.empty((BANDS, *powers.shape[1:]))
        for band, (first, stop) in enumerate(pairwise(EDGES)):
            made[band] = _sum_of(powers[first - EDGES[0] : stop - EDGES[0]])
        return made.reshape(BANDS, -1)


def _sum_of(rows: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """Sum along the first axis, in the order of `numpy.add.reduceat` along the last, which takes longer."""
    rest = rows[1:]
    if len(rest) == 16:
        rest = rest[:8] + rest[8:]
        while len(rest) > 1:
            rest = rest[::2] + rest[1::2]
    return reduce(np.add, (reduce(np.add, rest), rows[0])) if len(rest) else rows[0]


class _Lately:
    """The highest value, fading."""

    def __init__(self) -> None:
        self._fade = np.exp(-np.arange(1, CHUNK + 1) / HOLD_STEPS)
        self._highest = 0.0

    def process(self, values: Floats) -> Floats:
        """Take n·CHUNK values; the highest so far at each."""
        # In each chunk as if the fading began with it: so the last bits are the same however many come.
        highest = np.maximum.accumulate(values.reshape(-1, CHUNK) / self._fade, axis=1)
        for row in highest:
            np.maximum(row, self._highest, out=row)
            row *= self._fade
            self._highest = float(row[-1])
        return np.asarray(highest.reshape(-1), np.float64)


class OnsetFinder:
    """Moments at which something begins in the low end, with their scores.

    Parameters
    ----------
    rate_hz : float
        Of the low signal.

    Attributes
    ----------
    chunk_frames : int
        Samples to give at a time, or any multiple of it.
    """

    def __init__(self, rate_hz: float) -> None:
        self._step = step_frames(rate_hz)
        self.chunk_frames = CHUNK * self._step
        self._bands = BandPowers(rate_hz)
        self._powers = np.zeros((BANDS, KEPT))
        self._rises = np.zeros(KEPT)
        self._highs = np.zeros(KEPT)
        self._sums = np.zeros(KEPT)
        self._louds = np.zeros(KEPT)
        self._highest, self._loudest = _Lately(), _Lately()
        self._first = -KEPT  # step of the first that is kept

    def process(self, samples: Floats) -> list[tuple[Places, Floats]]:
        """Take chunks of samples; the moments that are known with each, 0.2 s later at most.

        Many chunks at once give the same as one after the other, bit for bit.

        Returns
        -------
        list of (ndarray, ndarray)
            For each chunk: the samples at which something begins (within 8 ms), and the scores: above 0
            rather a kick than none.
        """
        new = self._bands.process(samples)
        chunks = new.shape[1] // CHUNK
        sums, rises = new.sum(axis=0), _rises(np.concatenate([self._powers[:, -8:], new], axis=1))
        self._powers = np.concatenate([self._powers, new], axis=1)
        self._rises = np.concatenate([self._rises, rises])
        self._sums = np.concatenate([self._sums, sums])
        self._highs = np.concatenate([self._highs, self._highest.process(rises)])
        self._louds = np.concatenate([self._louds, self._loudest.process(sums)])
        first, stop = NEIGHBOURS + BEFORE + 1, NEIGHBOURS + BEFORE + 1 + chunks * CHUNK
        tops = _highest_around(self._rises[first - NEIGHBOURS : stop + NEIGHBOURS])
        least = np.maximum(LEAST_RISE * self._highs[first:stop], QUIETEST_RISE)
        mine = self._rises[first:stop]
        found = np.flatnonzero((mine >= tops) & (mine >= least)) + first
        told = self._told(found, first + CHUNK * np.arange(1, chunks))
        self._powers, self._rises = self._powers[:, -KEPT:], self._rises[-KEPT:]
        self._highs, self._louds, self._sums = self._highs[-KEPT:], self._louds[-KEPT:], self._sums[-KEPT:]
        self._first += chunks * CHUNK
        return told

    def _told(self, found: Places, edges: Places) -> list[tuple[Places, Floats]]:
        """Places and scores of each chunk; a product for each."""
        numbers = self.numbers_of(found)
        # Where the rise of a step begins: the middle of its window, less half a step.
        at = np.maximum((found + (self._first + 1 - PARTS // 2)) * self._step - self._step // 2, 0)
        cuts = [0, *np.searchsorted(found, edges).tolist(), len(found)]
        return [(at[a:b], self._scores(numbers[a:b]) if b > a else np.zeros(0)) for a, b in pairwise(cuts)]

    def _scores(self, numbers: Floats) -> Floats:
        return scores_of(numbers)

    def numbers_of(self, found: Places) -> Floats:
        """What is weighed of each moment, shape (n, len(MOMENTS)·BANDS + 1)."""
        around = found + _AROUND
        loudest = self._sums[around].max(axis=0)
        shapes = _shapes_of(self._powers[:, around], loudest)
        under_db = powers_to_db(loudest / np.maximum(self._louds[found], 1e-30))
        numbers = np.empty((len(found), len(MOMENTS) * BANDS + 1))
        numbers[:, :-1].reshape(len(found), len(MOMENTS), BANDS)[:] = shapes.T
        np.minimum(np.maximum(under_db, FLOOR_DB), 0.0, out=numbers[:, -1])
        return numbers


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
    powers : ndarray, shape (BANDS, 8 + n)

    Returns
    -------
    ndarray, shape (n,)
    """
    amplitudes = np.sqrt(powers[1:5])
    count = amplitudes.shape[1] - 8
    before = amplitudes[:, :count].copy()
    for k in range(1, 5):
        before += amplitudes[:, k : count + k]
    rise = np.maximum(amplitudes[:, 8:] - 0.2 * before, 0.0)
    return np.asarray(rise[0] + rise[1] + rise[2] + rise[3], np.float64)


def _shapes_of(moments: Floats, loudest: Floats) -> Floats:
    """What moments look like, in dB under the loudest step of each.

    Parameters
    ----------
    moments : ndarray, shape (BANDS, BEFORE + AFTER, n)
    loudest : ndarray, shape (n,)
        Power of that step.

    Returns
    -------
    ndarray, shape (BANDS, len(MOMENTS), n)
    """
    level_db = powers_to_db(moments / np.maximum(loudest, 1e-30) + 1e-9)
    np.maximum(level_db, FLOOR_DB, out=level_db)
    made = np.empty((BANDS, len(MOMENTS), level_db.shape[2]))
    for first, stop, length in _RUNS:
        at, count = MOMENTS[first], stop - first
        steps = level_db[:, at : at + count * length].reshape(BANDS, count, length, -1)
        made[:, first:stop] = _sum_of(steps.transpose(2, 0, 1, 3))
    made /= _LENGTHS
    return made
