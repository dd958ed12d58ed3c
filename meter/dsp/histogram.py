"""Integrated loudness and loudness range over any length in bounded memory.

Powers are counted and summed in bins of 0.01 LU, so the mean of everything above a gate is
exact but for the one bin that the gate cuts, and a percentile is exact to a bin. The same is kept by
whole LU, so that a reading, ten times a second, looks at two hundred bins and not at nine thousand.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp import gating
from meter.units import Floats, lufs_to_power, power_to_db, power_to_lufs

BIN_LU: Final = 0.01
LOWEST_LUFS: Final = -70.0
HIGHEST_LUFS: Final = 20.0
_BINS: Final = round((HIGHEST_LUFS - LOWEST_LUFS) / BIN_LU)
_GROUP: Final = 100
_GROUPS: Final = _BINS // _GROUP + 1
_EDGES: Final = [lufs_to_power(LOWEST_LUFS + k * BIN_LU) for k in range(_BINS + 1)]
_EDGE_ARRAY: Final = np.array(_EDGES)
assert _EDGES[0] == gating.ABSOLUTE_GATE_POWER, "the first bin ends at the absolute gate"


class PowerHistogram:
    """Counts and sums of weighted K powers by loudness; overflow bins at both ends."""

    def __init__(self) -> None:
        # Bin 0 is what does not pass the absolute gate; group k holds the bins from 1 + 100·k.
        self._counts = np.zeros(_BINS + 2, np.int64)
        self._sums = np.zeros(_BINS + 2)
        self._group_counts = np.zeros(_GROUPS, np.int64)
        self._group_sums = np.zeros(_GROUPS)
        self.seen = 0
        """How many powers were added, silent ones included."""

    def add(self, powers: Floats) -> None:
        """Count powers in; in order, so that any cutting gives the same sums."""
        self.seen += len(powers)
        if len(powers) == 1:  # live, ten times a second
            self._add_one(float(powers[0]))
            return
        # Strict: a power at the gate does not pass it.
        index = np.searchsorted(_EDGE_ARRAY, powers, side="left")
        np.add.at(self._counts, index, 1)
        np.add.at(self._sums, index, powers)
        is_loud = index > 0
        group = (index[is_loud] - 1) // _GROUP
        np.add.at(self._group_counts, group, 1)
        np.add.at(self._group_sums, group, powers[is_loud])

    def _add_one(self, power: float) -> None:
        index = bisect_left(_EDGES, power)
        self._counts[index] += 1
        self._sums[index] += power
        if index:
            self._group_counts[(index - 1) // _GROUP] += 1
            self._group_sums[(index - 1) // _GROUP] += power

    def _from(self, first: int, bins: npt.NDArray[np.generic], groups: npt.NDArray[np.generic]) -> float:
        """Sum over all bins from this one on."""
        group = -(-(first - 1) // _GROUP)
        rest = np.add.reduce(bins[first : 1 + group * _GROUP])
        return float(np.add.reduce(groups[group:]) + rest)

    def _count_from(self, first: int) -> int:
        return int(self._from(first, self._counts, self._group_counts))

    def _mean_from(self, first: int) -> float | None:
        count = self._count_from(first)
        return self._from(first, self._sums, self._group_sums) / count if count else None

    def _bin_of(self, power: float) -> int:
        return max(bisect_left(_EDGES, power), 1)

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
        total = self._count_from(first)
        left_out = self._count_from(1) - total
        places = [
            self._place_of(left_out + math.floor((total - 1) * share / 100.0 + 0.5))
            for share in (gating.LRA_LOW_PCT, gating.LRA_HIGH_PCT)
        ]
        low, high = (self._sums[place] / self._counts[place] for place in places)
        return power_to_db(float(high / low))

    def _place_of(self, rank: int) -> int:
        """The bin with the power of this rank, from 0, among those above the absolute gate."""
        ends = np.cumsum(self._group_counts)
        group = int(np.searchsorted(ends, rank, side="right"))
        rank -= int(ends[group - 1]) if group else 0
        first = 1 + group * _GROUP
        ends = np.cumsum(self._counts[first : first + _GROUP])
        return first + int(np.searchsorted(ends, rank, side="right"))
