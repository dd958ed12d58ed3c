"""The one measuring chain: frames in, soundings out, the same live and for a file.

Input is cut anew into blocks of 50 ms counted from the start of the grid, so the same samples
in any cutting give bit-equal soundings. A gap closes the sounding before it and starts filters
and grid anew: no block, window or reading ever holds samples of both its sides.
"""

from __future__ import annotations

from collections import deque
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from meter import readings
from meter.dsp.analyser import BLOCK, Analyser, Blocks
from meter.dsp.decimator import decimation_factor
from meter.dsp.grid import BLOCKS_A_SECOND, BLOCKS_A_SOUNDING, CELLS_A_BLOCK, Grid
from meter.dsp.loudness import LoudnessMeter
from meter.dsp.overs import OverLog
from meter.dsp.runs import Run, RunPlanner
from meter.dsp.samples import clean
from meter.dsp.side import Side
from meter.dsp.true_peak import LAG_FRAMES
from meter.errors import UsageError
from meter.low_sink import LowSink
from meter.rows import close_row, joined, make_rows
from meter.soundings import (
    AFTER_GAP,
    BEFORE_GAP,
    CELLS_A_SOUNDING,
    CUT_SHORT,
    MAX_CHANNELS,
    Gap,
    Over,
    Reading,
    Soundings,
    empty_soundings,
)
from meter.standards import bs1770
from meter.units import Floats, Samples, db_to_amplitude

DEFAULT_CROSSOVER_HZ: Final = 120.0
_BATCH_BLOCKS: Final = 6 * BLOCKS_A_SECOND
"""Blocks measured at once where they have come: calls cost less, and the memory is still near."""


class Chain:
    """Measures a stream.

    Parameters
    ----------
    rate_hz : int
        Sample rate, 8000 to 384000.
    channels : int
        1 to 6. Correlation and the low end are read from the first two.
    weights : tuple of float, optional
        Loudness weight of each channel; by the channel count when not given.
    crossover_hz : float
        Upper end of the band below the crossover, 40 to 300 Hz.
    over_limit_dbtp : float
        True peak above which an over is counted; the limit itself is inside.
    low_end : bool
        Measure the low bands; off only where nothing but levels is wanted.
    is_excerpt : bool
        The sound was on before its first frame and goes on behind its last, as live sound does: it has no
        onset there in which a peak could be read. Otherwise silence surrounds it, as it does a file.
    beside : bool
        Measure in two threads beside the caller, for files: soundings come a batch (6 s) later.
    apart : bool
        Instead of that, measure true peak and low bands in a copy of this process; soundings come up to four
        batches later. Only where `meter.forked.is_possible`, and not at rates whose blocks differ in length.
    low_sink : LowSink, optional
        Gets the signal at about 3 kHz that is made here anyway, in the caller's thread.

    Raises
    ------
    UsageError
        Rate, channels, weights or crossover out of range.
    """

    def __init__(
        self,
        *,
        rate_hz: int,
        channels: int,
        weights: tuple[float, ...] | None = None,
        crossover_hz: float = DEFAULT_CROSSOVER_HZ,
        over_limit_dbtp: float = 0.0,
        low_end: bool = True,
        is_excerpt: bool = False,
        beside: bool = False,
        apart: bool = False,
        low_sink: LowSink | None = None,
    ) -> None:
        self.grid = Grid(rate_hz)
        if not 1 <= channels <= MAX_CHANNELS:
            raise UsageError(
                f"there are {channels} channels, but Leadline measures 1 to {MAX_CHANNELS}; "
                "choose a pair, for example --channels 1,2"
            )
        self.rate_hz, self.channels = self.grid.rate_hz, channels
        self.weights = bs1770.default_weights(channels) if weights is None else tuple(weights)
        if len(self.weights) != channels:
            raise UsageError(
                f"there are {len(self.weights)} weights for {channels} channels; give one for each"
            )
        self._weights = np.array(self.weights)
        apart = apart and self.grid.is_regular
        self.loudness = LoudnessMeter()
        side = Side(
            self.grid,
            channels=channels,
            crossover_hz=crossover_hz,
            limit=db_to_amplitude(over_limit_dbtp),
            low_end=low_end,
            low_audio=low_sink is not None,
            from_silence=not is_excerpt,
        )
        batch = _BATCH_BLOCKS * self.grid.block_frames(0) if apart else None
        self._analyser = Analyser(self.grid, channels=channels, side=side, beside=beside, apart_frames=batch)
        self._low_sink = low_sink
        self._low_factor = decimation_factor(self.grid)
        self._low_ready: list[tuple[Floats, bool]] = []
        self._is_excerpt = is_excerpt
        self._is_beside = beside or apart
        self._planner = RunPlanner()
        self._overs = OverLog(self.rate_hz)
        self.lost_frames = 0
        self.nonfinite_samples = 0
        self.gaps: list[Gap] = []
        self.totals = readings.Totals(channels)
        self.recent = readings.Recent()
        self._has_ended = False
        self._pending = np.zeros((0, channels), np.float32)
        self._filled = 0
        self._pass_start = 0  # frame, of all frames so far, where this pass began: start or mark
        self._grid_start = 0  # frame where the grid began: start, or behind the last gap
        self._start_grid(flags=0)

    def _start_grid(self, *, flags: int) -> None:
        self._low_index = round(self._grid_start / self._low_factor)
        self._block = 0
        self._waiting: Blocks = np.zeros(0, BLOCK)
        self._flights: deque[tuple[int, npt.NDArray[np.bool_] | None]] = deque()
        self.newest_peaks: Floats = np.zeros((0, self.channels))
        self._has_bad = False  # whether a sample was no number since the grid began
        self._early: list[Soundings] = []
        self._new_overs: list[int] = []
        self._next_flags = flags

    @property
    def overs(self) -> list[Over]:
        """Overs since the start of the pass (the first 20000 of them)."""
        return self._overs.overs

    @property
    def over_count(self) -> int:
        """How many overs since the start of the pass."""
        return self._overs.count

    @property
    def frames(self) -> int:
        """Frames since the start of the pass, lost ones included."""
        return (
            self._grid_start
            + self.grid.cell_edge(self._block * CELLS_A_BLOCK)
            + self._filled
            - self._pass_start
        )

    @property
    def measured_from_frame(self) -> int:
        """Where I, LRA and the maxima began, since the start of the pass: 0, or behind the last gap."""
        return max(0, self._grid_start - self._pass_start)

    def process(self, block: Samples) -> Soundings:
        """Take any number of frames, shape (n, channels); the soundings they complete.

        Raises
        ------
        UsageError
            The block has another number of channels than the chain.
        """
        if block.ndim != 2:
            raise UsageError(
                f"the block has the shape {block.shape}, but frames and channels were expected; "
                f"reshape it to (frames, {self.channels})"
            )
        if block.shape[1] != self.channels:
            raise UsageError(
                f"the block has {block.shape[1]} {'channel' if block.shape[1] == 1 else 'channels'}, but "
                f"this chain was opened with {self.channels}; open a new chain when the input changes"
            )
        if self._has_ended and len(block):
            self._begin_pass(flags=0)
        done, self._early = self._early, []
        at = 0
        while at < len(block):
            room = self._batch_frames() - self._filled
            part = block[at : at + room]
            at += len(part)
            if self._is_ready(part):
                self._run_whole_blocks(part, done)
                continue
            self._put_pending(part)
            rest = self._run_whole_blocks(self._pending[: self._filled], done)
            if 0 < rest < self._filled:
                self._pending[:rest] = self._pending[self._filled - rest : self._filled]
            self._filled = rest
        return joined(done) if done else empty_soundings()

    def _is_ready(self, part: Samples) -> bool:
        """Whether frames can be measured where they lie: whole blocks, as live sound and files give them."""
        return (
            self._filled == 0
            and part.dtype == np.float32
            and part.flags.c_contiguous
            and len(part) % self.grid.block_frames(self._block) == 0
            and (self.grid.is_regular or len(part) == self.grid.block_frames(self._block))
        )

    def _put_pending(self, part: Samples) -> None:
        room = self._pending[self._filled : self._filled + len(part)]
        with np.errstate(over="ignore"):  # a float64 beyond float32 becomes infinite, and is counted so
            room[:] = part
        self._filled += len(part)

    def _batch_frames(self) -> int:
        """Room for pending frames: a batch where blocks are equal, else one block."""
        frames = self.grid.block_frames(self._block)
        if self.grid.is_regular:
            frames *= _BATCH_BLOCKS
        if len(self._pending) < frames:
            grown = np.zeros((frames, self.channels), np.float32)
            grown[: self._filled] = self._pending[: self._filled]
            self._pending = grown
        return frames

    def _run_whole_blocks(self, frames: npt.NDArray[np.float32], done: list[Soundings]) -> int:
        """Measure the whole blocks among some frames; how many frames are left behind them."""
        length = self.grid.block_frames(self._block)
        blocks, rest = divmod(len(frames), length)
        if blocks == 0:
            return rest
        for run in self._planner.plan(frames[: blocks * length], blocks):
            self._measure(frames[run.first * length : (run.first + run.count) * length], run)
            done.append(self._close_soundings())
        return rest

    def _measure(self, frames: npt.NDArray[np.float32], run: Run) -> None:
        """Measure the blocks of a run; in lasting silence only until every filter is at rest."""
        if run.is_unclean:
            frames = frames.copy()  # they may be the caller's
            self._take(frames, run.count, clean(frames))
            return
        if not run.is_quiet:
            self._take(frames, run.count, None)
            return
        block = len(frames) // run.count
        left = run.count
        self._land()
        while left and not self._analyser.is_at_rest():
            self._take(frames[:block], 1, None)
            self._land()
            self._analyser.settle()
            left -= 1
        self._waiting = np.concatenate([self._waiting, self._analyser.rest(blocks=left, frames=block)])
        self._block += left
        if self._low_sink:
            self._low_ready.append((np.zeros((1, left * (block // self._low_factor))), True))
            self._feed_low_sink()

    def _take(self, frames: npt.NDArray[np.float32], blocks: int, bad: npt.NDArray[np.bool_] | None) -> None:
        """Start to measure blocks; beside the caller they land when later ones need the room."""
        while self._analyser.is_ready():
            self._land_first()
        self._analyser.begin(frames, blocks=blocks, first_block=self._block)
        self._flights.append((self._block, bad))
        self._block += blocks
        self._feed_low_sink()  # beside the caller the next blocks are measured meanwhile
        if not self._is_beside:
            self._land()
            self._feed_low_sink()

    def _land(self) -> None:
        """Take in all blocks that are being measured."""
        while self._flights:
            self._land_first()

    def _land_first(self) -> None:
        block, bad = self._flights.popleft()
        records, peaks = self._analyser.finish()
        self._keep_low_audio(is_clean=bad is None)
        if bad is not None:
            self._note_bad(records, bad, block)
        first_frame = self._grid_start + self.grid.cell_edge(block * CELLS_A_BLOCK) - self._pass_start
        self._new_overs += self._overs.add(peaks, first_frame=first_frame)
        self._waiting = joined([self._waiting, records])

    def _keep_low_audio(self, *, is_clean: bool) -> None:
        audio = self._analyser.take_low_audio()
        if audio is not None:
            self._low_ready.append((audio, is_clean))

    def _feed_low_sink(self) -> None:
        """Hand on what was measured to who looks at the low end."""
        ready, self._low_ready = self._low_ready, []
        for audio, is_clean in ready:
            assert self._low_sink is not None, "low audio is made only for a sink"
            if is_clean:
                self._low_sink.process(np.broadcast_to(audio, (2, audio.shape[1])).T, self._low_index)
            else:
                self._low_sink.gap()
            self._low_index += audio.shape[1]

    def _note_bad(self, records: Blocks, bad: npt.NDArray[np.bool_], block: int) -> None:
        self._has_bad = True
        edges = self.grid.cell_edges(block * CELLS_A_BLOCK, CELLS_A_BLOCK)
        cells = np.searchsorted(edges, np.flatnonzero(bad.any(axis=1)), side="right") - 1
        records["cell_bad"][0, cells] = True
        records["nonfinite"] = int(bad.sum())

    def _close_soundings(self) -> Soundings:
        whole = len(self._waiting) // BLOCKS_A_SOUNDING
        if whole == 0:
            return empty_soundings()
        blocks = self._waiting[: whole * BLOCKS_A_SOUNDING]
        self._waiting = self._waiting[whole * BLOCKS_A_SOUNDING :]
        landed = self._flights[0][0] if self._flights else self._block
        first_block = landed - len(self._waiting) - len(blocks)
        start, first_cell = self._grid_start - self._pass_start, first_block * CELLS_A_BLOCK
        rows = make_rows(blocks)
        edges = [self.grid.cell_edge(first_cell + k * CELLS_A_SOUNDING) for k in range(whole)]
        rows["start_frame"] = [start + edge for edge in edges]
        powers = self._powers_of(blocks)
        self.newest_peaks = blocks["sample_peak"]
        maxima = self.loudness.process(powers, blocks["cell_bad"].reshape(-1))
        rows["momentary_max"], rows["short_term_max"] = maxima.momentary, maxima.short_term
        return self._finish_rows(rows)

    def _finish_rows(self, rows: Soundings) -> Soundings:
        if self._next_flags:
            rows["flags"][:1] |= self._next_flags
            self._next_flags = 0
        if self._new_overs:
            self._count_overs(rows)
        if self._has_bad:
            self.nonfinite_samples += int(np.add.reduce(rows["nonfinite"]))
        self.totals.add(rows, self.recent.add(rows))
        return rows

    def _count_overs(self, rows: Soundings) -> None:
        # By the frame that brought them, like the true peak: the row where they begin may be gone already.
        end = rows["start_frame"][-1] + rows["frames"][-1] - LAG_FRAMES
        while self._new_overs and self._new_overs[0] < end:
            brought_by = self._new_overs.pop(0) + LAG_FRAMES
            rows["overs"][np.searchsorted(rows["start_frame"], brought_by, side="right") - 1] += 1

    def flush(self) -> Soundings:
        """End the pass: the sounding that is not full yet, cut short. What comes next is a new pass."""
        if self._has_ended:
            return empty_soundings()
        rows = self._cut(flags=CUT_SHORT)
        self._has_ended = True
        if self._low_sink:
            self._low_sink.flush()
        return rows

    def gap(self, frames: int) -> Soundings:
        """Frames were lost here; the sounding before them, cut short.

        Time goes on over the gap; filters, grid, windows, I and the maxima start anew behind it.

        Parameters
        ----------
        frames : int
            How many, > 0.
        """
        if frames <= 0:
            raise UsageError(f"the gap is {frames} frames long, but a gap has at least 1 frame")
        if self._has_ended:
            self._begin_pass(flags=0)
        here = self.frames
        self.gaps.append(Gap(at_s=here / self.rate_hz, frames=int(frames)))
        rows = self._cut(flags=CUT_SHORT | BEFORE_GAP)
        if self._low_sink:
            self._low_sink.gap()
        self.lost_frames += int(frames)
        self._grid_start = self._pass_start + here + int(frames)
        self._begin_pass(flags=AFTER_GAP)
        return rows

    def mark(self) -> None:
        """A new pass begins with the next sounding; filters, M and S go on."""
        self._land()
        self._early.append(self._close_soundings())
        before = self._pass_start
        self._pass_start = self._grid_start + self.grid.cell_edge(
            (self._block - len(self._waiting)) * CELLS_A_BLOCK
        )
        # The open sounding is the first of the new pass; what it has found so far stays.
        kept = self._overs.mark(self._pass_start - before)
        self._begin_totals()
        self._new_overs = kept
        self.gaps = []
        self.lost_frames = 0
        self.loudness.mark()

    def set_over_limit(self, limit_dbtp: float) -> None:
        """Count overs against another limit from the next block on.

        Of the overs known so far those stay that pass it too. Soundings keep what they have counted.
        """
        self._land()
        self._analyser.set_limit(db_to_amplitude(limit_dbtp))
        self._overs.forget_up_to(limit_dbtp)

    def _begin_pass(self, *, flags: int) -> None:
        self._has_ended = False
        if not flags:
            self._grid_start = self._pass_start = 0
            self.gaps = []
            self.lost_frames = 0
        self._filled = 0
        self._start_grid(flags=flags)
        self._planner.reset()
        self._analyser.reset(from_silence=not (self._is_excerpt or flags))
        self.loudness.reset()
        self.recent = readings.Recent()
        self._overs.reset()
        self._begin_totals()

    def _begin_totals(self) -> None:
        self.totals = readings.Totals(self.channels)
        self.nonfinite_samples = 0

    def _cut(self, *, flags: int) -> Soundings:
        """Close the soundings that are open, from the blocks that wait and the frames that are left."""
        self._land()
        whole = [*self._early, self._close_soundings()]
        self._early = []
        return np.concatenate([*whole, self._last_row(flags)])

    def _last_row(self, flags: int) -> Soundings:
        first_cell = self._block * CELLS_A_BLOCK
        first_frame = self._grid_start + self.grid.cell_edge(first_cell) - self._pass_start
        frames = self._pending[: self._filled]
        bad = clean(frames)
        edges = self.grid.cell_edges(first_cell, CELLS_A_BLOCK)
        edges = edges[edges <= len(frames)]
        goes_on = self._is_excerpt or bool(flags & BEFORE_GAP)
        record, peaks, tail = self._analyser.process_short(frames, cell_edges=edges, goes_on=goes_on)
        self._keep_low_audio(is_clean=bad is None)
        self._feed_low_sink()
        if bad is not None:
            self._note_bad(record, bad, self._block)
        self._new_overs += self._overs.add(peaks, first_frame=first_frame)
        self._new_overs += self._overs.add(tail, first_frame=first_frame + len(frames))
        record["true_peak"][:, : self.channels] = np.maximum(
            record["true_peak"][:, : self.channels], tail.amplitudes
        )
        has_news = len(self._new_overs) > 0 or bool(record["flat_tops"].any())
        has_news = has_news or self.totals.is_raised_by(tail.amplitudes[0])
        if not (len(self._waiting) or len(frames) or has_news):
            return empty_soundings()
        blocks = np.concatenate([self._waiting, record])
        rows = close_row(blocks)
        rows["start_frame"] = first_frame - int(self._waiting["frames"].sum())
        rows["flags"] |= flags
        cells = max(len(self._waiting) * CELLS_A_BLOCK + len(edges) - 1, 0)
        maxima = self.loudness.finish(
            self._powers_of(blocks)[:cells], blocks["cell_bad"].reshape(-1)[:cells]
        )
        rows["momentary_max"], rows["short_term_max"] = maxima.momentary, maxima.short_term
        rows["overs"] = len(self._new_overs)
        self._new_overs = []
        return self._finish_rows(rows)

    def reading(self, *, gated: readings.Gated | None = None) -> Reading:
        """What is known now; changes nothing. I and LRA are those of `gated`, where it is given."""
        waiting = self._powers_of(self._waiting) if len(self._waiting) else None
        return readings.reading_of(self, waiting, gated or readings.gated_of(self))

    def _powers_of(self, blocks: Blocks) -> Floats:
        """Weighted K power of the cells."""
        return np.asarray((blocks["cell_power"][..., : self.channels] @ self._weights).reshape(-1))

    def close(self) -> None:
        """End the threads or the process beside the caller, where there are any."""
        self._analyser.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
