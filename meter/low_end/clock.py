"""From the numbers of the samples at the lower rate to seconds."""

from __future__ import annotations

from dataclasses import dataclass

from meter.dsp.decimator import Decimator
from meter.dsp.grid import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class LowClock:
    """How the low-end signal of a stream is counted.

    Attributes
    ----------
    rate_hz : float
        Its rate, 2900 to 4000 Hz for a stream of 8 kHz and more.
    delay_s : float
        How late it is: half the filter that it came through.
    factor : int
        Frames of the stream for each of its samples.
    start_s : float
        Where the stream begins, where that is not 0: a part of a file.
    """

    rate_hz: float
    delay_s: float = 0.0
    factor: int = 1
    start_s: float = 0.0

    def at_s(self, index: float) -> float:
        """Time of a sample, the delay made good."""
        return self.start_s + index / self.rate_hz - self.delay_s

    def count(self, seconds: float) -> int:
        """Samples in so many seconds, at least one."""
        return max(1, round(seconds * self.rate_hz))


def low_clock(rate_hz: int, *, start_s: float = 0.0) -> LowClock:
    """The clock of a stream of this sample rate."""
    decimator = Decimator(Grid(rate_hz), channels=1)
    return LowClock(
        rate_hz=decimator.rate_hz, delay_s=decimator.delay_s, factor=decimator.factor, start_s=start_s
    )
