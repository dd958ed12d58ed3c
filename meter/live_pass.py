"""A pass while it is being made, and its summary at any moment.

It differs from the pass of a file in what happens to a live source: frames get lost, the user
holds the measuring, the system volume is not always 0 dB.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Final

from meter.capture.records import SourceInfo
from meter.row_store import RowStore
from meter.soundings import SOUNDINGS_A_SECOND, Gap, Soundings, Summary

LONGEST_ROWS: Final = 24 * 3600 * SOUNDINGS_A_SECOND
"""After a day (110 MB of stereo) a new pass begins by itself, so that memory stays bounded."""


@dataclass(kw_only=True)
class LivePass:
    """One pass. The engine's thread writes it; any thread may read it.

    Attributes
    ----------
    number : int
        Counted from 1 since the engine started.
    info : SourceInfo
        Where it comes from.
    rate_hz, channels, weights
        As the chain has them.
    crossover_hz : float
        What the low end of its soundings was measured with.
    over_limit_dbtp : float
        Where overs begin now. It follows the target; soundings keep what they counted against another.
    began_unix_s : float
        When it began, by the clock on the wall.
    ring_number, ring_at_s : int, float
        The ring that it was heard from, 0 where there was none, and where in it the pass begins: how many
        seconds had come from it before.
    store : RowStore
        Its soundings.
    gaps : list of Gap
        What was lost in it. Time goes on over a gap.
    holds : list of Gap
        What was not measured because the user held; time goes on there too, but nothing counts as lost.
    withheld_rows : int
        Soundings that were taken while the system volume was not 0 dB: no verdict can be
        given on the pass when there are any.
    kept_summary : Summary or None
        Of a pass out of the journal: its numbers as they were when it ended, which stand though its
        soundings were made coarser since.
    """

    number: int
    info: SourceInfo
    rate_hz: int
    channels: int
    weights: tuple[float, ...]
    crossover_hz: float
    over_limit_dbtp: float
    began_unix_s: float = field(default_factory=time.time)
    ring_number: int = 0
    ring_at_s: float = 0.0
    gaps: list[Gap] = field(default_factory=list)
    holds: list[Gap] = field(default_factory=list)
    withheld_rows: int = 0
    kept_summary: Summary | None = None
    store: RowStore = field(init=False)

    def __post_init__(self) -> None:
        self.store = RowStore(self.channels)

    @property
    def lost_frames(self) -> int:
        """Frames lost so far."""
        return sum(gap.frames for gap in self.gaps)

    @property
    def is_full(self) -> bool:
        """Whether it is as long as a pass may be."""
        return len(self.store) >= LONGEST_ROWS

    @property
    def has_verdict(self) -> bool:
        """Whether it may be held against a target."""
        return self.withheld_rows == 0

    def add(self, rows: Soundings, *, is_withheld: bool) -> None:
        """Writer only: take new soundings."""
        self.store.append(rows)
        self.withheld_rows += len(rows) if is_withheld else 0

    def summary(self) -> Summary:
        """The numbers of the pass as far as it has come."""
        from meter.passes import summarise

        if self.kept_summary is not None:
            return self.kept_summary
        return summarise(
            self.store.rows(),
            rate_hz=self.rate_hz,
            channels=self.channels,
            weights=self.weights,
            gaps=tuple(self.gaps),
        )
