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
from meter.dsp.interpolation import LEFT_FRAMES, PAST_FRAMES
from meter.dsp.interpolator import TAPS
from meter.dsp.line_choice import interpolation
from meter.dsp.peak_fit import largest_rise, sine_peaks
from meter.dsp.window import Window
from meter.units import Floats, Samples

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

LAG_FRAMES: Final = TAPS // 2
"""A reading belongs to the frame this far behind the newest sample."""

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


class _Flags:
    """A table of flags of which few are set, found eight at a time.

    Parameters
    ----------
    rows, columns : int

    Attributes
    ----------
    table : ndarray of bool, shape (rows, columns)
    """

    def __init__(self, rows: int, columns: int) -> None:
        self._words = np.zeros(-(-rows * columns // 8), np.uint64)
        self._last = rows * columns - 1
        self.table: Bools = self._words.view(np.bool_)[: rows * columns].reshape(rows, columns)

    def places(self, apart: int) -> list[Ints]:
        """Places around every flag that is set, counted through the table.

        Each array has one place for each eight with a flag among them; together they leave no
        stretch of `apart` places out.
        """
        first = np.flatnonzero(self._words) * 8
        offsets = [*range(0, 7, min(apart, 7)), 7]
        return [np.minimum(first + offset, self._last) for offset in offsets]


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
    from_silence : bool
        Silence comes before the first frame. Otherwise what came before is not known, and over the
        first half filter samples alone count: silence in place of it would make peaks that were none.
    """

    past_frames: Final = PAST_FRAMES

    def __init__(self, grid: Grid, *, channels: int, limit: float, from_silence: bool = True) -> None:
        self.limit = limit
        self._edge_frames = 0 if from_silence else PAST_FRAMES
        self._channels = channels
        self._points = interpolation(grid, channels=channels)
        self._factor = self._points.between + 1
        self._share = np.float32(1.0 / largest_rise(self._factor))
        self._peaks: Float32s = np.empty(0, np.float32)

    def reset(self, *, from_silence: bool = True) -> None:
        """As a new object."""
        self._points.reset()
        self._edge_frames = 0 if from_silence else PAST_FRAMES

    def process(self, window: Window, *, blocks: int) -> Peaks:
        """Peaks of the newest frames in the window, which are `blocks` blocks of one length."""
        points = self._points
        points.begin(window, blocks=blocks, strip_blocks=_STRIP_BLOCKS)
        self._reserve(blocks * self._channels)
        for first in range(0, blocks, _STRIP_BLOCKS):
            self._look_at(first, min(_STRIP_BLOCKS, blocks - first))
        found = self._read(self._lines(), window.frames // blocks)
        points.end()
        self._edge_frames = max(0, self._edge_frames - window.frames)
        return found

    def _reserve(self, rows: int) -> None:
        if len(self._peaks) != rows:
            self._peaks = np.empty(rows, np.float32)
            self._threshold = np.empty((rows, 1), np.float32)
            self._near = [_Flags(rows, self._points.lines * span) for span in self._points.spans]

    def _look_at(self, first: int, blocks: int) -> None:
        """Highest point of each row (block and channel) of a strip, and where a peak may be."""
        rows = slice(first * self._channels, (first + blocks) * self._channels)
        tables = self._points.heights_of(first, blocks)
        peaks = np.maximum.reduce([table.max(axis=1) for table in tables], out=self._peaks[rows])
        if self._edge_frames and first == 0:
            # The points that count are found in the lines then; this is low enough to find them.
            samples = self._points.forward[0, :, :, LEFT_FRAMES : LEFT_FRAMES + self._points.group]
            peaks[: self._channels] = np.abs(samples).max(axis=(1, 2))
        threshold = self._threshold[rows]
        threshold[:, 0] = self._low_enough(peaks)
        for table, near in zip(tables, self._near, strict=True):
            np.greater_equal(table, threshold, out=near.table[rows])

    def _lines(self) -> Ints:
        """The lines in which a peak may be, counted through all rows."""
        marked = np.zeros(len(self._peaks) * self._points.lines, np.bool_)
        for near, span in zip(self._near, self._points.spans, strict=True):
            for place in near.places(span):
                marked[place // span] = True
        return np.flatnonzero(marked)

    def _low_enough(self, peaks: Float32s) -> Float32s:
        """Height from which a point may lie next to the peak of its row, or is an over."""
        near = peaks * self._share
        low = np.where(peaks > self.limit, np.minimum(near, np.float32(self.limit)), near)
        return np.where(peaks > 0.0, low, np.float32(np.inf))

    def _read(self, lines: Ints, frames: int) -> Peaks:
        """Peaks and overs from the lines where they may be."""
        points, channels = self._points, self._channels
        rows = lines // points.lines
        # The last point before the line, then samples and the points between them, one sample after it.
        wave = points.waves(lines)
        width = wave.shape[1]
        heights = np.abs(wave)
        place = np.flatnonzero(heights >= self._threshold[rows])
        line = place // width
        step = place - line * width - 1
        frame = (lines - rows * points.lines)[line] * points.group + step // self._factor
        # What comes after the block may stand in its last line.
        is_own = (step >= 0) & (step < width - 2) & (frame < frames)
        if self._edge_frames:
            is_own &= (rows[line] >= channels) | (frame >= self._edge_frames) | (step % self._factor == 0)
        place, line, frame = place[is_own], line[is_own], frame[is_own]
        wave, heights = wave.reshape(-1), heights.reshape(-1)
        height = heights[place]
        # Strict on one side: a plateau gives one point, not all of them.
        is_top = np.flatnonzero((height > heights[place - 1]) & (height >= heights[place + 1]))
        amplitudes = self._peaks.astype(np.float64)
        if self._edge_frames:
            np.maximum.at(amplitudes, rows[line], height)
            # The neighbours of these are not known.
            is_top = is_top[(rows[line[is_top]] >= channels) | (frame[is_top] > self._edge_frames)]
        before, middle, after = (wave[place[is_top] + k].astype(np.float64) for k in (-1, 0, 1))
        fitted = sine_peaks(before, middle, after, factor=self._factor).astype(np.float32)
        height[is_top] = fitted
        np.maximum.at(amplitudes, rows[line[is_top]], fitted)
        is_over = np.flatnonzero(height > np.float64(self.limit))
        row = rows[line[is_over]]
        block = row // channels
        return Peaks(
            amplitudes.reshape(-1, channels),
            block * frames + frame[is_over] - LAG_FRAMES,
            row - block * channels,
            height[is_over].astype(np.float64),
        )

    def finish(self, window: Window, *, goes_on: bool = False) -> Peaks:
        """The last peaks, of the `LAG_FRAMES` newest frames.

        Parameters
        ----------
        goes_on : bool
            What followed is lost. Then samples alone count: a point needs what lies on both its sides, and
            silence in place of it would make peaks that were none. Otherwise silence follows.
        """
        if goes_on:
            return self._of_samples(window.planar(PAST_FRAMES)[:, -LAG_FRAMES:])
        window.push(np.zeros((LAG_FRAMES, self._channels), np.float32))
        return self.process(window, blocks=1)

    def _of_samples(self, planar: Float32s) -> Peaks:
        heights = np.abs(planar)
        channel, frame = np.nonzero(heights > np.float64(self.limit))
        over = heights[channel, frame].astype(np.float64)
        return Peaks(heights.max(axis=1)[None].astype(np.float64), frame - LAG_FRAMES, channel, over)


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
