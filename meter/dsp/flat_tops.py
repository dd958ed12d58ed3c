"""Flat tops: runs of equal extreme samples that no sine would give, at whatever ceiling.

A clipper leaves the tops of a wave flat, and they stay flat when the level is changed afterwards. An
honest wave has runs of equal samples too: the top of a slow sine is flatter than the step between two
sample values (30 Hz at 16 bit: six in a row). So a run counts when it is longer, by at least two
samples, than a sine could give there that falls on both sides as the wave does.

Runs are looked for at the highest and at the lowest value of each block of 50 ms. A block is looked at
when the one after it is there; what was found counts in the block that brought it.

Source
------
Common practice for "run of samples at full scale"; any ceiling and the comparison with a sine are this
project's own definition.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.grid import BLOCKS_A_SECOND, Grid

Float32s = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

FEWEST_FLAT: Final = 4
LONG_FRAMES: Final = 12
"""So many flat tops together are a clipper; a single one that long is, too. Two or three equal samples on a
top happen by chance. Common practice, no source."""

ENOUGH: Final = 4
"""When the first four runs at the ceiling of a block are all flat, so are the others; they only count."""

LONGER_BY: Final = 2
"""Samples by which a run is longer than that of a sine."""
SHORTEST: Final = 1 + LONGER_BY
SHOULDER_FRAMES: Final = 64
"""So far on each side the fall is looked at, at most; otherwise as far as the run is long."""

_FEW_FRAMES: Final = 20_000
"""So few frames are looked at in all channels at once: the calls cost more than the work then."""

_NONE: Final = np.empty(0, np.int64)

_WIDTHS: Final = (4, 16, SHOULDER_FRAMES)
"""Runs of about one length are worked on together."""

_STEP_8_BIT: Final = 2.0**-7
_STEP_16_BIT: Final = 2.0**-15
_FINEST_STEP: Final = 2.0**-23
"""Steps between sample values of 8, 16 and 24 bit. Float counts as 24 bit: that is its precision."""
_PARTS: Final = (1, 2, 3, 4)
"""The smallest difference next to a run is a few steps at most."""
_ON_GRID: Final = 0.02


class FlatTops:
    """Finds the flat tops of a stream; block by block, one behind.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
    """

    def __init__(self, grid: Grid, *, channels: int) -> None:
        self._channels = channels
        self.block_frames = -(-grid.rate_hz // BLOCKS_A_SECOND)
        self.past_frames = self.block_frames + SHOULDER_FRAMES + 1
        self._longest = grid.rate_hz // BLOCKS_A_SECOND - SHOULDER_FRAMES - 1
        self._marks: Bools = np.empty((2, 0, 0), np.bool_)
        self.reset()

    def reset(self) -> None:
        """As a new object."""
        self._waiting_frames = 0
        self._extremes = (np.zeros((self._channels, 1), np.float32),) * 2  # highest and lowest of what waits

    def process(self, planar: Float32s, highest: Float32s, lowest: Float32s) -> tuple[Ints, Ints] | None:
        """Take blocks of one length; look at them but for the last, and at the one before them.

        Parameters
        ----------
        planar : ndarray of float32, shape (channels, past_frames + n)
            The newest frames and those before them.
        highest, lowest : ndarray of float32, shape (channels, blocks)
            Of each new block.

        Returns
        -------
        counts, longest : ndarray of int, shape (blocks,)
            Flat tops that each block brought, and the frames of the longest of those that were looked at.
            None in place of both where no run was found.
        """
        blocks = highest.shape[1]
        frames = (planar.shape[1] - self.past_frames) // blocks
        waiting, self._waiting_frames = self._waiting_frames, frames
        first = self.past_frames - waiting
        before, self._extremes = self._extremes, (highest[:, -1:], lowest[:, -1:])
        found = self._starts(planar, first, waiting + (blocks - 1) * frames)
        if not found:
            return None
        highest = np.concatenate([before[0], highest[:, :-1]], axis=1)
        lowest = np.concatenate([before[1], lowest[:, :-1]], axis=1)
        return self._look(planar, first, [waiting, *[frames] * (blocks - 1)], highest, lowest, found)

    def finish(self, planar: Float32s, highest: Float32s, lowest: Float32s) -> tuple[Ints, Ints] | None:
        """As `process`, for one last block of any length; it is looked at too, as far as it goes."""
        before = self.process(planar, highest, lowest)
        last = self.finish_waiting(planar)
        if before is None or last is None:
            return before or last
        return before[0] + last[0], np.maximum(before[1], last[1])

    def finish_waiting(self, planar: Float32s) -> tuple[Ints, Ints] | None:
        """Look at the block that waits, as far as it goes; nothing follows it."""
        length = self._waiting_frames
        start = planar.shape[1] - length
        highest, lowest = self._extremes
        found = self._starts(planar, start, length)
        self.reset()
        return self._look(planar, start, [length], highest, lowest, found) if found else None

    def _look(
        self,
        planar: Float32s,
        first: int,
        lengths: list[int],
        highest: Float32s,
        lowest: Float32s,
        found: list[Ints],
    ) -> tuple[Ints, Ints]:
        counts, longest = np.zeros(len(lengths), np.int64), np.zeros(len(lengths), np.int64)
        edges = np.cumsum([0, *lengths])
        for wave, tops, bottoms, starts in zip(planar, highest, lowest, found, strict=False):
            if len(starts) == 0:
                continue
            block = np.searchsorted(edges, starts, side="right") - 1
            value = wave[first + starts]
            is_top = ((value == tops[block]) & (value > 0.0)) | ((value == bottoms[block]) & (value < 0.0))
            starts, block = starts[is_top] + first, block[is_top]
            rank = np.arange(len(block)) - np.searchsorted(block, block)
            lengths_found = np.zeros(len(starts), np.int64)
            is_flat = np.zeros(len(starts), np.bool_)
            some = rank < ENOUGH
            lengths_found[some] = self._flat(wave, starts[some])
            is_flat[some] = lengths_found[some] > 0
            flat_in_block = np.bincount(block[is_flat], minlength=len(lengths))
            is_clear = ~some & (flat_in_block[block] == ENOUGH)
            is_flat[is_clear] = True
            rest = ~some & ~is_clear
            lengths_found[rest] = self._flat(wave, starts[rest])
            is_flat[rest] = lengths_found[rest] > 0
            np.add.at(counts, block[is_flat], 1)
            np.maximum.at(longest, block, lengths_found)
        return counts, longest

    def _starts(self, planar: Float32s, first: int, total: int) -> list[Ints]:
        """Where runs of at least three equal samples begin, in each channel, counted from `first`.

        Empty when there are none in any channel, which is the usual case.
        """
        count = min(total, planar.shape[1] - first + 1 - SHORTEST)
        if count <= 0:
            return []
        waves = planar[:, first - 1 : first + total + 2]
        together = len(waves) if total < _FEW_FRAMES else 1
        if self._marks.shape != (2, together, -(-total // 8) * 8 + 16):
            self._marks = np.zeros((2, together, -(-total // 8) * 8 + 16), np.bool_)
        starts: list[Ints] = []
        for channel in range(0, len(waves), together):
            starts += self._starts_together(waves[channel : channel + together], count)
        return starts if any(len(some) for some in starts) else []

    def _starts_together(self, waves: Float32s, count: int) -> list[Ints]:
        """The same of some channels; the waves have one sample before what is looked at, and two behind."""
        same = np.equal(waves[:, 1:], waves[:, :-1], out=self._marks[0, :, : waves.shape[1] - 1])
        found = self._marks[1]
        np.logical_and(same[:, 1 : count + 1], same[:, 2 : count + 2], out=found[:, :count])
        np.greater(found[:, :count], same[:, :count], out=found[:, :count])
        found[:, count:] = False
        words = found.view(np.uint64)
        if not np.bitwise_or.reduce(words, axis=None):
            return [_NONE] * len(waves)
        return [_places_of(row, bits) for row, bits in zip(words, found, strict=True)]

    def _flat(self, wave: Float32s, starts: Ints) -> Ints:
        """Frames of each run that is flat, 0 for the others."""
        frames = self._run_lengths(wave, starts)
        found = np.zeros(len(starts), np.int64)
        narrower = SHORTEST - 1
        for width in _WIDTHS:
            widest = width if width < SHOULDER_FRAMES else len(wave)
            which = np.flatnonzero((frames > narrower) & (frames <= widest))
            narrower = width
            reach = np.minimum(frames[which], width)
            which = which[starts[which] + frames[which] + reach <= len(wave)]
            if len(which):
                is_flat = _is_flat(wave, starts[which], frames[which], width)
                found[which[is_flat]] = frames[which[is_flat]]
        return found

    def _run_lengths(self, wave: Float32s, starts: Ints) -> Ints:
        """Frames of each run; 0 for those that are longer than can be told."""
        lengths = np.zeros(len(starts), np.int64)
        left = np.arange(len(starts))
        for width in (8, SHOULDER_FRAMES, self._longest + 1):
            if len(left) == 0:
                break
            at = starts[left, None] + np.arange(width)
            differs = wave[np.minimum(at, len(wave) - 1)] != wave[starts[left], None]
            differs |= at >= len(wave)
            ends = differs.any(axis=1)
            lengths[left[ends]] = differs[ends].argmax(axis=1)
            left = left[~ends]
        return lengths


def _places_of(words: npt.NDArray[np.uint64], flags: Bools) -> Ints:
    """Where flags are set; eight of them are a word, and few are."""
    places = np.flatnonzero(words)
    row, column = np.nonzero(flags.reshape(-1, 8)[places])
    return np.asarray(places[row] * 8 + column, np.int64)


def _is_flat(wave: Float32s, starts: Ints, frames: Ints, width: int) -> Bools:
    """Whether runs are longer than a sine would give that falls as much on both sides.

    A top of curvature b stays inside one step q for 2·√(q/b) frames at most; b is what the smaller of
    the two falls leaves at least, when every value may be half a step off.
    """
    offsets = np.arange(width)
    reach = np.minimum(frames, width)
    beyond = offsets >= reach[:, None]
    value = wave[starts].astype(np.float64)[:, None]
    sign = np.sign(value)
    # Nearest to the run first. What is beyond reach stands as the run's own value.
    before = np.where(beyond, value, wave[np.maximum(starts[:, None] - 1 - offsets, 0)])
    after = np.where(
        beyond, value, wave[np.minimum((starts + frames)[:, None] + offsets, len(wave) - 1)]
    )
    falls = [(value - side) * sign for side in (before, after)]
    is_top = (falls[0][:, 0] > 0.0) & (falls[1][:, 0] > 0.0)
    falls = np.minimum(falls[0].max(axis=1), falls[1].max(axis=1))
    far = (frames - 1) / 2.0 + reach

    def is_flat(which: Ints | slice, step: Floats | float) -> Bools:
        fall = falls[which] - step
        with np.errstate(divide="ignore", invalid="ignore"):
            honest = np.floor(2.0 * far[which] * np.sqrt(step / fall)) + 1.0
        return np.asarray((fall > 0.0) & (frames[which] - honest >= LONGER_BY), np.bool_)

    # The coarser the step, the longer an honest run. It is no finer than the finest and no coarser than the
    # smallest difference; only where these two disagree it must be known, which takes most of the time.
    values = np.concatenate([before[:, ::-1], value, after], axis=1)
    found = is_top & is_flat(_ALL, np.maximum(_smallest_differences(values), _FINEST_STEP))
    open_ = np.flatnonzero(is_top & ~found & is_flat(_ALL, _FINEST_STEP))
    if len(open_):
        found[open_] = is_flat(open_, _steps(values[open_]))
    return found


_ALL: Final = slice(None)


def _smallest_differences(values: Floats) -> Floats:
    """The smallest difference of neighbours that are not equal; infinite where all are."""
    differences = np.abs(np.diff(values, axis=1))
    differences[differences == 0.0] = np.inf
    return np.asarray(differences.min(axis=1), np.float64)


def _steps(values: Floats) -> Floats:
    """The step between neighbouring sample values around each run.

    That of the word length; of samples whose level was changed after that, what all differences are
    multiples of.
    """
    steps = np.full(len(values), _FINEST_STEP)
    is_16_bit = _are_multiples(values, _STEP_16_BIT)
    steps[is_16_bit] = _STEP_16_BIT
    coarse = np.flatnonzero(is_16_bit)
    steps[coarse[_are_multiples(values[coarse], _STEP_8_BIT)]] = _STEP_8_BIT
    rest = np.flatnonzero(~is_16_bit)
    if len(rest):
        steps[rest] = _common_steps(values[rest])
    return steps


def _are_multiples(values: Floats, step: float) -> Bools:
    scaled = values * (1.0 / step)
    return np.asarray((scaled == np.rint(scaled)).all(axis=1), np.bool_)


def _common_steps(values: Floats) -> Floats:
    """What all differences of neighbours are multiples of; the finest step where there is no such."""
    differences = np.abs(np.diff(values, axis=1))
    differences[differences == 0.0] = np.inf
    smallest = differences.min(axis=1)
    found = np.full(len(values), _FINEST_STEP)
    with np.errstate(invalid="ignore", divide="ignore"):
        for part in reversed(_PARTS):
            times = differences * part / smallest[:, None]
            rounding = np.abs(values).max(axis=1) * 2.0**-23 * part / smallest
            off_grid = np.abs(times - np.rint(times)) - (1.0 + times) * rounding[:, None]
            is_stepped = (np.nan_to_num(off_grid, nan=0.0).max(axis=1) < _ON_GRID) & np.isfinite(smallest)
            found[is_stepped] = smallest[is_stepped] / part
    return np.asarray(np.maximum(found, _FINEST_STEP), np.float64)
