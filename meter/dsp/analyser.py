"""All measures of a run of blocks (50 ms each), in one record a block.

Decides nothing about time: it is fed clean frames that end with a block, and told to start
anew after a gap. The parts may run beside each other, and beside the caller, in threads of
their own; the results are the same.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp import dc
from meter.dsp.dropouts import Dropouts
from meter.dsp.flat_tops import FlatTops
from meter.dsp.grid import CELLS_A_BLOCK, Grid
from meter.dsp.k_weighting import k_filter
from meter.dsp.side import LowFound, Side, SideApart
from meter.dsp.true_peak import Peaks, no_peaks
from meter.dsp.window import Window, slot_bytes
from meter.soundings import LOW_BANDS, MAX_CHANNELS
from meter.units import Floats

Float32s = npt.NDArray[np.float32]

BLOCK: Final = np.dtype(
    [
        ("frames", np.int64),
        ("low_count", np.int64),  # values behind "low", which runs at a lower rate
        ("cell_power", np.float64, (CELLS_A_BLOCK, MAX_CHANNELS)),  # K-weighted mean squares
        # what a sounding adds up
        ("k_energy", np.float64, MAX_CHANNELS),  # sum of K-weighted squares
        ("sum", np.float64, MAX_CHANNELS),  # of the samples
        ("full", np.float64, 3),  # Σ L², Σ R², Σ L·R
        ("low", np.float64, (len(LOW_BANDS), 3)),
        # of what it keeps the highest
        ("true_peak", np.float64, MAX_CHANNELS),
        ("sample_peak", np.float64, MAX_CHANNELS),
        # what it counts
        ("nonfinite", np.int64),
        ("flat_tops", np.int64),
        ("dropouts", np.int64),
        ("dropout_frames", np.int64),
        ("flat_frames", np.int64),
        ("cell_bad", np.bool_, CELLS_A_BLOCK),  # holds replaced samples
    ]
)
"""What is added up, what is kept by its maximum and what is counted each lie side by side; see `OVERLAY`."""

_SIDE_BY_SIDE: Final = {"sums": ("k_energy", "low"), "tops": ("true_peak", "sample_peak")}
_COUNTED: Final = ("nonfinite", "flat_tops", "dropouts", "dropout_frames")


def _overlay() -> np.dtype[np.void]:
    fields = BLOCK.fields
    assert fields is not None
    start = {name: fields[name][1] for name in fields}
    width = {name: fields[name][0].itemsize // 8 for name in fields}
    formats: list[tuple[type, int]] = []
    offsets = []
    for first, last in _SIDE_BY_SIDE.values():
        formats.append((np.float64, (start[last] - start[first]) // 8 + width[last]))
        offsets.append(start[first])
    formats.append((np.int64, len(_COUNTED)))
    offsets.append(start[_COUNTED[0]])
    names = [*_SIDE_BY_SIDE, "counts"]
    return np.dtype({"names": names, "formats": formats, "offsets": offsets, "itemsize": BLOCK.itemsize})


OVERLAY: Final = _overlay()
"""The same record seen as three rows of numbers: ``sums``, ``tops`` and ``counts``."""

Blocks = npt.NDArray[np.void]
"""Records of `BLOCK`, shape (n,)."""

_DEPTH: Final = 4
"""So many batches may be under way in another process: with one, each side waits for the other a lot."""

_SHARED_BYTES: Final = 16 << 20
"""And so much memory they may take, where that is more than one."""

_STRIP_BLOCKS: Final = 20
"""Blocks whose loudness is worked on at once, so that they stay in the processor's nearer memory."""

_FLOOR: Final = 1e-18
"""Filter memories under this (-360 dB) are dropped in digital silence."""


_Found = tuple[Peaks, LowFound]


class Analyser:
    """The stages in order.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
        1 to 6; pair measures are taken on the first two.
    side : Side
        True peak and low end.
    beside : bool
        Run the parts in two threads, beside the caller.
    apart_frames : int, optional
        Instead of that, measure true peak and low end in a copy of this process, beside the caller, which
        measures the rest; so many frames are begun at most. See `meter.forked.is_possible`.
    """

    def __init__(
        self,
        grid: Grid,
        *,
        channels: int,
        side: Side,
        beside: bool,
        apart_frames: int | None = None,
    ) -> None:
        self._grid = grid
        self._channels = channels
        self._k = k_filter(grid, channels=channels)
        self._side = side
        self._low_audio: Floats | None = None
        self._flat = FlatTops(grid, channels=channels)
        self._dropouts = Dropouts(grid)
        past = max(self._side.past_frames, self._flat.past_frames, self._dropouts.past_frames)
        self.depth = 1
        """How many batches may be begun before the first of them is finished."""
        if apart_frames is not None:
            room = _SHARED_BYTES // slot_bytes(channels, past + apart_frames)
            self.depth = min(max(room, 1), _DEPTH)
        self._window = Window(
            channels=channels, past_frames=past, shared_frames=apart_frames, slots=self.depth
        )
        self._apart = None if apart_frames is None else SideApart(self._side, self._window)
        self._helpers = ThreadPoolExecutor(2, "beside") if beside and not self._apart else None
        self._begun: deque[tuple[Blocks, Callable[[], _Found]]] = deque()

    def reset(self, *, from_silence: bool) -> None:
        """As a new object."""
        self._k.reset()
        (self._apart or self._side).reset(from_silence=from_silence)
        self._flat.reset()
        self._dropouts.reset()
        self._window.reset()

    def settle(self) -> None:
        """After a block of digital silence."""
        self._k.settle(_FLOOR)
        (self._apart or self._side).settle(_FLOOR)

    def set_limit(self, limit: float) -> None:
        """Count overs above another amplitude from now on."""
        (self._apart or self._side).set_limit(limit)

    def is_at_rest(self) -> bool:
        """Whether silence would give nothing but zeros. Always false where blocks differ in length."""
        return (
            self._grid.is_regular
            and self._k.is_at_rest()
            and self._window.is_silent()
            and (self._apart or self._side).is_at_rest()
        )

    def rest(self, *, blocks: int, frames: int) -> Blocks:
        """Records of blocks of silence, `frames` long each, at rest."""
        records = np.zeros(blocks, BLOCK)
        records["frames"] = frames
        records["low_count"] = self._side.count_in(frames)
        return records

    def close(self) -> None:
        """End the threads, or the process."""
        if self._apart:
            self._apart.close()
        if self._helpers:
            self._helpers.shutdown()
            self._helpers = None

    def begin(self, frames: Float32s, *, blocks: int, first_block: int) -> None:
        """Start to measure whole blocks; `finish` gives what came of it.

        Parameters
        ----------
        frames : ndarray of float32, shape (n, channels)
            Finite samples of `blocks` blocks; copied here.
        first_block : int
            Index of the first of them since the grid began.
        """
        assert len(self._begun) < self.depth, "no room: finish the first batch that was begun"
        records = np.zeros(blocks, BLOCK)
        records["frames"] = len(frames) // blocks
        self._window.push(frames)
        self._begun.append((records, self._begin_parts(records, blocks, first_block)))

    def _begin_parts(self, records: Blocks, blocks: int, first_block: int) -> Callable[[], _Found]:
        """Start with what was pushed; waits, when it is called, for what was found."""
        if self._apart:
            self._apart.begin(blocks=blocks)
            self._set_levels(records, blocks, first_block)
            return self._apart.finish
        if self._helpers:
            peaks = self._helpers.submit(self._side.peaks.process, self._window, blocks=blocks)
            levels = self._helpers.submit(self._set_levels, records, blocks, first_block)
            low = self._helpers.submit(self._side.low_of, self._window, blocks=blocks)
            return lambda: (levels.result(), peaks.result(), low.result())[1:]
        self._set_levels(records, blocks, first_block)
        low_found = self._side.low_of(self._window, blocks=blocks)
        found = self._side.peaks.process(self._window, blocks=blocks), low_found
        return lambda: found

    def is_ready(self) -> bool:
        """Whether what was begun first is to be finished: it is there, or there is room for no more."""
        if not self._begun:
            return False
        is_full = len(self._begun) == self.depth
        return is_full or (self._apart is not None and self._apart.is_ready())

    def finish(self) -> tuple[Blocks, Peaks]:
        """Records of the blocks that were begun first, and their true peaks."""
        assert self._begun, "nothing was begun"
        records, wait = self._begun.popleft()
        peaks, low = wait()
        self._put_low(records, low)
        true_peaks = records["true_peak"][:, : self._channels]
        np.maximum(peaks.amplitudes, records["sample_peak"][:, : self._channels], out=true_peaks)
        return records, peaks

    def _set_levels(self, records: Blocks, blocks: int, first_block: int) -> None:
        """Everything but true peak and low end; writes only its own columns."""
        self._set_k(records, blocks, first_block)
        self._set_pair_sums(records, blocks)
        self._set_samples(records, blocks)

    def _put_low(self, records: Blocks, low: LowFound) -> None:
        if low.sums is not None:
            records["low"], records["low_count"] = low.sums, low.count
        self._low_audio = low.audio

    def take_low_audio(self) -> Floats | None:
        """The signal at the lower rate of the blocks that were finished last, shape (1 or 2, n); given once.

        None where there is none: it was not asked for, or taken before.
        """
        taken, self._low_audio = self._low_audio, None
        return taken

    def process_short(
        self, frames: Float32s, *, cell_edges: npt.NDArray[np.int64], goes_on: bool
    ) -> tuple[Blocks, Peaks, Peaks]:
        """Measure a last block that stayed short, and the true peak that lags behind it.

        Parameters
        ----------
        cell_edges : ndarray of int
            Edges of its whole cells, from 0.
        goes_on : bool
            The signal went on, but what followed is lost; otherwise silence follows.
        """
        record = np.zeros(1, BLOCK)
        record["frames"] = len(frames)
        peaks = no_peaks(self._channels)
        if len(frames):
            whole = np.zeros((self._channels, self._grid.block_frames(0)), np.float32)
            whole[:, : len(frames)] = frames.T
            weighted = self._k.process(whole, blocks=1)[0, :, : len(frames)]
            record["k_energy"][0, : self._channels] = np.vecdot(weighted, weighted, dtype=np.float64)
            for cell, (start, stop) in enumerate(pairwise(cell_edges)):
                part = weighted[:, start:stop]
                record["cell_power"][0, cell, : self._channels] = np.vecdot(part, part) / (stop - start)
            self._window.push(frames)
            self._set_pair_sums(record, 1)
            self._set_samples(record, 1, is_last=True)
            peaks, low = self._side_of_short()
            self._put_low(record, low)
            record["true_peak"][:, : self._channels] = np.maximum(
                peaks.amplitudes, record["sample_peak"][:, : self._channels]
            )
        else:
            self._window.push(frames)
            flat = self._flat.finish_waiting(self._window.planar(self._flat.past_frames))
            if flat:
                record["flat_tops"], record["flat_frames"] = flat
        if self._apart:
            return record, peaks, self._apart.last_peaks(goes_on=goes_on)
        return record, peaks, self._side.peaks.finish(self._window, goes_on=goes_on)

    def _side_of_short(self) -> _Found:
        if self._apart:
            self._apart.begin(blocks=1)
            return self._apart.finish()
        low = self._side.low_of(self._window, blocks=1)
        return self._side.peaks.process(self._window, blocks=1), low

    def _set_samples(self, records: Blocks, blocks: int, *, is_last: bool = False) -> None:
        """What is read from the samples as they are: peaks, DC, flat tops, drop-outs."""
        planar = self._window.planar()
        parts = planar.reshape(self._channels, blocks, -1)
        highest, lowest = np.maximum.reduce(parts, axis=2), np.minimum.reduce(parts, axis=2)
        tops = np.maximum(highest, -lowest)
        records["sample_peak"][:, : self._channels] = tops.T
        records["sum"][:, : self._channels] = dc.sums(planar, blocks=blocks)
        look = self._flat.finish if is_last else self._flat.process
        flat = look(self._window.planar(self._flat.past_frames), highest, lowest)
        if flat:
            records["flat_tops"], records["flat_frames"] = flat
        past = self._window.planar(self._dropouts.past_frames)
        dropouts = self._dropouts.process(past, np.maximum.reduce(tops, axis=0))
        if dropouts:
            records["dropouts"], records["dropout_frames"] = dropouts

    def _set_k(self, records: Blocks, blocks: int, first_block: int) -> None:
        """K-weighted energy of the blocks and power of their cells."""
        planar = self._window.planar()
        if self._grid.is_regular:
            length = planar.shape[1] // blocks
            for first in range(0, blocks, _STRIP_BLOCKS):
                strip = records[first : first + _STRIP_BLOCKS]
                samples = planar[:, first * length : (first + len(strip)) * length]
                weighted = self._k.process(samples, blocks=len(strip))
                cells = weighted.reshape(len(strip), self._channels, CELLS_A_BLOCK, -1)
                sums = np.vecdot(cells, cells).astype(np.float64).swapaxes(1, 2)
                self._put_k(strip, sums, cells.shape[-1])
            return
        weighted = self._k.process(planar, blocks=blocks)
        edges = self._grid.cell_edges(first_block * CELLS_A_BLOCK, CELLS_A_BLOCK + 1)
        sums = np.add.reduceat(weighted[0] ** 2, edges[:-1], axis=1).T[None]
        self._put_k(records, sums, np.diff(edges)[:, None])

    def _put_k(self, records: Blocks, sums: Floats, lengths: npt.NDArray[np.int64] | int) -> None:
        records["cell_power"][..., : self._channels] = sums / lengths
        records["k_energy"][:, : self._channels] = np.add.reduce(sums, axis=1)

    def _set_pair_sums(self, records: Blocks, blocks: int) -> None:
        """Sums of left, right and their product over the full range."""
        planar = self._window.planar()[:2]
        if self._grid.is_regular and planar.shape[1] % (blocks * CELLS_A_BLOCK) == 0:
            # Short float32 sums, added up in float64: an exact cancellation stays one.
            parts: npt.NDArray[np.floating] = planar.reshape(len(planar), blocks, CELLS_A_BLOCK, -1)
        else:
            parts = planar.astype(np.float64).reshape(len(planar), blocks, 1, -1)
        own = np.add.reduce(np.vecdot(parts, parts), axis=2, dtype=np.float64)
        records["full"][:, : len(own)] = own.T
        if len(parts) > 1:
            records["full"][:, 2] = np.add.reduce(np.vecdot(parts[0], parts[1]), axis=1, dtype=np.float64)
