"""Drop-outs: short digital silence that begins or ends in the middle of a wave.

Every channel is exactly zero for 1 ms to 0.5 s, there is sound within 10 ms on both sides, and at one
side at least the wave is cut off rather than faded. Blocks of 50 ms are looked at when the next one is
there; a drop-out counts in the block that brought it.

Source
------
Common practice, no source. Shorter ones are a click; longer ones are a break.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.grid import BLOCKS_A_SECOND, Grid

Float32s = npt.NDArray[np.float32]
Floats = npt.NDArray[np.floating]
Ints = npt.NDArray[np.int64]

SHORTEST_S: Final = 0.001
LONGEST_S: Final = 0.5
BESIDE_S: Final = 0.010
"""So near on both sides there is sound."""
HEARD: Final = 0.01
"""Amplitude of that sound, at least: -40 dBFS."""
CUT: Final = 0.1
"""Share of it at which the wave is cut off."""


class Dropouts:
    """Finds the drop-outs of a stream; block by block, one behind.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    """

    def __init__(self, grid: Grid) -> None:
        rate_hz = grid.rate_hz
        self._shortest = max(round(SHORTEST_S * rate_hz), 4)
        self._longest = round(LONGEST_S * rate_hz)
        self._beside = round(BESIDE_S * rate_hz)
        self._stride = self._shortest // 2
        self.past_frames = -(-rate_hz // BLOCKS_A_SECOND) + self._shortest + self._beside
        self.reset()

    def reset(self) -> None:
        """As a new object."""
        self._waiting_frames = 0
        self._waiting_peak = 0.0
        self._open_frames = 0  # of the silence at the end of what was looked at
        self._before = 0.0, 0.0  # the sound before it, and its last sample

    def process(self, planar: Float32s, peaks: Floats) -> tuple[Ints, Ints] | None:
        """Take blocks of one length; look at them but for the last, and at the one before them.

        Parameters
        ----------
        planar : ndarray of float32, shape (channels, past_frames + n)
            The newest frames and those before them.
        peaks : ndarray, shape (blocks,)
            Highest magnitude in each new block, over all channels.

        Returns
        -------
        counts, frames : ndarray of int, shape (blocks,)
            Drop-outs that each block brought, and their frames. None in place of both where none was looked
            at, as nearly always.
        """
        blocks = len(peaks)
        length = (planar.shape[1] - self.past_frames) // blocks
        first, known = self.past_frames - self._waiting_frames, [self._waiting_peak, *peaks.tolist()]
        hints = self._hints(planar, first - self._shortest, self.past_frames + (blocks - 1) * length)
        self._waiting_frames, self._waiting_peak = length, known.pop()
        if len(hints) == 0 and not self._open_frames:
            return None
        counts, frames = np.zeros(blocks, np.int64), np.zeros(blocks, np.int64)
        edges = [first, *(self.past_frames + block * length for block in range(blocks))]
        for block in range(blocks):
            start, stop = edges[block], edges[block + 1]
            lower, upper = np.searchsorted(hints, [start - self._shortest, stop])
            if stop > start and (self._open_frames or upper > lower):
                found = self._look(planar, start, stop, known[block])
                counts[block], frames[block] = len(found), sum(found)
        return counts, frames

    def _hints(self, planar: Float32s, start: int, stop: int) -> Ints:
        """Where silence may be: every run that is long enough shows twice in a few samples."""
        few = planar[0, start : stop : self._stride] == 0.0
        return np.asarray(start + (few[1:] & few[:-1]).nonzero()[0] * self._stride, np.int64)

    def _look(self, planar: Float32s, start: int, stop: int, peak: float) -> list[int]:
        """Lengths of the drop-outs that end in a block."""
        size = stop - start
        if 0.0 < peak < HEARD:
            self._open_frames = 0
            return []
        is_silent = np.asarray(~planar[:, start:stop].any(axis=0), np.bool_)
        turns = np.flatnonzero(np.diff(np.concatenate([[False], is_silent, [False]]).astype(np.int8)))
        begins, ends = turns[::2], turns[1::2]
        is_long = (ends - begins >= self._shortest) | (begins == 0)
        runs = list(zip(begins[is_long].tolist(), ends[is_long].tolist(), strict=True))
        found: list[int] = []
        if self._open_frames and not is_silent[0]:
            found += self._ended(planar, start)
        for begin, end in runs:
            at = start + begin
            if not self._open_frames:
                at -= self._silent_before(planar, at) if begin == 0 else 0
                self._note_before(planar, at)
            self._open_frames += start + end - at
            if end < size:
                found += self._ended(planar, start + end)
        return found

    def _silent_before(self, planar: Float32s, start: int) -> int:
        """Frames of silence right before a block, which alone were too few to be noted."""
        sound = np.flatnonzero(planar[:, start - self._shortest : start].any(axis=0))
        return self._shortest - 1 - int(sound[-1]) if len(sound) else self._shortest

    def _note_before(self, planar: Float32s, at: int) -> None:
        beside = np.abs(planar[:, at - self._beside : at])
        self._before = float(beside.max(initial=0.0)), float(beside[:, -1:].max(initial=0.0))

    def _ended(self, planar: Float32s, at: int) -> list[int]:
        """The length of the silence that ends here, if it is a drop-out."""
        frames, self._open_frames = self._open_frames, 0
        beside = np.abs(planar[:, at : at + self._beside])
        after, first = float(beside.max(initial=0.0)), float(beside[:, :1].max(initial=0.0))
        before, last = self._before
        is_heard = min(before, after) >= HEARD
        is_cut = last >= CUT * before or first >= CUT * after
        return [frames] if self._shortest <= frames <= self._longest and is_heard and is_cut else []
