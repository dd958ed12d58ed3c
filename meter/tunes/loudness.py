"""How loud a set is, second by second, and how loud a stretch of it is where it is loud.

A tune has breakdowns 5 to 12 LU under its drops, so no mean says how loud it is. What counts is the 90th
percentile of S where the tune plays out: 3 LU and more under it is breakdown, and does not count.
Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meter.readings import LONG_ROWS
from meter.soundings import AFTER_GAP, CUT_SHORT, Soundings
from meter.tunes.level import Mask
from meter.units import LOUDNESS_OFFSET_DB, Floats, powers_to_db

QUIET_LUFS: Final = -60.0
"""Less than this is silence."""

PERCENTILE: Final = 90.0

BREAKDOWN_LU: Final = 4.0
"""What lies so far under the 90th percentile is no part of how loud a tune is."""


def short_term_by_second(rows: Soundings, *, rate_hz: int, weights: Sequence[float]) -> Floats:
    """S at the end of every second of a pass.

    Parameters
    ----------
    rows : ndarray of `SOUNDING`, shape (n,)
        A whole pass, or its beginning.
    rate_hz : int
    weights : sequence of float
        Loudness weight of each channel.

    Returns
    -------
    ndarray of float64, shape (whole seconds,)
        LUFS; NaN where there was no whole window of 3 s, as next to a gap; -inf in silence.
    """
    if len(rows) == 0:
        return np.empty(0)
    power = rows["k_power"][:, : len(weights)].astype(np.float64) @ np.asarray(weights)
    sums = np.concatenate([[0.0], np.cumsum(power)])
    whole = np.full(len(rows), np.nan)
    if len(rows) >= LONG_ROWS:
        mean = np.maximum(sums[LONG_ROWS:] - sums[:-LONG_ROWS], 0.0) / LONG_ROWS
        mean[mean < 1e-12] = 0.0  # what is left of a difference of sums is silence
        whole[LONG_ROWS - 1 :] = powers_to_db(mean) + LOUDNESS_OFFSET_DB
    whole[_next_to_a_break(rows)] = np.nan
    ends_s = (rows["start_frame"] + rows["frames"]) / rate_hz
    found = np.full(int(np.floor(ends_s[-1] + 1e-6)), np.nan)
    at = np.round(ends_s, 3)
    last = np.searchsorted(at, np.arange(1, len(found) + 1), side="right") - 1
    is_there = (last >= 0) & (np.arange(1, len(found) + 1) - at[last] < 1.0)
    found[is_there] = whole[last[is_there]]
    return found


def _next_to_a_break(rows: Soundings) -> Mask:
    """Rows whose window of 3 s would hold both sides of a gap, or a row that was cut short."""
    breaks = np.flatnonzero((rows["flags"] & (AFTER_GAP | CUT_SHORT)) != 0)
    counts = np.zeros(len(rows) + 1, np.int64)
    np.add.at(counts, breaks, 1)
    np.add.at(counts, np.minimum(breaks + LONG_ROWS - 1, len(rows)), -1)
    return np.asarray(np.cumsum(counts[:-1]) > 0)
