"""Points between samples, one product for each of the offsets: quickest where products are cheap."""

from __future__ import annotations

import numpy as np

from meter.dsp.grid import Grid
from meter.dsp.interpolation import LEFT_FRAMES, Float32s, Interpolation, Ints


class WholeLines(Interpolation):
    """As `Interpolation`. Its one table holds, for each frame, the highest of its sample and points."""

    def __init__(self, grid: Grid, *, channels: int) -> None:
        super().__init__(grid, channels=channels)
        self.spans = (self.group,)
        kernel = self.kernel().astype(np.float32)
        self._kernels = [np.ascontiguousarray(kernel[:, k :: self.between]) for k in range(self.between)]

    def _reserve(self, blocks: int, strip: int) -> None:
        height = self.channels * self.lines
        self._fine = np.empty((self.between, blocks, height, self.group), np.float32)
        self._input = np.empty((strip, self.channels, self.lines, self.width), np.float32)
        self._heights = np.empty((strip, height, self.group), np.float32)
        self._scratch = np.empty_like(self._heights)

    def _prepare(self, source: Float32s, blocks: int) -> None:
        """Nothing."""

    def heights_of(self, first: int, count: int) -> tuple[Float32s, ...]:
        """As `Interpolation.heights_of`."""
        strip = slice(first, first + count)
        lines, heights, scratch = self._input[:count], self._heights[:count], self._scratch[:count]
        np.copyto(lines, self.forward[strip])
        samples = lines.reshape(count, -1, self.width)
        np.abs(samples[..., LEFT_FRAMES : LEFT_FRAMES + self.group], out=heights)
        for kernel, fine in zip(self._kernels, self._fine, strict=True):
            points = fine[strip]
            np.matmul(samples, kernel, out=points)
            np.abs(points, out=scratch)
            np.maximum(heights, scratch, out=heights)
        if not self.is_filled:
            beyond = np.tile(self.beyond(), (self.channels, 1))
            heights[:, beyond] = 0.0
        return (heights.reshape(count * self.channels, -1),)

    def points_of(self, lines: Ints) -> Float32s:
        """As `Interpolation.points_of`."""
        points = np.empty((len(lines), self.between * self.group), np.float32)
        for phase, fine in enumerate(self._fine):
            points[:, phase :: self.between] = fine.reshape(-1, self.group)[lines]
        return points

    def last_points_of(self, lines: Ints) -> Float32s:
        """As `Interpolation.last_points_of`."""
        return np.asarray(self._fine[-1].reshape(-1, self.group)[lines, -1], np.float32)
