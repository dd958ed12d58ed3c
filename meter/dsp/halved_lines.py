"""Points between samples, as two matrix products of half the size: quickest where products are dear.

The filters for 1/4 and 3/4 of a sample are mirror images, and the one for 1/2 is its own: a line
of samples read backwards gives the same points backwards. So a line is split into an even part
(itself plus its mirror image) and an odd one (itself less its mirror image); each gives half of
the points, and two points that lie opposite each other are their sum and their difference.
That is half the arithmetic, and the higher of two opposite points is simply |even| + |odd|.
"""

from __future__ import annotations

import numpy as np

from meter.dsp.grid import Grid
from meter.dsp.interpolation import LEFT_FRAMES, Float32s, Interpolation, Ints


class HalvedLines(Interpolation):
    """As `Interpolation`. Its tables: the higher of each pair of opposite points, and the samples."""

    def __init__(self, grid: Grid, *, channels: int) -> None:
        super().__init__(grid, channels=channels)
        self._points = self.between * self.group
        self._pairs = -(-self._points // 2)
        self.spans = self._pairs, self.group
        self._even_kernel, self._odd_kernel = self._half_kernels()

    def _half_kernels(self) -> tuple[Float32s, Float32s]:
        """Matrices from the even and the odd part of a line to those of its points."""
        kernel = self.kernel()[:, : self._pairs]
        half = self.width // 2
        before, after = kernel[:half], kernel[::-1][:half]
        even, odd = (before + after) / 2.0, (before - after) / 2.0
        if self.width % 2:
            # The sample in the middle is its own mirror image, and comes doubled.
            even = np.vstack([even, kernel[half : half + 1] / 2.0])
        return np.ascontiguousarray(even, np.float32), np.ascontiguousarray(odd, np.float32)

    def _reserve(self, blocks: int, strip: int) -> None:
        height = self.channels * self.lines
        self._even = np.empty((blocks, height, self._pairs), np.float32)
        self._odd = np.empty_like(self._even)
        self._mirrored = np.empty((self.channels, 0), np.float32)
        lines = strip, self.channels, self.lines
        self._sums = np.empty((*lines, len(self._even_kernel)), np.float32)
        self._differences = np.empty((*lines, len(self._odd_kernel)), np.float32)
        self._heights = np.empty((strip, height, self._pairs), np.float32)
        self._scratch = np.empty_like(self._heights)
        self._samples = np.zeros((strip * self.channels, self.lines * self.group), np.float32)

    def _prepare(self, source: Float32s, blocks: int) -> None:
        if self._mirrored.shape != source.shape:
            self._mirrored = np.empty_like(source)
        self._mirrored[:] = source[:, ::-1]
        self._backward = self.lines_of(self._mirrored[:, source.shape[1] - self.width :], blocks, sign=-1)
        self._source = source

    def heights_of(self, first: int, count: int) -> tuple[Float32s, ...]:
        """As `Interpolation.heights_of`."""
        strip = slice(first, first + count)
        forward, backward = self.forward[strip], self._backward[strip]
        even, odd = self._even[strip], self._odd[strip]
        sums, differences = self._sums[:count], self._differences[:count]
        half = differences.shape[-1]
        np.add(forward[..., : sums.shape[-1]], backward[..., : sums.shape[-1]], out=sums)
        np.subtract(forward[..., :half], backward[..., :half], out=differences)
        np.matmul(sums.reshape(count, -1, sums.shape[-1]), self._even_kernel, out=even)
        np.matmul(differences.reshape(count, -1, half), self._odd_kernel, out=odd)
        if not self.is_filled:
            self._forget_beyond(even, odd)
        heights, scratch = self._heights[:count], self._scratch[:count]
        np.abs(even, out=heights)
        np.abs(odd, out=scratch)
        np.add(heights, scratch, out=heights)
        return heights.reshape(count * self.channels, -1), self._sample_heights(first, count)

    def _sample_heights(self, first: int, count: int) -> Float32s:
        start = LEFT_FRAMES + first * self.frames
        samples = self._source[:, start : start + count * self.frames]
        samples = samples.reshape(self.channels, count, self.frames).swapaxes(0, 1)
        heights = self._samples[: count * self.channels]
        by_block = heights.reshape(count, self.channels, -1)
        np.abs(samples, out=by_block[..., : self.frames])
        by_block[..., self.frames :] = 0.0
        return heights

    def _forget_beyond(self, even: Float32s, odd: Float32s) -> None:
        """Set the points behind the last frame to zero; those opposite them stay as they are."""
        evens = even.reshape(self.channels, self.lines, self._pairs)
        odds = odd.reshape(self.channels, self.lines, self._pairs)
        points = self._unfolded(evens, odds)
        points[:, self.beyond().repeat(self.between, axis=1)] = 0.0
        # Only where something was: elsewhere rounding is not done twice.
        last = self.frames // self.group
        opposite = points[..., ::-1]
        evens[:, last:] = ((points + opposite) / 2.0)[:, last:, : self._pairs]
        odds[:, last:] = ((points - opposite) / 2.0)[:, last:, : self._pairs]

    def _unfolded(self, even: Float32s, odd: Float32s) -> Float32s:
        """All points of lines, from their halves."""
        points = np.empty((*even.shape[:-1], self._points), np.float32)
        points[..., : self._pairs] = even + odd
        points[..., self._pairs :] = (even - odd)[..., self._points - self._pairs - 1 :: -1]
        return points

    def points_of(self, lines: Ints) -> Float32s:
        """As `Interpolation.points_of`."""
        even, odd = (half.reshape(-1, self._pairs)[lines] for half in (self._even, self._odd))
        return self._unfolded(even, odd)

    def last_points_of(self, lines: Ints) -> Float32s:
        """As `Interpolation.last_points_of`."""
        even, odd = (half.reshape(-1, self._pairs)[lines, 0] for half in (self._even, self._odd))
        return np.asarray(even - odd, np.float32)
