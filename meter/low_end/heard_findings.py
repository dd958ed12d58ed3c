"""What is found in the low end of passes that are heard live: the same as in a file, pass by pass.

It costs the engine nothing: the low end is followed beside it (`meter.low_end.live`), and what that has
found is cut into passes here, by whoever lists them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from meter.findings.records import Finding
from meter.low_end.findings import low_end_findings
from meter.low_end.judged import Span, part_of
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.pass_cutter import ListedPass
from meter.soundings import SOUNDINGS_A_SECOND
from meter.timeline import Timeline

SETTLED_SLOTS: Final = 100
"""So long after its end all is known of a pass: it is read up to 4 s late, and notes are told 3 s later."""
SOONEST_SLOTS: Final = 50
STALE_SHARE: Final = 0.05
"""While a pass goes on it is looked at again when it has grown by so much: hours are not, every second."""
MOST_PASSES: Final = 40
"""Findings of so many are kept; of more, the oldest are forgotten."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Told:
    """What was found in a pass, and of what."""

    low_end: LowEnd
    last_slot: int | None
    due_slot: int
    findings: tuple[Finding, ...]
    is_final: bool = False


class HeardFindings:
    """Looks at the low end of listed passes; one thread.

    Attributes
    ----------
    findings : tuple of Finding
        Of all passes, at most five of a kind in each, in their order; rebound when it changes.
    """

    def __init__(self) -> None:
        self._told: dict[int, _Told] = {}
        self._settings: LowEndSettings | None = None
        self.findings: tuple[Finding, ...] = ()

    def take(
        self,
        passes: Sequence[ListedPass],
        timeline: Timeline,
        low_ends: Mapping[int, LowEnd],
        settings: LowEndSettings,
        *,
        exactly: bool = False,
    ) -> None:
        """Look at what is new.

        Parameters
        ----------
        passes : sequence of ListedPass
            Cut out of `timeline`.
        timeline : Timeline
        low_ends : mapping
            From the number of a ring to the low end of what came from it.
        settings : LowEndSettings
            When they are others, all is judged again.
        exactly : bool
            Also look at what is not due yet: nothing comes any more.
        """
        before = self._told
        known = before if settings == self._settings else {}
        self._settings, self._told = settings, {}
        for one in passes[-MOST_PASSES:]:
            low_end, told = low_ends.get(one.live_pass.ring_number), known.get(one.number)
            if low_end is None:
                continue
            if told is None or self._is_due(one, told, low_end, timeline.slots, exactly=exactly):
                told = self._look(one, timeline, low_end, settings)
            self._told[one.number] = told
        if list(self._told.values()) != list(before.values()):
            self.findings = tuple(found for told in self._told.values() for found in told.findings)

    @staticmethod
    def _is_due(one: ListedPass, told: _Told, low_end: LowEnd, slots: int, *, exactly: bool) -> bool:
        if told.is_final or (told.low_end is low_end and told.last_slot == one.last_slot):
            return False
        return exactly or slots >= told.due_slot or told.last_slot != one.last_slot

    @staticmethod
    def _look(one: ListedPass, timeline: Timeline, low_end: LowEnd, settings: LowEndSettings) -> _Told:
        live_pass, pass_at_s = one.live_pass, one.pass_at_s
        # On the clock of the ring.
        off_s = live_pass.ring_at_s - pass_at_s
        spans: list[Span] = [
            (first / SOUNDINGS_A_SECOND + off_s, last / SOUNDINGS_A_SECOND + off_s)
            for first, last in one.stretches()
        ]
        begins_s = one.first_slot / SOUNDINGS_A_SECOND  # times are told from there
        part = part_of(low_end, settings, spans, zero_s=begins_s + off_s, rate_hz=live_pass.rate_hz)
        found = low_end_findings(part, settings, from_s=-begins_s)
        slots, grown = timeline.slots, one.stop_slot - one.first_slot
        settled = None if one.last_slot is None else one.last_slot + SETTLED_SLOTS
        return _Told(
            low_end=low_end,
            last_slot=one.last_slot,
            due_slot=slots + max(SOONEST_SLOTS, int(STALE_SHARE * grown)) if settled is None else settled,
            findings=tuple(replace(finding, pass_number=live_pass.number) for finding in found),
            is_final=settled is not None and slots >= settled,
        )
