"""Gated loudness, loudness range and the loudest 30 s of a list of powers.

Powers are weighted K powers (channel weights applied), linear. The same functions serve a
whole file, a chosen part of a pass and the loudest 30 s, so that they cannot disagree.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from meter.standards import bs1770
from meter.units import Floats, lufs_to_power, power_to_db, power_to_lufs

ABSOLUTE_GATE_POWER: Final = lufs_to_power(bs1770.ABSOLUTE_GATE_LUFS)
RELATIVE_GATE_RATIO: Final = 10.0 ** (bs1770.RELATIVE_GATE_LU / 10.0)
LRA_ABSOLUTE_GATE_POWER: Final = lufs_to_power(-70.0)
"""Inclusive. EBU Tech 3342 v4 (2023), reference code ABS_THRES. SEEN-S."""
LRA_RELATIVE_GATE_RATIO: Final = 10.0 ** (-20.0 / 10.0)
"""Inclusive. EBU Tech 3342 v4 (2023), reference code REL_THRES. SEEN-S."""
LRA_LOW_PCT: Final = 10.0
LRA_HIGH_PCT: Final = 95.0
"""EBU Tech 3342 v4 (2023), reference code PRC_LOW and PRC_HIGH. SEEN-S."""
LOUDEST_S: Final = 30
SOUNDINGS_A_BLOCK: Final = 4
"""A gating block is 400 ms, a step 100 ms. BS.1770-5, Annex 1."""


def gated_loudness(blocks: Floats) -> float | None:
    """Integrated loudness of gating blocks.

    Parameters
    ----------
    blocks : ndarray, shape (n,)
        Weighted K power of each 400 ms block, 100 ms apart.

    Returns
    -------
    float or None
        LUFS; ``-inf`` when no block passes the absolute gate; None without any block.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1: both gates strict.
    """
    if len(blocks) == 0:
        return None
    loud = blocks[blocks > ABSOLUTE_GATE_POWER]
    if len(loud) == 0:
        return -math.inf
    kept = loud[loud > loud.mean() * RELATIVE_GATE_RATIO]
    return power_to_lufs(float(kept.mean()))


def loudness_range(short_terms: Floats) -> float | None:
    """Loudness range of short-term powers (3 s, 100 ms apart), in LU.

    Returns
    -------
    float or None
        0 for a single value; None when none passes the absolute gate.

    Source
    ------
    EBU Tech 3342 v4 (2023): gates inclusive, percentile index round((n-1)·p/100). SEEN-S.
    """
    loud = short_terms[short_terms >= LRA_ABSOLUTE_GATE_POWER]
    if len(loud) == 0:
        return None
    kept = np.sort(loud[loud >= loud.mean() * LRA_RELATIVE_GATE_RATIO])
    low, high = (
        kept[math.floor((len(kept) - 1) * share / 100.0 + 0.5)] for share in (LRA_LOW_PCT, LRA_HIGH_PCT)
    )
    return power_to_db(float(high / low))


def moving_mean(powers: Floats, width: int) -> Floats:
    """Mean of every run of `width` neighbours, shape (n - width + 1,); empty when there are too few.

    Each mean is summed anew, so that it does not depend on what came before.
    """
    count = len(powers) - width + 1
    if count <= 0:
        return np.empty(0)
    powers = np.ascontiguousarray(powers, np.float64)
    # numpy's own view of windows costs more, ten times a second, than the sums over them
    windows: Floats = np.ndarray((count, width), np.float64, powers, 0, (powers.itemsize, powers.itemsize))
    means: Floats = np.add.reduce(windows, axis=1) / width
    return means


def loudest_run(powers: Floats, *, width: int) -> tuple[int, float] | None:
    """Where the run of `width` powers with the highest mean begins, and that mean."""
    means = moving_mean(powers, width)
    if len(means) == 0:
        return None
    at = int(means.argmax())
    return at, float(means[at])


def gated_loudness_of_soundings(powers: Floats) -> float | None:
    """Integrated loudness of consecutive full soundings (100 ms each)."""
    return gated_loudness(moving_mean(powers, SOUNDINGS_A_BLOCK))
