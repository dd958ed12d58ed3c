"""What every source has in common, live or file."""

from __future__ import annotations

from typing import Protocol

from meter.capture.records import SourceState
from meter.capture.ring import Reader, Ring


class Source(Protocol):
    """Where samples come from. `start` and `stop` belong to one thread; the rest to any."""

    @property
    def ring(self) -> Ring:
        """Where the frames go; from `start` on.

        It is another one when rate or channels have changed. Compare it by identity, and read the
        old one empty first; ``reader(from_now=False)`` misses nothing of the new one.
        """
        ...

    @property
    def weights(self) -> tuple[float, ...] | None:
        """Loudness weight of each channel where the source knows better than the count of channels tells."""
        ...

    def start(self) -> None:
        """Begin. Raises a `MeterError` with one sentence when it cannot be listened to."""
        ...

    def stop(self) -> None:
        """End for good; may be called twice, and without `start`."""
        ...

    def state(self) -> SourceState:
        """How it is now; cheap, never waits."""
        ...

    def needs(self, reader: Reader) -> None:
        """Do not overwrite what this reader has not read. Only a file can wait; live sources do not."""
        ...
