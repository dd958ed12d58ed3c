"""Points between the samples of a stream, as two matrix products of half the size.

The filters for 1/4 and 3/4 of a sample are mirror images, and the one for 1/2 is its own: a line
of samples read backwards gives the same points backwards. So a line is split into an even part
(itself plus its mirror image) and an odd one (itself less its mirror image); each gives half of
the points, and two points that lie opposite each other are their sum and their difference.
That is half the arithmetic, and the higher of two opposite points is simply |even| + |odd|.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.grid import Grid
from meter.dsp.interpolator import TAPS, interpolating_filters, oversampling
from meter.dsp.window import Window

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

PAST_FRAMES: Final = TAPS - 1
"""Frames before the newest ones that the points are made of too."""

LEFT_FRAMES: Final = TAPS // 2 - 1
"""Samples that a point is made of, before the sample that it follows."""

_GROUP: Final = 32
"""Frames in a line; where they do not divide the block, the nearest that do."""


class Interpolation:
    """Interpolated points of a stream of blocks.

    Each block of each channel is a row, each row is cut into lines of `group` frames. The points
    of a line are counted through: point t follows its sample ``t // between``, by
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
    pairs : int
        Pairs of opposite points in a line.
    """

    def __init__(self, grid: Grid, *, channels: int) -> None:
        self._channels = channels
        self.between = oversampling(grid.rate_hz) - 1
        self.group = grid.divisor_near(_GROUP) if grid.is_regular else _GROUP
        longest = grid.block_frames(0) + (0 if grid.is_regular else 1)
        self.lines = -(-longest // self.group)
        self._points = self.between * self.group
        self.pairs = -(-self._points // 2)
        self._width = self.group + TAPS - 1
        self._even_kernel, self._odd_kernel = self._half_kernels()
        self._even: Float32s = np.zeros((0, 0, 0), np.float32)
        self._odd: Float32s = self._even
        self._mirrored: Float32s = np.zeros((channels, 0), np.float32)
        self._last: Float32s = np.zeros(channels, np.float32)

    def _half_kernels(self) -> tuple[Float32s, Float32s]:
        """Matrices from the even and the odd part of a line to those of its points."""
        kernel = np.zeros((self._width, self._points))
        for frame in range(self.group):
            for phase, taps in enumerate(interpolating_filters(self.between + 1)):
                kernel[frame : frame + TAPS, frame * self.between + phase] = taps
        half = self._width // 2
        kernel = kernel[:, : self.pairs]
        before, after = kernel[:half], kernel[::-1][:half]
        even, odd = (before + after) / 2.0, (before - after) / 2.0
        if self._width % 2:
            # The sample in the middle is its own mirror image, and comes doubled.
            even = np.vstack([even, kernel[half : half + 1] / 2.0])
        return np.ascontiguousarray(even, np.float32), np.ascontiguousarray(odd, np.float32)

    def reset(self) -> None:
        """The past is silence again."""
        self._last[:] = 0.0

    def begin(self, window: Window, *, blocks: int, strip_blocks: int) -> None:
        """Get ready for the newest frames of the window.

        Parameters
        ----------
        blocks : int
            How many blocks they are, of one length.
        strip_blocks : int
            The most that `heights_of` will be asked for at once.
        """
        self._frames = window.frames // blocks
        self._reserve(blocks, min(blocks, strip_blocks))
        source = window.planar(PAST_FRAMES)
        if self._frames != self.lines * self.group:
            source = self._padded(source)
        if self._mirrored.shape != source.shape:
            self._mirrored = np.empty_like(source)
        self._mirrored[:] = source[:, ::-1]
        self._forward = self._lines_of(source, blocks, sign=1)
        self._backward = self._lines_of(self._mirrored[:, source.shape[1] - self._width :], blocks, sign=-1)

    def _reserve(self, blocks: int, strip: int) -> None:
        if self._even.shape[0] == blocks:
            return
        # Kept from call to call: fresh memory of this size costs more than the arithmetic on it.
        height = self._channels * self.lines
        self._even = np.empty((blocks, height, self.pairs), np.float32)
        self._odd = np.empty_like(self._even)
        lines = strip, self._channels, self.lines
        self._sums = np.empty((*lines, len(self._even_kernel)), np.float32)
        self._differences = np.empty((*lines, len(self._odd_kernel)), np.float32)
        self._heights = np.empty((strip, height, self.pairs), np.float32)
        self._scratch = np.empty_like(self._heights)

    def _padded(self, source: Float32s) -> Float32s:
        """One block that does not fill the lines: zeros follow, the shape stays."""
        padded = np.zeros((self._channels, self.lines * self.group + TAPS - 1), np.float32)
        padded[:, : source.shape[1]] = source
        return padded

    def _lines_of(self, source: Float32s, blocks: int, *, sign: int) -> Float32s:
        """Overlapping lines, shape (blocks, channels, lines, width); a view. Sign -1: from the end on."""
        item = source.itemsize
        return np.lib.stride_tricks.as_strided(
            source,
            (blocks, self._channels, self.lines, self._width),
            (sign * self._frames * item, source.strides[0], sign * self.group * item, item),
            writeable=False,
        )

    def heights_of(self, first: int, count: int) -> Float32s:
        """Work out the points of some blocks; the higher of each pair, shape (rows, lines · pairs)."""
        strip = slice(first, first + count)
        forward, backward = self._forward[strip], self._backward[strip]
        even, odd = self._even[strip], self._odd[strip]
        sums, differences = self._sums[:count], self._differences[:count]
        half = differences.shape[-1]
        np.add(forward[..., : sums.shape[-1]], backward[..., : sums.shape[-1]], out=sums)
        np.subtract(forward[..., :half], backward[..., :half], out=differences)
        np.matmul(sums.reshape(count, -1, sums.shape[-1]), self._even_kernel, out=even)
        np.matmul(differences.reshape(count, -1, half), self._odd_kernel, out=odd)
        if self._frames != self.lines * self.group:
            self._forget_beyond(even, odd)
        heights, scratch = self._heights[:count], self._scratch[:count]
        np.abs(even, out=heights)
        np.abs(odd, out=scratch)
        np.add(heights, scratch, out=heights)
        return heights.reshape(count * self._channels, -1)

    def _forget_beyond(self, even: Float32s, odd: Float32s) -> None:
        """Set the points behind the last frame to zero; those opposite them stay as they are."""
        first = self._frames // self.group
        evens = even.reshape(self._channels, self.lines, self.pairs)[:, first:]
        odds = odd.reshape(self._channels, self.lines, self.pairs)[:, first:]
        frame = np.arange(self.lines * self.group)[first * self.group :].repeat(self.between)
        points = self._unfolded(evens, odds)
        points[:, frame.reshape(-1, self._points) >= self._frames] = 0.0
        opposite = points[..., ::-1]
        evens[:] = ((points + opposite) / 2.0)[..., : self.pairs]
        odds[:] = ((points - opposite) / 2.0)[..., : self.pairs]

    def _unfolded(self, even: Float32s, odd: Float32s) -> Float32s:
        """All points of lines, from their halves."""
        points = np.empty((*even.shape[:-1], self._points), np.float32)
        points[..., : self.pairs] = even + odd
        points[..., self.pairs :] = (even - odd)[..., self._points - self.pairs - 1 :: -1]
        return points

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
        block = rows // self._channels
        channel = rows - block * self._channels
        step = self.between + 1
        wave = np.empty((len(lines), self.group * step + 2), np.float32)
        wave[:, 0] = self._points_before(lines, rows, channel)
        own = self._forward[block, channel, lines - rows * self.lines, LEFT_FRAMES:]
        wave[:, 1::step] = own[:, : self.group + 1]
        flat = self._even.reshape(-1, self.pairs), self._odd.reshape(-1, self.pairs)
        points = self._unfolded(*(half[lines] for half in flat))
        for phase in range(self.between):
            wave[:, 2 + phase :: step] = points[:, phase :: self.between]
        return wave

    def _points_before(self, lines: Ints, rows: Ints, channel: Ints) -> Float32s:
        """The last point of the line before each, of the same channel."""
        is_first = lines == rows * self.lines
        before = np.where(is_first, lines - (self._channels - 1) * self.lines - 1, lines - 1)
        even, odd = (half.reshape(-1, self.pairs)[:, 0] for half in (self._even, self._odd))
        found = even[np.maximum(before, 0)] - odd[np.maximum(before, 0)]
        # Whoever has no block before lies at the start of the call.
        return np.where(before < 0, self._last[channel], found) if len(lines) else found

    def end(self) -> None:
        """Remember what the next call begins with."""
        last = self._frames - 1
        line, frame = divmod(last, self.group)
        rows = np.arange(self._channels) + (len(self._even) - 1) * self._channels
        place = rows * self.lines + line
        even, odd = (half.reshape(-1, self.pairs)[place] for half in (self._even, self._odd))
        self._last = self._unfolded(even, odd)[:, (frame + 1) * self.between - 1]
