"""Who looks at the low end of what a chain measures."""

from __future__ import annotations

from typing import Protocol

from meter.units import Floats


class LowSink(Protocol):
    """Takes the signal at the lower rate that the low bands are measured at.

    `meter.low_end.stream.low_clock` tells that rate, and how to read the sample numbers as times.
    """

    def process(self, samples: Floats, first_index: int) -> None:
        """Samples of left and right, shape (n, 2), the first of them number `first_index` since the start.

        Lost frames count. The arrays may be views, and are not to be written to.
        """

    def gap(self) -> None:
        """What comes next does not follow on what came: frames were lost, or were no numbers."""

    def flush(self) -> None:
        """The pass has ended."""
