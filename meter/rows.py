"""From blocks of 50 ms to the rows of 100 ms that are kept."""

from __future__ import annotations

import numpy as np

from meter.dsp.analyser import Blocks
from meter.dsp.grid import BLOCKS_A_SOUNDING
from meter.soundings import LOW_BANDS, NONFINITE, SOUNDING, Soundings

_FULL = len(LOW_BANDS)
_MOST = np.iinfo(np.uint16).max


def make_rows(blocks: Blocks) -> Soundings:
    """Rows of whole soundings; start, maxima and overs are left to the chain."""
    return _rows(blocks.reshape(-1, BLOCKS_A_SOUNDING))


def close_row(blocks: Blocks) -> Soundings:
    """The one row of a sounding that was cut short (at most two blocks, the last one not full)."""
    return _rows(blocks.reshape(1, -1))


def _rows(pairs: Blocks) -> Soundings:
    rows = np.zeros(len(pairs), SOUNDING)
    frames = pairs["frames"].sum(axis=1)
    rows["frames"] = frames
    rows["nonfinite"] = pairs["nonfinite"].sum(axis=1)
    rows["flags"] = np.where(rows["nonfinite"] > 0, NONFINITE, 0)
    rows["k_power"] = pairs["k_energy"].sum(axis=1) / np.maximum(frames, 1)[:, None]
    rows["momentary_max"] = rows["short_term_max"] = np.nan
    rows["sample_peak"] = pairs["sample_peak"].max(axis=1)
    rows["true_peak"] = pairs["true_peak"].max(axis=1)
    for name in ("flat_tops", "dropouts", "dropout_frames"):
        rows[name] = np.minimum(pairs[name].sum(axis=1), np.iinfo(SOUNDING[name]).max)
    rows["flat_frames"] = np.minimum(pairs["flat_frames"].max(axis=1), _MOST)
    rows["dc"] = pairs["sum"].sum(axis=1) / np.maximum(frames, 1)[:, None]
    low = pairs["low"].sum(axis=1) / np.maximum(pairs["low_count"].sum(axis=1), 1)[:, None, None]
    full = pairs["full"].sum(axis=1) / np.maximum(frames, 1)[:, None]
    for column, name in enumerate(("ll", "rr", "lr")):
        rows[name][:, :_FULL] = low[..., column]
        rows[name][:, _FULL] = full[:, column]
    return rows
