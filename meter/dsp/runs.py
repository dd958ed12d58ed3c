"""Which blocks can be measured at once, and which need care.

Blocks with samples that are no numbers come alone, to be cleaned. After half a second of
digital silence blocks come as quiet ones: filter memories that fade may be dropped there, and
once all are zero nothing needs to be worked out. The decision counts blocks, never calls, so it
is the same in any cutting.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.samples import LARGEST

QUIET_BLOCKS: Final = 10
"""Blocks of silence before filters may be let go; in that time they fade by more than 300 dB."""

_LARGEST_ENERGY: Final = 0.9 * LARGEST**2
"""Of a block in which no sample is beyond `LARGEST`, rounding and all."""


@dataclass(frozen=True, slots=True)
class Run:
    """Consecutive blocks of one kind."""

    first: int
    count: int
    is_unclean: bool
    is_quiet: bool


class RunPlanner:
    """Divides a stream of blocks into runs."""

    def __init__(self) -> None:
        self._silent = 0

    def reset(self) -> None:
        """As a new object."""
        self._silent = 0

    def plan(self, frames: npt.NDArray[np.float32], blocks: int) -> list[Run]:
        """Runs of the next `blocks` blocks of equal length."""
        flat = frames.reshape(blocks, -1)
        # Sums of squares tell nearly all music from what needs care: from what is too large, NaN, or so small
        # that its squares vanish.
        with np.errstate(over="ignore", invalid="ignore"):
            energies: list[float] = np.vecdot(flat, flat).tolist()
        if all(0.0 < energy < _LARGEST_ENERGY for energy in energies):
            self._silent = 0
            return [Run(0, blocks, False, False)]
        lowest, highest = np.minimum.reduce(flat, axis=1).tolist(), np.maximum.reduce(flat, axis=1).tolist()
        # False for NaN as well.
        is_clean = [-LARGEST <= low and high <= LARGEST for low, high in zip(lowest, highest, strict=True)]
        is_silent = [low == 0.0 == high for low, high in zip(lowest, highest, strict=True)]
        runs: list[Run] = []
        for block in range(blocks):
            self._silent = self._silent + 1 if is_silent[block] else 0
            is_quiet = self._silent > QUIET_BLOCKS
            before = runs[-1] if runs else None
            if before and is_clean[block] and not before.is_unclean and before.is_quiet == is_quiet:
                runs[-1] = Run(before.first, before.count + 1, False, is_quiet)
            else:
                runs.append(Run(block, 1, not is_clean[block], is_quiet))
        return runs
