"""What may not belong to a pass, as findings: to be shown in their list, never to change a number."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from meter.findings.records import Finding
from meter.pollution import Suggestion
from meter.soundings import SOUNDINGS_A_SECOND, Soundings

KIND: Final = "suggestion"


def as_findings(
    suggestions: Sequence[Suggestion],
    rows: Soundings,
    *,
    rate_hz: int,
    pass_number: int = 1,
    first_slot: int = 0,
) -> tuple[Finding, ...]:
    """Each suggestion as a finding.

    Parameters
    ----------
    suggestions : sequence of Suggestion
    rows : ndarray of `SOUNDING`
        What they were made from; `start_frame` on the clock of the pass.
    rate_hz : int
    pass_number : int
    first_slot : int
        Where frame 0 of the pass lies in the timeline.
    """
    made = []
    for one in suggestions:
        start, stop = max(one.spans[0][0], 0), min(one.spans[-1][1], len(rows))
        starts_s = rows["start_frame"][[start, stop - 1]] / rate_hz
        at_s, until_s = float(starts_s[0]), float(starts_s[1]) + 1.0 / SOUNDINGS_A_SECOND
        first, last = (first_slot + round(place_s * SOUNDINGS_A_SECOND) for place_s in (at_s, until_s))
        lufs = one.integrated_lufs
        made.append(
            Finding(
                kind=KIND,
                first_slot=first,
                last_slot=max(last, first + 1),
                at_slot=first,
                at_s=at_s,
                pass_number=pass_number,
                severity=until_s - at_s,
                is_open=False,
                text=f"perhaps not part of this pass: {one.text}",
                until_s=until_s,
                amount=0.0 if lufs is None else lufs,
                unit="" if lufs is None else "LUFS",
            )
        )
    return tuple(made)
