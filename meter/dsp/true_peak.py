"""True peak: the highest point of the waveform between and on the samples, per channel.

Oversampling by the filters of `interpolator` (a matrix product a block for each offset), then a
sine through the three highest neighbouring points. Readings lag the samples by half a filter
(0.75 ms at 48 kHz); `finish` brings the last of them.

Source
------
ITU-R BS.1770-5 (11/2023), Annex 2: oversample to at least 192 kHz and take the magnitude; the
printed filter is one that satisfies the requirement, not the only one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.grid import Grid
from meter.dsp.interpolator import TAPS, interpolating_filters, oversampling
from meter.dsp.peak_fit import largest_rise, sine_peaks
from meter.dsp.window import Window
from meter.units import Floats, Samples

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

LAG_FRAMES: Final = TAPS // 2
"""A reading belongs to the frame this far behind the newest sample."""

_GROUP: Final = 32
"""Output frames in one row of the matrix product."""

_STRIP_BLOCKS: Final = 16
"""Blocks that are worked on at once, so that they stay in the processor's nearest memory."""


@dataclass(frozen=True, slots=True)
class Peaks:
    """What one call found.

    ``amplitudes`` has shape (blocks, channels). The other three list, for each frame where the
    limit was passed: the frame (counted from the first frame of the call, may be negative by
    `LAG_FRAMES`), the channel, and the amplitude.
    """

    amplitudes: Floats
    over_frames: Ints
    over_channels: Ints
    over_amplitudes: Floats


def no_peaks(channels: int) -> Peaks:
    """What silence gives."""
    return Peaks(np.zeros((1, channels)), np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0))


class TruePeakMeter:
    """True peak of a stream of blocks.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
        Number of channels.
    limit : float
        Amplitude above which a point is an over.
    """

    past_frames: Final = TAPS - 1

    def __init__(self, grid: Grid, *, channels: int, limit: float) -> None:
        self.limit = limit
        self._channels = channels
        self._factor = oversampling(grid.rate_hz)
        self._group = grid.divisor_near(_GROUP) if grid.is_regular else _GROUP
        longest = grid.block_frames(0) + (0 if grid.is_regular else 1)
        self._rows = -(-longest // self._group)
        self._kernels = [self._toeplitz(taps) for taps in interpolating_filters(self._factor)]
        self._threshold = 1.0 / largest_rise(self._factor)
        self._input: Float32s = np.zeros((0, 0, 0), np.float32)
        self._fine: Float32s = np.zeros((0, 0, 0, 0), np.float32)
        self._height: Float32s = np.zeros((0, 0, 0), np.float32)
        self._scratch: Float32s = self._height
        self._last_point: Float32s = np.zeros(channels, np.float32)

    def _toeplitz(self, taps: Floats) -> Float32s:
        """Matrix from a row of samples to the points at one offset behind each of its frames."""
        kernel = np.zeros((self._group + TAPS - 1, self._group), np.float32)
        for frame in range(self._group):
            kernel[frame : frame + TAPS, frame] = taps
        return kernel

    def reset(self) -> None:
        """Back to silence, as a new object."""
        self._last_point[:] = 0.0

    def process(self, window: Window, *, blocks: int) -> Peaks:
        """Peaks of the newest frames in the window, which are `blocks` blocks of one length."""
        frames = window.frames // blocks
        channels, group, rows = self._channels, self._group, self._rows
        self._reserve(blocks)
        planes = self._input.reshape(blocks, channels, rows, group + TAPS - 1)
        views = None
        if frames == rows * group:
            views = window.strided(
                self.past_frames, blocks=blocks, rows=rows, step=group, width=group + TAPS - 1
            )
        else:
            self._copy_ragged(planes, window, frames)
        for first in range(0, blocks, _STRIP_BLOCKS):
            strip = slice(first, first + _STRIP_BLOCKS)
            if views is not None:
                np.copyto(planes[strip], views[strip])
            self._interpolate(strip)
        height = self._height.reshape(blocks * channels, -1)[:, :frames]
        return self._read(planes, height, blocks, frames)

    def _reserve(self, blocks: int) -> None:
        if self._input.shape[0] == blocks:
            return
        height = self._channels * self._rows
        width = self._group + TAPS - 1
        self._input = np.zeros((blocks, height, width), np.float32)
        self._fine = np.empty((len(self._kernels), blocks, height, self._group), np.float32)
        # Kept from call to call: fresh memory of this size costs more than the arithmetic on it.
        self._height = np.empty(self._fine.shape[1:], np.float32)
        self._scratch = np.empty((min(blocks, _STRIP_BLOCKS), *self._fine.shape[2:]), np.float32)

    def _copy_ragged(self, planes: Float32s, window: Window, frames: int) -> None:
        """One block that does not fill the rows: pad with zeros, the shape stays."""
        padded = np.zeros((self._channels, self._rows * self._group + TAPS - 1), np.float32)
        padded[:, : frames + TAPS - 1] = window.planar(self.past_frames)
        views = np.lib.stride_tricks.sliding_window_view(padded, self._group + TAPS - 1, axis=1)
        planes[0] = views[:, :: self._group]

    def _interpolate(self, strip: slice) -> None:
        """The points between the samples of some blocks, and the highest from each sample to the next."""
        left = TAPS // 2 - 1
        samples, height = self._input[strip], self._height[strip]
        scratch = self._scratch[: len(height)]
        np.abs(samples[..., left : left + self._group], out=height)
        for kernel, fine in zip(self._kernels, self._fine, strict=True):
            points = fine[strip]
            np.matmul(samples, kernel, out=points)
            np.abs(points, out=scratch)
            np.maximum(height, scratch, out=height)

    def _read(self, planes: Float32s, height: Float32s, blocks: int, frames: int) -> Peaks:
        channels = self._channels
        peaks = height.max(axis=1)
        threshold = np.where(peaks > 0.0, peaks * np.float32(self._threshold), np.float32(np.inf))
        row, frame = self._candidates(height, threshold)
        fitted = self._fit(planes, row, frame, blocks, frames).astype(np.float32).astype(np.float64)
        amplitudes = peaks.astype(np.float64)
        np.maximum.at(amplitudes, row, fitted)
        over_row, over_frame, over_height = self._overs(height, amplitudes, row, frame, fitted)
        return Peaks(
            amplitudes.reshape(blocks, channels),
            over_row // channels * frames + over_frame - LAG_FRAMES,
            over_row % channels,
            over_height,
        )

    def _candidates(self, height: Float32s, threshold: Float32s) -> tuple[Ints, Ints]:
        """Row and frame of every point over the threshold that is no lower than its neighbours."""
        row, frame = np.divmod(np.flatnonzero(height >= threshold[:, None]), height.shape[1])
        here = height[row, frame]
        before = height[row, np.maximum(frame - 1, 0)]
        after = height[row, np.minimum(frame + 1, height.shape[1] - 1)]
        # Strict on one side: a plateau gives one point, not all of them.
        is_top = ((here > before) | (frame == 0)) & (here >= after)
        return row[is_top], frame[is_top]

    def _fit(self, planes: Float32s, row: Ints, frame: Ints, blocks: int, frames: int) -> Floats:
        """Peak of the sine through the highest point of each candidate and its two neighbours."""
        channels, factor, group = self._channels, self._factor, self._group
        samples = planes.reshape(blocks * channels, self._rows, -1)
        fine = self._fine.reshape(factor - 1, blocks * channels, -1)
        ends = fine[-1, :, frames - 1]
        starts = np.concatenate([self._last_point, ends[:-channels]])
        self._last_point = ends[-channels:].copy()
        left = TAPS // 2 - 1
        which, place = np.divmod(frame, group)
        points = np.empty((factor + 2, len(row)))
        before = np.maximum(frame - 1, 0)
        points[0] = np.where(frame > 0, fine[-1, row, before], starts[row])
        points[1] = samples[row, which, left + place]
        for phase in range(factor - 1):
            points[2 + phase] = fine[phase, row, frame]
        points[-1] = samples[row, which, left + 1 + place]
        top = np.abs(points[1:-1]).argmax(axis=0)
        every = np.arange(len(row))
        return sine_peaks(points[top, every], points[top + 1, every], points[top + 2, every], factor=factor)

    def _overs(
        self, height: Float32s, amplitudes: Floats, row: Ints, frame: Ints, fitted: Floats
    ) -> tuple[Ints, Ints, Floats]:
        """Every frame whose highest point, fitted where a fit was made, passes the limit."""
        rows = np.flatnonzero(amplitudes > self.limit)
        if len(rows) == 0:
            return np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0)
        which, frames = np.nonzero(height[rows] > self.limit)
        fits = fitted > self.limit
        all_rows = np.concatenate([rows[which], row[fits]])
        all_frames = np.concatenate([frames, frame[fits]])
        heights = np.concatenate([height[rows[which], frames].astype(np.float64), fitted[fits]])
        return all_rows, all_frames, heights

    def finish(self, window: Window) -> Peaks:
        """The last peaks: the signal is followed by silence."""
        window.push(np.zeros((LAG_FRAMES, self._channels), np.float32))
        return self.process(window, blocks=1)


def true_peaks(samples: Samples, *, rate_hz: int) -> Floats:
    """True peak of each channel of a whole array.

    Parameters
    ----------
    samples : ndarray, shape (frames, channels)
        Full scale 1.0, finite.
    rate_hz : int
        Sample rate, 8000 to 384000.

    Returns
    -------
    ndarray, shape (channels,)
        Amplitudes; 1.0 is 0 dBTP.
    """
    grid = Grid(rate_hz)
    frames, channels = samples.shape
    meter = TruePeakMeter(grid, channels=channels, limit=np.inf)
    window = Window(channels=channels, past_frames=meter.past_frames)
    highest = np.abs(samples).max(axis=0, initial=0.0).astype(np.float64)
    start, block = 0, 0
    while start < frames:
        stop = min(frames, start + grid.block_frames(block))
        window.push(samples[start:stop])
        highest = np.maximum(highest, meter.process(window, blocks=1).amplitudes.max(axis=0))
        start, block = stop, block + 1
    return np.asarray(np.maximum(highest, meter.finish(window).amplitudes[0]))
