"""From blocks of 50 ms to the rows of 100 ms that are kept."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.analyser import OVERLAY, Blocks
from meter.dsp.grid import BLOCKS_A_SOUNDING
from meter.soundings import BANDS, BANDS_OVERLAY, LOW_BANDS, MAX_CHANNELS, NONFINITE, SOUNDING, Soundings

_LOW: Final = len(LOW_BANDS)
_ENERGIES: Final = slice(0, MAX_CHANNELS)
_SAMPLES: Final = slice(MAX_CHANNELS, 2 * MAX_CHANNELS)
_FULL: Final = slice(2 * MAX_CHANNELS, 2 * MAX_CHANNELS + 3)
_LOWS: Final = slice(2 * MAX_CHANNELS + 3, None)


def joined(parts: list[npt.NDArray[np.void]]) -> npt.NDArray[np.void]:
    """Records one after the other; to join them costs as much as to measure some of them."""
    full = [part for part in parts if len(part)]
    return full[0] if len(full) == 1 else np.concatenate(full or parts[:1])


def make_rows(blocks: Blocks) -> Soundings:
    """Rows of whole soundings; start, maxima and overs are left to the chain."""
    return _rows(blocks.reshape(-1, BLOCKS_A_SOUNDING))


def close_row(blocks: Blocks) -> Soundings:
    """The one row of a sounding that was cut short (at most two blocks, the last one not full)."""
    return _rows(blocks.reshape(1, -1))


def _rows(pairs: Blocks) -> Soundings:
    # Ten times a second when live: few and long steps.
    rows = np.zeros(len(pairs), SOUNDING)
    seen = pairs.view(OVERLAY)
    frames = np.add.reduce(pairs["frames"], axis=1)
    rows["frames"] = frames
    sums = np.add.reduce(seen["sums"], axis=1)
    means = sums / np.maximum(frames, 1)[:, None]
    rows["k_power"], rows["dc"] = means[:, _ENERGIES], means[:, _SAMPLES]
    tops = np.maximum.reduce(seen["tops"], axis=1)
    rows["true_peak"], rows["sample_peak"] = tops[:, :MAX_CHANNELS], tops[:, MAX_CHANNELS:]
    low = sums[:, _LOWS] / np.maximum(np.add.reduce(pairs["low_count"], axis=1), 1)[:, None]
    bands = rows.view(BANDS_OVERLAY)["bands"]
    bands[:, :, :_LOW] = low.reshape(-1, _LOW, 3).swapaxes(1, 2)
    bands[:, :, len(BANDS) - 1] = means[:, _FULL]
    counts = np.add.reduce(seen["counts"], axis=1)
    if np.bitwise_or.reduce(counts, axis=None):
        _set_counts(rows, counts, pairs)
    return rows


def _set_counts(rows: Soundings, counts: np.ndarray, pairs: Blocks) -> None:
    """What most soundings have none of."""
    rows["nonfinite"] = counts[:, 0]
    rows["flags"] = np.where(counts[:, 0] > 0, NONFINITE, 0)
    for column, name in enumerate(("flat_tops", "dropouts", "dropout_frames"), start=1):
        rows[name] = np.minimum(counts[:, column], np.iinfo(SOUNDING[name]).max)
    longest = np.maximum.reduce(pairs["flat_frames"], axis=1)
    rows["flat_frames"] = np.minimum(longest, np.iinfo(SOUNDING["flat_frames"]).max)
