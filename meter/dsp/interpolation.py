"""Points between the samples of a stream, line by line.

Each block of each channel is a row, each row is cut into lines of equal length, and one matrix
product gives the points of many lines. There are two ways of doing that, `whole_lines` and
`halved_lines`; they give the same points, each is quicker on some processors, and
`line_choice` chooses. Every product has one fixed shape, so any cutting of the signal gives the same bits.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.grid import Grid
from meter.dsp.interpolator import TAPS, interpolating_filters, oversampling
from meter.dsp.window import Window
from meter.units import Floats

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

PAST_FRAMES: Final = TAPS - 1
"""Frames before the newest ones that the points are made of too."""

LEFT_FRAMES: Final = TAPS // 2 - 1
"""Samples that a point is made of, before the sample that it follows."""

_GROUP: Final = 32
"""Frames in a line; where they do not divide the block, the nearest that do."""


class Interpolation(ABC):
    """Interpolated points of a stream of blocks.

    The points of a line are counted through: point t follows its sample ``t // between``, by
    ``(t % between + 1) / (between + 1)`` of the way to the next.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
        Number of channels.

    Attributes
    ----------
    between : int
        Points between two samples.
    group : int
        Frames in a line.
    lines : int
        Lines in a row.
    spans : tuple of int
        How many columns belong to a line, for each table of heights.
    """

    spans: tuple[int, ...]

    def __init__(self, grid: Grid, *, channels: int) -> None:
        self.channels = channels
        self.between = oversampling(grid.rate_hz) - 1
        self.group = grid.divisor_near(_GROUP) if grid.is_regular else _GROUP
        longest = grid.block_frames(0) + (0 if grid.is_regular else 1)
        self.lines = -(-longest // self.group)
        self.width = self.group + TAPS - 1
        self.frames = 0
        self._shape = 0, 0
        self._last: Float32s = np.zeros(channels, np.float32)

    def kernel(self) -> Floats:
        """Matrix from a line, with what lies around it, to its points; shape (width, points)."""
        kernel = np.zeros((self.width, self.between * self.group))
        for frame in range(self.group):
            for phase, taps in enumerate(interpolating_filters(self.between + 1)):
                kernel[frame : frame + TAPS, frame * self.between + phase] = taps
        return kernel

    def reset(self) -> None:
        """The past is silence again."""
        self._last[:] = 0.0

    def begin(self, window: Window, *, blocks: int, strip_blocks: int) -> None:
        """Get ready for the newest frames of the window.

        Parameters
        ----------
        blocks : int
            How many blocks they are, of one length; one where they do not fill the lines.
        strip_blocks : int
            The most that `heights_of` will be asked for at once.
        """
        self.frames = window.frames // blocks
        if self._shape != (blocks, strip_blocks):
            # Kept from call to call: fresh memory of this size costs more than the arithmetic on it.
            self._shape = blocks, strip_blocks
            self._reserve(blocks, min(blocks, strip_blocks))
        source = window.planar(PAST_FRAMES)
        if not self.is_filled:
            source = self._padded(source)
        self.forward = self.lines_of(source, blocks, sign=1)
        self._prepare(source, blocks)

    @property
    def is_filled(self) -> bool:
        """Whether the frames of a block fill the lines."""
        return self.frames == self.lines * self.group

    def _padded(self, source: Float32s) -> Float32s:
        """One block that does not fill the lines: zeros follow, the shape stays."""
        padded = np.zeros((self.channels, self.lines * self.group + TAPS - 1), np.float32)
        padded[:, : source.shape[1]] = source
        return padded

    def lines_of(self, source: Float32s, blocks: int, *, sign: int) -> Float32s:
        """Overlapping lines, shape (blocks, channels, lines, width); a view. Sign -1: from the end on."""
        item = source.itemsize
        return np.lib.stride_tricks.as_strided(
            source,
            (blocks, self.channels, self.lines, self.width),
            (sign * self.frames * item, source.strides[0], sign * self.group * item, item),
            writeable=False,
        )

    def beyond(self) -> npt.NDArray[np.bool_]:
        """Which frames of a row lie behind the block, shape (lines, group)."""
        return np.arange(self.lines * self.group).reshape(self.lines, self.group) >= self.frames

    @abstractmethod
    def _reserve(self, blocks: int, strip: int) -> None:
        """Memory for so many blocks, and for as many as are worked on at once."""

    @abstractmethod
    def _prepare(self, source: Float32s, blocks: int) -> None:
        """What has to be done once a call, for all blocks."""

    @abstractmethod
    def heights_of(self, first: int, count: int) -> tuple[Float32s, ...]:
        """Work out the points of some blocks.

        Returns
        -------
        tuple of ndarray of float32, shape (rows, lines · span)
            Tables whose maximum is the highest magnitude of samples and points of each row. What
            is high in a line is high in the columns of that line; buffers the next call overwrites.
        """

    @abstractmethod
    def points_of(self, lines: Ints) -> Float32s:
        """Signed points of lines, counted through all rows; shape (n, points)."""

    def waves(self, lines: Ints) -> Float32s:
        """The waveform in some lines.

        Parameters
        ----------
        lines : ndarray of int, shape (n,)
            Lines counted through all rows.

        Returns
        -------
        ndarray of float32, shape (n, group · (between + 1) + 2)
            The last point before the line, the samples with the points between them, and the
            sample after the line.
        """
        rows = lines // self.lines
        block = rows // self.channels
        channel = rows - block * self.channels
        step = self.between + 1
        wave = np.empty((len(lines), self.group * step + 2), np.float32)
        wave[:, 0] = self._points_before(lines, rows, channel)
        own = self.forward[block, channel, lines - rows * self.lines, LEFT_FRAMES:]
        wave[:, 1::step] = own[:, : self.group + 1]
        points = self.points_of(lines)
        for phase in range(self.between):
            wave[:, 2 + phase :: step] = points[:, phase :: self.between]
        return wave

    def _points_before(self, lines: Ints, rows: Ints, channel: Ints) -> Float32s:
        """The last point of the line before each, of the same channel."""
        is_first = lines == rows * self.lines
        before = np.where(is_first, lines - (self.channels - 1) * self.lines - 1, lines - 1)
        # Whoever has no block before lies at the start of the call.
        return np.where(before < 0, self._last[channel], self.last_points_of(np.maximum(before, 0)))

    @abstractmethod
    def last_points_of(self, lines: Ints) -> Float32s:
        """The last point of lines."""

    def end(self) -> None:
        """Remember what the next call begins with."""
        line, frame = divmod(self.frames - 1, self.group)
        rows = np.arange(self.channels) + (self._shape[0] - 1) * self.channels
        self._last = self.points_of(rows * self.lines + line)[:, (frame + 1) * self.between - 1]
