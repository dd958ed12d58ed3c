"""A reader that stays with a source: when it brings a new ring, the old one is read to its end first."""

from __future__ import annotations

from collections.abc import Callable

from meter.capture.records import Chunk
from meter.capture.ring import Reader, Ring
from meter.capture.source import Source


class RingFollower:
    """Reads what a source brings, ring after ring; for one thread.

    Parameters
    ----------
    source : callable
        Gives the source that is listened to now, so that a change of it is followed too. It
        must have been started.
    from_now : bool
        Begin with what comes next; else with the oldest frame that the first ring still has.
        Of every later ring all is read.

    Attributes
    ----------
    reader : Reader
        Of the ring that is being read.
    """

    def __init__(self, source: Callable[[], Source], *, from_now: bool = True) -> None:
        self._source = source
        self.reader: Reader = source().ring.reader(from_now=from_now)

    @property
    def ring(self) -> Ring:
        """The ring that is being read."""
        return self.reader.ring

    def turn(self) -> None:
        """Go over to the source's ring of now; what is unread in the old one is given up."""
        ring = self._source().ring
        if ring is not self.ring:
            self.reader = ring.reader(from_now=False)

    def read(self, max_frames: int) -> Chunk | None:
        """What comes next in this ring; never waits.

        Returns
        -------
        Chunk or None
            None when the source has another ring and this one is read empty: `turn` then.
        """
        has_other = self._source().ring is not self.ring  # asked first: later frames go into the other
        chunk = self.reader.read(max_frames)
        is_empty = len(chunk.frames) == 0 and chunk.lost_before == 0 and self.reader.behind_frames == 0
        return None if has_other and is_empty else chunk
