"""The time grid of a pass: where its cells (10 ms), blocks (50 ms) and soundings (100 ms) begin.

Edges stand at round(k·rate/100). A rate is *regular* when 10 ms are a whole number of frames
(8, 16, 32, 44.1, 48, 88.2, 96 … kHz); then all blocks are equally long and can be worked on in
batches. At the others (11025, 22050 Hz …) blocks differ by a frame and are taken one by one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.errors import UsageError
from meter.soundings import CELLS_A_SECOND, CELLS_A_SOUNDING

CELLS_A_BLOCK: Final = 5
BLOCKS_A_SECOND: Final = CELLS_A_SECOND // CELLS_A_BLOCK
BLOCKS_A_SOUNDING: Final = CELLS_A_SOUNDING // CELLS_A_BLOCK

MIN_RATE_HZ: Final = 8_000
MAX_RATE_HZ: Final = 384_000


@dataclass(frozen=True, slots=True)
class Grid:
    """Edges for one sample rate.

    Raises
    ------
    UsageError
        The rate is no whole number from 8000 to 384000 Hz.
    """

    rate_hz: int
    is_regular: bool = field(init=False, compare=False)
    """Whether 10 ms are a whole number of frames."""

    def __post_init__(self) -> None:
        rate_hz = self.rate_hz
        if not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ or rate_hz != int(rate_hz):
            raise UsageError(
                f"the sample rate is {rate_hz:g} Hz, but Leadline measures whole rates from {MIN_RATE_HZ} to "
                f"{MAX_RATE_HZ} Hz; convert the audio to 44100 or 48000 Hz first"
            )
        object.__setattr__(self, "rate_hz", int(rate_hz))  # sound cards state 44100.0
        object.__setattr__(self, "is_regular", rate_hz % CELLS_A_SECOND == 0)

    def cell_edge(self, cell: int) -> int:
        """First frame of a cell: round(cell·rate/100), halves up."""
        return (2 * cell * self.rate_hz + CELLS_A_SECOND) // (2 * CELLS_A_SECOND)

    def cell_edges(self, first_cell: int, count: int) -> npt.NDArray[np.int64]:
        """`count` edges from the first cell on, counted from that cell's own edge."""
        start = self.cell_edge(first_cell)
        return np.array([self.cell_edge(first_cell + k) - start for k in range(count)], np.int64)

    def block_frames(self, block: int) -> int:
        """Length of a block."""
        if self.is_regular:
            return self.rate_hz // BLOCKS_A_SECOND
        return self.cell_edge((block + 1) * CELLS_A_BLOCK) - self.cell_edge(block * CELLS_A_BLOCK)

    def divisor_near(self, wanted: int) -> int:
        """The divisor of the (regular) block length that is nearest to `wanted`."""
        frames = self.block_frames(0)
        return min((d for d in range(1, frames + 1) if frames % d == 0), key=lambda d: abs(d - wanted))
