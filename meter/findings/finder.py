"""Finds what is wrong in a timeline while it grows."""

from __future__ import annotations

import numpy as np

from meter.findings.records import Finding
from meter.soundings import as_text_time
from meter.targets import Target
from meter.timeline import Timeline


class Finder:
    """Looks at what has come since the last call; one thread.

    Parameters
    ----------
    target : Target or None
        Its limits are what is held against; common practice without one.
    crossover_hz : float
        What the low end is measured below, for the words.

    Attributes
    ----------
    findings : tuple of Finding
        In the order of the timeline, rebound by `take`; at most five of a kind in each pass.
    is_behind : bool
        A call takes ten minutes at most; whether the next one has something left to do.
    """

    def __init__(self, target: Target | None = None, crossover_hz: float = 120.0) -> None:
        self._target, self._crossover_hz = target, crossover_hz
        self._slot = 0
        self.findings: tuple[Finding, ...] = ()
        self.is_behind = False

    def take(self, timeline: Timeline) -> None:
        """Look at what is new."""
        overs = timeline.values("overs", self._slot, timeline.slots)
        for slot in np.flatnonzero(overs > 0) + self._slot:
            place = timeline.place(int(slot))
            assert place is not None
            found = Finding(
                kind="over",
                first_slot=int(slot),
                last_slot=int(slot) + 1,
                at_slot=int(slot),
                at_s=place[1],
                pass_number=place[0].number,
                severity=1.0,
                is_open=False,
                text=f"the true peak went over {place[0].over_limit_dbtp:g} dBTP at {as_text_time(place[1])}",
            )
            self.findings = (*self.findings, found)[-5:]
        self._slot += len(overs)
