"""Integrated loudness and loudness range over any length in bounded memory.

Powers are counted and summed in bins of 0.01 LU, so the mean of everything above a gate is
exact but for the one bin that the gate cuts, and a percentile is exact to a bin. The same is kept by
whole LU, so that a reading, ten times a second, looks at two hundred bins and not at nine thousand.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate
from typing import Final

from meter.dsp import gating
from meter.units import lufs_to_power, power_to_db, power_to_lufs

BIN_LU: Final = 0.01
LOWEST_LUFS: Final = -70.0
HIGHEST_LUFS: Final = 20.0
_BINS: Final = round((HIGHEST_LUFS - LOWEST_LUFS) / BIN_LU)
_GROUP: Final = 100
_GROUPS: Final = _BINS // _GROUP + 1
_EDGES: Final = array("d", [lufs_to_power(LOWEST_LUFS + k * BIN_LU) for k in range(_BINS + 1)])
assert _EDGES[0] == gating.ABSOLUTE_GATE_POWER, "the first bin ends at the absolute gate"


def _bin_of(power: float) -> int:
    """How many edges lie under a power: one that lies on an edge, or at the gate, does not pass it."""
    if power <= _EDGES[0]:
        return 0
    if power > _EDGES[-1]:
        return len(_EDGES)
    # The logarithm is a guess; to search would look at fourteen edges all over the memory.
    index = min(max(math.ceil((power_to_lufs(power) - LOWEST_LUFS) / BIN_LU), 1), _BINS)
    while power <= _EDGES[index - 1]:
        index -= 1
    while power > _EDGES[index]:
        index += 1
    return index


class PowerHistogram:
    """Counts and sums of weighted K powers by loudness; overflow bins at both ends."""

    def __init__(self) -> None:
        # No arrays of numpy: a few numbers are looked at ten times a second, and each of its calls costs more
        # than all of them. Bin 0 has what does not pass the absolute gate, group k the bins from 1 + 100·k.
        self._counts = array("q", bytes(8 * (_BINS + 2)))
        self._sums = array("d", bytes(8 * (_BINS + 2)))
        self._group_counts = [0] * _GROUPS
        self._group_sums = [0.0] * _GROUPS
        self._count, self._sum = 0, 0.0  # of all that pass the absolute gate
        self.seen = 0
        """How many powers were added, silent ones included."""

    def add(self, powers: Sequence[float]) -> None:
        """Count powers in; in order, so that any cutting gives the same sums."""
        self.seen += len(powers)
        for power in powers:
            index = _bin_of(power)
            self._counts[index] += 1
            self._sums[index] += power
            if index:
                self._count += 1
                self._sum += power
                self._group_counts[(index - 1) // _GROUP] += 1
                self._group_sums[(index - 1) // _GROUP] += power

    def _count_from(self, first: int) -> int:
        group = -(-(first - 1) // _GROUP)
        return sum(self._group_counts[group:]) + sum(self._counts[first : 1 + group * _GROUP])

    def _mean_from(self, first: int) -> float | None:
        count = self._count_from(first)
        group = -(-(first - 1) // _GROUP)
        total = sum(self._group_sums[group:]) + sum(self._sums[first : 1 + group * _GROUP])
        return total / count if count else None

    def _ungated(self) -> float | None:
        return self._sum / self._count if self._count else None

    def integrated_lufs(self) -> float | None:
        """Loudness after both gates; within 0.005 LU of `gating.gated_loudness`."""
        if self.seen == 0:
            return None
        ungated = self._ungated()
        if ungated is None:
            return -math.inf
        gate = ungated * gating.RELATIVE_GATE_RATIO
        first = max(_bin_of(gate), 1)
        # The bin that the gate cuts: its blocks pass when their mean does.
        count = self._counts[first]
        if count and self._sums[first] / count <= gate:
            first += 1
        kept = self._mean_from(first)
        return -math.inf if kept is None else power_to_lufs(kept)

    def range_lu(self) -> float | None:
        """Loudness range; within 0.02 LU of `gating.loudness_range`."""
        ungated = self._ungated()
        if ungated is None:
            return None
        first = max(_bin_of(ungated * gating.LRA_RELATIVE_GATE_RATIO), 1)
        total = self._count_from(first)
        left_out = self._count - total
        ends = list(accumulate(self._group_counts))
        places = [
            self._place_of(left_out + math.floor((total - 1) * share / 100.0 + 0.5), ends)
            for share in (gating.LRA_LOW_PCT, gating.LRA_HIGH_PCT)
        ]
        low, high = (self._sums[place] / self._counts[place] for place in places)
        return power_to_db(high / low)

    def _place_of(self, rank: int, ends: list[int]) -> int:
        """The bin with the power of this rank, from 0, among those above the absolute gate.

        `ends` are how many there are up to the end of each group.
        """
        group = bisect_right(ends, rank)
        rank -= ends[group - 1] if group else 0
        first = 1 + group * _GROUP
        return first + bisect_right(list(accumulate(self._counts[first : first + _GROUP])), rank)
