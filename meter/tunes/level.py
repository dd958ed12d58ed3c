"""How loud a stretch of a set is where it plays out.

A tune has breakdowns 5 to 12 LU under its drops, so no mean says how loud it is. What counts is the
90th percentile of S where the tune plays out. Common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.units import Floats

QUIET_LUFS: Final = -60.0
"""Less than this is silence."""

PERCENTILE: Final = 90.0

LEVEL_S: Final = 240
"""So much of a tune, the nearest to its border, says how loud it is there."""

BREAKDOWN_LU: Final = 3.5
"""What lies so far under what plays around it is a breakdown, and its edges until so near."""

BREAKDOWN_S: Final = 81
"""A breakdown is shorter; what is lower for longer is a quieter tune."""

EDGE_S: Final = 4
"""Left out on both sides of a breakdown: fills, builds, and the 3 s of S."""

_SILENT_LUFS: Final = -200.0

Mask = npt.NDArray[np.bool_]


def level_of(loud_lufs: Floats) -> float | None:
    """The 90th percentile of S; None without any.

    Parameters
    ----------
    loud_lufs : ndarray, shape (seconds,)
        Where the tune plays out (`plays_out`).
    """
    return float(np.percentile(loud_lufs, PERCENTILE)) if len(loud_lufs) else None


def plays_out(short_term_lufs: Floats) -> Mask:
    """At which seconds a set plays out: neither silence nor a breakdown.

    A breakdown lies `BREAKDOWN_LU` under both what comes before and what comes behind it: dips that are
    shorter than `BREAKDOWN_S` are filled, as a closing does it, by ranks instead of extremes.

    Parameters
    ----------
    short_term_lufs : ndarray, shape (seconds,)
        NaN where it is not known.
    """
    heard = np.where(short_term_lufs > QUIET_LUFS, short_term_lufs, _SILENT_LUFS)
    if len(heard) == 0:
        return np.zeros(0, np.bool_)
    filled = ranked(ranked(heard, PERCENTILE), 100.0 - PERCENTILE)
    is_low = heard < filled - BREAKDOWN_LU
    near = np.convolve(is_low, np.ones(2 * EDGE_S + 1), "same") if len(heard) > 2 * EDGE_S else is_low
    return np.asarray((near[: len(heard)] < 0.5) & (heard > QUIET_LUFS))


def ranked(values: Floats, percentile: float, width: int = BREAKDOWN_S) -> Floats:
    """The percentile of the values around each, an hour at a time; beyond the ends the values there go on."""
    half = width // 2
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(values, half, "edge"), 2 * half + 1)
    rank = round(percentile / 100.0 * 2 * half)
    parts = [
        np.partition(windows[first : first + 3600], rank, axis=1)[:, rank]
        for first in range(0, len(windows), 3600)
    ]
    return np.concatenate(parts)
