"""The lines in which the true peak of a block, or an over, may be; `peak_bound` rules out all others."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.grid import Grid
from meter.dsp.interpolation import CENTRE, LINE_FRAMES, PAST_FRAMES
from meter.dsp.interpolator import TAPS
from meter.dsp.peak_bound import bound
from meter.dsp.peak_fit import largest_rise

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

_SEGMENT: Final = 240
"""Frames with one largest second difference; where they do not divide the block, the nearest that do."""

_STRIP_BLOCKS: Final = 40
"""Blocks that are worked on at once, so that they stay in the processor's nearest memory."""

_FEW_BLOCKS: Final = 8
"""So few blocks are worked on in all channels at once: the calls cost more than the arithmetic then."""


class PeakPlaces:
    """Finds the lines that must be worked out.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
        Number of channels.
    factor : int
        Oversampling, 2 or 4.
    """

    def __init__(self, grid: Grid, *, channels: int, factor: int) -> None:
        self._channels = channels
        limits = bound(factor)
        self._height_share = np.float32(1.0 / limits.height)
        self._bend_share = np.float32(limits.bend / limits.height)
        self._share = np.float32(1.0 / largest_rise(factor))
        self._segment = grid.divisor_near(_SEGMENT) if grid.is_regular else _SEGMENT
        self._shape = 0, 0

    def _reserve(self, blocks: int, frames: int) -> None:
        """Kept from call to call: fresh memory of this size costs more than the arithmetic on it."""
        if self._shape == (blocks, frames):
            return
        self._shape = blocks, frames
        rows, lines = blocks * self._channels, -(-frames // LINE_FRAMES)
        # A line of 16 flags is two words; those behind the block are never set.
        self._words = np.zeros((rows * lines, 2), np.uint64)
        self._flags = self._words.view(np.bool_).reshape(blocks, self._channels, lines * LINE_FRAMES)
        self._behind = np.zeros((blocks, self._channels), np.bool_)
        longest = min(blocks, _STRIP_BLOCKS) * frames + PAST_FRAMES
        self._together = self._channels if blocks <= _FEW_BLOCKS else 1
        self._heights, self._slopes, self._bends = np.empty((3, self._together, longest), np.float32)
        # The last block may be short; where the rate is irregular all are whole segments.
        segment = self._segment_frames = self._segment if frames % self._segment == 0 else frames
        # What bends the waveform in a segment reaches beyond it, so these windows overlap.
        item = self._bends.itemsize
        self._around = np.lib.stride_tricks.as_strided(
            self._bends,
            (self._together, min(blocks, _STRIP_BLOCKS) * (frames // segment), segment + TAPS - 2),
            (longest * item, segment * item, item),
            writeable=False,
        )

    def lines(self, source: Float32s, *, blocks: int, frames: int, limit: float) -> tuple[Ints, Ints]:
        """Rows (block · channels + channel) and first frames, within the row, of the lines; in order.

        Parameters
        ----------
        source : ndarray of float32, shape (channels, PAST_FRAMES + blocks · frames)
        blocks, frames : int
            How many blocks, and the length of each; at least `LINE_FRAMES`.
        limit : float
            Amplitude above which a point is an over.
        """
        self._reserve(blocks, frames)
        for first in range(0, blocks, _STRIP_BLOCKS):
            count = min(_STRIP_BLOCKS, blocks - first)
            strip = source[:, first * frames : (first + count) * frames + PAST_FRAMES]
            for channel in range(0, self._channels, self._together):
                some = slice(channel, channel + self._together)
                self._flag(strip[some], first, count, some, limit)
        marked = ((self._words[:, 0] | self._words[:, 1]) != 0).reshape(blocks * self._channels, -1)
        # A sample bounds the points on both its sides: the first one of a line those of the line before.
        begins = self._flags.reshape(len(marked), -1, LINE_FRAMES)[:, 1:, 0]
        np.logical_or(marked[:, :-1], begins, out=marked[:, :-1])
        marked[:, -1] |= self._behind.reshape(-1)
        flat = marked.reshape(-1).nonzero()[0]
        row = flat // marked.shape[1]
        return row, np.minimum((flat - row * marked.shape[1]) * LINE_FRAMES, frames - LINE_FRAMES)

    def _flag(self, strip: Float32s, first: int, count: int, channels: slice, limit: float) -> None:
        """Flag the samples next to which a point may be high enough; of some channels at once."""
        frames, length = self._shape[1], strip.shape[1]
        segments = frames // self._segment_frames
        heights = np.abs(strip, out=self._heights[:, :length])
        slopes = np.subtract(strip[:, 1:], strip[:, :-1], out=self._slopes[:, : length - 1])
        bends = np.subtract(slopes[:, 1:], slopes[:, :-1], out=self._bends[:, : length - 2])
        np.abs(bends, out=bends)
        own = heights[:, CENTRE : CENTRE + count * frames].reshape(self._together, count, segments, -1)
        # Whatever the peak of the row is, it is no lower than its highest sample.
        low = np.minimum(np.maximum.reduce(own, axis=(2, 3)) * self._share, np.float32(limit))
        bend = np.maximum.reduce(self._around[:, : count * segments], axis=2)
        bend = bend.reshape(self._together, count, segments)
        low = low[:, :, None] * self._height_share - bend * self._bend_share
        block = slice(first, first + count)
        flags = self._flags[block, channels, :frames].reshape(count, self._together, segments, -1)
        np.greater(own, low[:, :, :, None], out=flags.swapaxes(0, 1))
        behind = heights[:, CENTRE + frames :: frames][:, :count]
        np.greater(behind, low[:, :, -1], out=self._behind[block, channels].T)
