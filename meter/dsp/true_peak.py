"""True peak: the highest point of the waveform between and on the samples, per channel.

Oversampling by the filters of `interpolator`, where `peak_places` does not rule a peak out, then a
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
from meter.dsp.interpolation import LINE_FRAMES, PAST_FRAMES, Interpolation
from meter.dsp.interpolator import TAPS, oversampling
from meter.dsp.peak_fit import largest_rise, sine_peaks, top_peaks
from meter.dsp.peak_places import PeakPlaces
from meter.dsp.window import Window
from meter.units import Floats, Samples

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

LAG_FRAMES: Final = TAPS // 2
"""A reading belongs to the frame this far behind the newest sample."""

EDGE_FRAMES: Final = TAPS - 1
"""So many frames' points are made of a sample before the first one too."""


_NEIGHBOURS: Final = np.array([[-1], [0], [1]])
_NONE: Final = np.zeros(0, np.int64)
_NO_HEIGHTS: Final = np.zeros(0)


@dataclass(frozen=True, slots=True)
class Peaks:
    """What one call found.

    ``amplitudes`` has shape (blocks, channels). The other three list, for each point above the
    limit: the frame (counted from the first frame of the call, may be negative by `LAG_FRAMES`), the
    channel, and the amplitude.
    """

    amplitudes: Floats
    over_frames: Ints
    over_channels: Ints
    over_amplitudes: Floats


def no_peaks(channels: int, *, amplitudes: Floats | None = None) -> Peaks:
    """What silence gives, or what has these amplitudes and no over."""
    made = np.zeros((1, channels)) if amplitudes is None else amplitudes
    return Peaks(made, _NONE, _NONE, _NO_HEIGHTS)


def _begins(rows: Ints) -> Ints:
    """Where each run of equal numbers begins; there is at least one number."""
    begins = np.empty(len(rows), np.bool_)
    begins[0] = True
    np.not_equal(rows[1:], rows[:-1], out=begins[1:])
    return begins.nonzero()[0]


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
        self._edge_frames = 0 if from_silence else EDGE_FRAMES
        self._channels = channels
        self._factor = oversampling(grid.rate_hz)
        self._points = Interpolation(self._factor)
        self._places = PeakPlaces(grid, channels=channels, factor=self._factor)
        self._share = 1.0 / largest_rise(self._factor)
        self._heights: Float32s = np.empty((0, self._points.width), np.float32)

    @property
    def limit(self) -> float:
        """Amplitude above which a point is an over; may be set between two calls."""
        return self._limit

    @limit.setter
    def limit(self, limit: float) -> None:
        self._limit = limit
        nearest = np.float32(limit)
        is_above = float(nearest) > limit
        self._limit_below = np.nextafter(nearest, np.float32(0.0)) if is_above else nearest
        """The highest float32 that is not above the limit."""

    def reset(self, *, from_silence: bool = True) -> None:
        """As a new object."""
        self._edge_frames = 0 if from_silence else EDGE_FRAMES

    def process(self, window: Window, *, blocks: int) -> Peaks:
        """Peaks of the newest frames in the window, which are `blocks` blocks of one length."""
        frames = window.frames // blocks
        source = window.planar(PAST_FRAMES)
        padded = max(frames, LINE_FRAMES)
        if padded > frames:  # the last few frames of all
            source = np.concatenate([source, np.zeros((self._channels, padded - frames), np.float32)], axis=1)
        rows, first = self._places.lines(source, blocks=blocks, frames=padded, limit=self.limit)
        found = self._read(source, rows, first, blocks=blocks, frames=frames)
        self._edge_frames = max(0, self._edge_frames - window.frames)
        return found

    def _read(self, source: Float32s, rows: Ints, first: Ints, *, blocks: int, frames: int) -> Peaks:
        """Peaks and overs from the lines where they may be."""
        channels, factor = self._channels, self._factor
        if len(rows) == 0:
            return no_peaks(channels, amplitudes=np.zeros((blocks, channels)))
        block = rows // channels
        wave = self._points.waves(source, rows - block * channels, block * frames + first)
        if len(self._heights) < len(wave):
            self._heights = np.empty((2 * len(wave), wave.shape[1]), np.float32)
        heights = np.abs(wave, out=self._heights[: len(wave)])
        heights[:, 0] = heights[:, -1] = 0.0  # the neighbours' points are not of this row
        self._leave_out(heights, rows, first, frames)
        width = self._points.width
        # Not along the second axis: that takes three times as long.
        highest = np.maximum.reduceat(heights.reshape(-1), np.arange(0, heights.size, width))
        begin = _begins(rows)
        peaks = np.zeros(blocks * channels, np.float32)
        peaks[rows[begin]] = np.maximum.reduceat(highest, begin)
        # Height from which a point may lie next to the peak of its row, or is an over. Few lines have one.
        low = np.minimum(peaks * self._share, self._limit)[rows]
        lines = (highest >= low).nonzero()[0]
        rows, first, wave = rows[lines], first[lines], wave[lines]
        heights = np.abs(wave)
        self._leave_out(heights, rows, first, frames)
        tops = self._tops_of(heights, rows, first, low[lines])
        has_over = bool(np.maximum.reduce(peaks) > self._limit_below)
        overs = self._overs_in(heights) if has_over else _NONE
        amplitudes = peaks.astype(np.float64)
        wave, heights = wave.reshape(-1), heights.reshape(-1)
        if len(tops):
            left, middle, right = wave[tops + _NEIGHBOURS].astype(np.float64)
            # Next to what is left out a top may be none.
            fit = sine_peaks if self._edge_frames or frames < LINE_FRAMES else top_peaks
            fitted = fit(left, middle, right, factor=factor).astype(np.float32)
            more = tops[(fitted > self._limit_below) & (heights[tops] <= self._limit_below)]
            if len(more):
                overs = np.sort(np.concatenate([overs, more]))
            heights[tops] = fitted
            row = rows[tops // width]
            begin = _begins(row)
            row = row[begin]
            amplitudes[row] = np.maximum(amplitudes[row], np.maximum.reduceat(fitted, begin))
        if len(overs) == 0:
            return no_peaks(channels, amplitudes=amplitudes.reshape(-1, channels))
        line = overs // width
        block, channel = np.divmod(rows[line], channels)
        start = block * frames + first[line] - LAG_FRAMES
        return Peaks(
            amplitudes.reshape(-1, channels),
            start + (overs - line * width - 1) // factor,
            channel,
            heights[overs].astype(np.float64),
        )

    def _tops_of(self, heights: Float32s, rows: Ints, first: Ints, low: Float32s) -> Ints:
        """Places, counted through the lines, of the tops that may be the peak of their row."""
        flags = np.zeros(heights.shape, np.bool_)
        own, is_top = heights[:, 1:-1], flags[:, 1:-1]
        # Strict on one side: a plateau gives one point, not all of them.
        np.greater(own, heights[:, :-2], out=is_top)
        is_top &= own >= heights[:, 2:]
        is_top &= own >= low[:, None]
        if self._edge_frames:
            # The neighbours of these are not known.
            is_top &= (rows >= self._channels)[:, None] | (self._frames_of(first) > self._edge_frames)
        return flags.reshape(-1).nonzero()[0]

    def _overs_in(self, heights: Float32s) -> Ints:
        """Places of the points above the limit."""
        flags = np.zeros(heights.shape, np.bool_)
        np.greater(heights[:, 1:-1], self._limit_below, out=flags[:, 1:-1])
        return flags.reshape(-1).nonzero()[0]

    def _frames_of(self, first: Ints) -> Ints:
        """Of each line the frame of each point, shape (lines, points)."""
        return first[:, None] + np.arange(LINE_FRAMES * self._factor) // self._factor

    def _leave_out(self, heights: Float32s, rows: Ints, first: Ints, frames: int) -> None:
        """Set to zero what is not to be read: frames behind the block, and points next to an edge."""
        if frames < LINE_FRAMES:
            heights[:, 1 + frames * self._factor :] = 0.0
        if self._edge_frames:
            is_point = np.arange(LINE_FRAMES * self._factor) % self._factor != 0
            is_early = (rows < self._channels)[:, None] & (self._frames_of(first) < self._edge_frames)
            heights[:, 1:-1][is_early & is_point] = 0.0

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
