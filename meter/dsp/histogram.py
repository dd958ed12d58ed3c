"""Integrated loudness and loudness range over any length in bounded memory.

Powers are counted and summed in bins of 0.01 LU, so the mean of everything above a gate is
exact but for the one bin that the gate cuts, and a percentile is exact to a bin.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from meter.dsp import gating
from meter.units import Floats, power_to_db, power_to_lufs, powers_to_lufs

BIN_LU: Final = 0.01
LOWEST_LUFS: Final = -70.0
HIGHEST_LUFS: Final = 20.0
_BINS: Final = round((HIGHEST_LUFS - LOWEST_LUFS) / BIN_LU)


class PowerHistogram:
    """Counts and sums of weighted K powers by loudness; overflow bins at both ends."""

    def __init__(self) -> None:
        self._counts = np.zeros(_BINS + 2, np.int64)
        self._sums = np.zeros(_BINS + 2)
        self.seen = 0
        """How many powers were added, silent ones included."""

    def add(self, powers: Floats) -> None:
        """Count powers in; in order, so that any cutting gives the same sums."""
        self.seen += len(powers)
        with np.errstate(invalid="ignore"):
            bins = np.floor((powers_to_lufs(powers) - LOWEST_LUFS) / BIN_LU) + 1.0
        index = np.clip(bins, 0, _BINS + 1).astype(np.int64)
        index = np.where(powers > gating.ABSOLUTE_GATE_POWER, np.maximum(index, 1), 0)
        np.add.at(self._counts, index, 1)
        np.add.at(self._sums, index, powers)

    def _mean_from(self, first: int) -> float | None:
        count = int(self._counts[first:].sum())
        return float(self._sums[first:].sum()) / count if count else None

    def _bin_of(self, power: float) -> int:
        lufs = power_to_lufs(power)
        return int(min(max(math.floor((lufs - LOWEST_LUFS) / BIN_LU) + 1, 1), _BINS + 1))

    def integrated_lufs(self) -> float | None:
        """Loudness after both gates; within 0.005 LU of `gating.gated_loudness`."""
        if self.seen == 0:
            return None
        ungated = self._mean_from(1)
        if ungated is None:
            return -math.inf
        gate = ungated * gating.RELATIVE_GATE_RATIO
        first = self._bin_of(gate)
        # The bin that the gate cuts: its blocks pass when their mean does.
        count = self._counts[first]
        if count and self._sums[first] / count <= gate:
            first += 1
        kept = self._mean_from(first)
        return -math.inf if kept is None else power_to_lufs(kept)

    def range_lu(self) -> float | None:
        """Loudness range; within 0.02 LU of `gating.loudness_range`."""
        ungated = self._mean_from(1)
        if ungated is None:
            return None
        first = self._bin_of(ungated * gating.LRA_RELATIVE_GATE_RATIO)
        counts = self._counts[first:]
        total = int(counts.sum())
        ends = np.cumsum(counts)
        places = [
            int(np.searchsorted(ends, math.floor((total - 1) * share / 100.0 + 0.5), side="right"))
            for share in (gating.LRA_LOW_PCT, gating.LRA_HIGH_PCT)
        ]
        low, high = (self._sums[first + place] / counts[place] for place in places)
        return power_to_db(float(high / low))
