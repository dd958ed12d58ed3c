"""All measures of a run of blocks (50 ms each), in one record a block.

Decides nothing about time: it is fed clean frames that end with a block, and told to start
anew after a gap. The parts may run beside each other, and beside the caller, in threads of
their own; the results are the same.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp import dc
from meter.dsp.decimator import Decimator
from meter.dsp.dropouts import Dropouts
from meter.dsp.flat_tops import FlatTops
from meter.dsp.grid import CELLS_A_BLOCK, Grid
from meter.dsp.k_weighting import k_filter
from meter.dsp.low_bands import LowBands
from meter.dsp.true_peak import Peaks, TruePeakMeter, no_peaks
from meter.dsp.window import Window
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

_FLOOR: Final = 1e-18
"""Filter memories under this (-360 dB) are dropped in digital silence."""


_Begun = tuple[Blocks, Peaks | Future[Peaks], tuple[Future[None], ...]]


class Analyser:
    """The stages in order.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
        1 to 6; pair measures are taken on the first two.
    crossover_hz : float
        Upper end of the band below the crossover.
    limit : float
        Amplitude above which the true peak is an over.
    low_end : bool
        Measure the low bands.
    low_audio : bool
        Keep the signal at the lower rate of each batch, for `take_low_audio`.
    beside : bool
        Run the parts in two threads, beside the caller.
    from_silence : bool
        Silence comes before the first frame; see `TruePeakMeter`.
    """

    def __init__(
        self,
        grid: Grid,
        *,
        channels: int,
        crossover_hz: float,
        limit: float,
        low_end: bool,
        low_audio: bool,
        beside: bool,
        from_silence: bool,
    ) -> None:
        self._grid = grid
        self._channels = channels
        self._k = k_filter(grid, channels=channels)
        self.peaks = TruePeakMeter(grid, channels=channels, limit=limit, from_silence=from_silence)
        self._low = LowBands(grid, crossover_hz=crossover_hz) if low_end and channels > 1 else None
        # A mono file has no low bands, which compare sides, but it has a low end.
        self._decimator = Decimator(grid, channels=1) if low_audio and self._low is None else None
        self._keeps_low_audio = low_audio
        self._low_audio: Floats | None = None
        self._flat = FlatTops(grid, channels=channels)
        self._dropouts = Dropouts(grid)
        past = max(self.peaks.past_frames, self._flat.past_frames, self._dropouts.past_frames)
        past = max(past, self._low.past_frames if self._low else 0)
        past = max(past, self._decimator.past_frames if self._decimator else 0)
        self._window = Window(channels=channels, past_frames=past)
        self._helpers = ThreadPoolExecutor(2, "beside") if beside else None
        self._begun: _Begun | None = None

    def reset(self, *, from_silence: bool) -> None:
        """As a new object."""
        self._k.reset()
        self.peaks.reset(from_silence=from_silence)
        if self._low:
            self._low.reset()
        if self._decimator:
            self._decimator.reset()
        self._flat.reset()
        self._dropouts.reset()
        self._window.reset()

    def settle(self) -> None:
        """After a block of digital silence."""
        self._k.settle(_FLOOR)
        if self._low:
            self._low.settle(_FLOOR)

    def is_at_rest(self) -> bool:
        """Whether silence would give nothing but zeros. Always false where blocks differ in length."""
        return (
            self._grid.is_regular
            and self._k.is_at_rest()
            and (self._low is None or self._low.is_at_rest())
            and self._window.is_silent()
        )

    def rest(self, *, blocks: int, frames: int) -> Blocks:
        """Records of blocks of silence, `frames` long each, at rest."""
        records = np.zeros(blocks, BLOCK)
        records["frames"] = frames
        if self._low:
            records["low_count"] = self._low.count_in(frames)
        return records

    def close(self) -> None:
        """End the threads."""
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
        assert self._begun is None, "one batch at a time: finish the last one first"
        records = np.zeros(blocks, BLOCK)
        records["frames"] = len(frames) // blocks
        self._window.push(frames)
        if self._helpers:
            peaks = self._helpers.submit(self.peaks.process, self._window, blocks=blocks)
            others = (
                self._helpers.submit(self._set_levels, records, blocks, first_block),
                self._helpers.submit(self._set_low_end, records, blocks),
            )
            self._begun = records, peaks, others
        else:
            self._set_levels(records, blocks, first_block)
            self._set_low_end(records, blocks)
            self._begun = records, self.peaks.process(self._window, blocks=blocks), ()

    def finish(self) -> tuple[Blocks, Peaks]:
        """Records of the blocks that were begun, and their true peaks."""
        assert self._begun is not None, "nothing was begun"
        (records, found, others), self._begun = self._begun, None
        for job in others:
            job.result()
        peaks = found.result() if isinstance(found, Future) else found
        true_peaks = records["true_peak"][:, : self._channels]
        np.maximum(peaks.amplitudes, records["sample_peak"][:, : self._channels], out=true_peaks)
        return records, peaks

    def _set_levels(self, records: Blocks, blocks: int, first_block: int) -> None:
        """Everything but true peak and low end; writes only its own columns."""
        self._set_k(records, blocks, first_block)
        self._set_pair_sums(records, blocks)
        self._set_samples(records, blocks)

    def _set_low_end(self, records: Blocks, blocks: int) -> None:
        """Writes only its own columns, so it may run beside the rest."""
        decimated: Floats | None = None
        if self._low:
            decimated = self._low.decimated(self._window, blocks=blocks)
            records["low"], records["low_count"] = self._low.sums_of(decimated, blocks=blocks)
        elif self._decimator:
            decimated = self._decimator.process(self._window, blocks=blocks)
        if self._keeps_low_audio:
            self._low_audio = decimated

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
            self._set_low_end(record, 1)
            peaks = self.peaks.process(self._window, blocks=1)
            record["true_peak"][:, : self._channels] = np.maximum(
                peaks.amplitudes, record["sample_peak"][:, : self._channels]
            )
        else:
            self._window.push(frames)
            record["flat_tops"], record["flat_frames"] = self._flat.finish_waiting(
                self._window.planar(self._flat.past_frames)
            )
        return record, peaks, self.peaks.finish(self._window, goes_on=goes_on)

    def _set_samples(self, records: Blocks, blocks: int, *, is_last: bool = False) -> None:
        """What is read from the samples as they are: peaks, DC, flat tops, drop-outs."""
        planar = self._window.planar()
        parts = planar.reshape(self._channels, blocks, -1)
        highest, lowest = parts.max(axis=2), parts.min(axis=2)
        tops = np.maximum(highest, -lowest)
        records["sample_peak"][:, : self._channels] = tops.T
        records["sum"][:, : self._channels] = dc.sums(planar, blocks=blocks)
        look = self._flat.finish if is_last else self._flat.process
        flat = look(self._window.planar(self._flat.past_frames), highest, lowest)
        records["flat_tops"], records["flat_frames"] = flat
        past = self._window.planar(self._dropouts.past_frames)
        records["dropouts"], records["dropout_frames"] = self._dropouts.process(past, tops.max(axis=0))

    def _set_k(self, records: Blocks, blocks: int, first_block: int) -> None:
        """K-weighted energy of the blocks and power of their cells."""
        weighted = self._k.process(self._window.planar(), blocks=blocks)
        if self._grid.is_regular:
            cells = weighted.reshape(blocks, self._channels, CELLS_A_BLOCK, -1)
            sums = np.vecdot(cells, cells).astype(np.float64).swapaxes(1, 2)
            lengths = np.full((CELLS_A_BLOCK, 1), cells.shape[-1])
        else:
            edges = self._grid.cell_edges(first_block * CELLS_A_BLOCK, CELLS_A_BLOCK + 1)
            sums = np.add.reduceat(weighted[0] ** 2, edges[:-1], axis=1).T[None]
            lengths = np.diff(edges)[:, None]
        records["cell_power"][..., : self._channels] = sums / lengths
        records["k_energy"][:, : self._channels] = sums.sum(axis=1)

    def _set_pair_sums(self, records: Blocks, blocks: int) -> None:
        """Sums of left, right and their product over the full range."""
        planar = self._window.planar()
        if self._grid.is_regular and planar.shape[1] % (blocks * CELLS_A_BLOCK) == 0:
            # Short float32 sums, added up in float64: an exact cancellation stays one.
            planar = planar.reshape(self._channels, blocks, CELLS_A_BLOCK, -1)
            parts = [np.vecdot(planar[a], planar[b]) for a, b in self._pairs()]
            sums = np.add.reduce(np.array(parts, np.float64), axis=-1)
        else:
            wide = planar.astype(np.float64).reshape(self._channels, blocks, -1)
            sums = np.array([np.vecdot(wide[a], wide[b]) for a, b in self._pairs()])
        records["full"][:, : len(sums)] = sums.T

    def _pairs(self) -> list[tuple[int, int]]:
        return [(0, 0)] if self._channels == 1 else [(0, 0), (1, 1), (0, 1)]
