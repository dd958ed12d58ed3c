"""What is found in the low end, part by part."""

from __future__ import annotations

from typing import Final

from meter.findings.records import Finding
from meter.low_end.kick_findings import CANCELS, IN_SUB, OUTSIDE, kick_findings
from meter.low_end.mono_findings import LATER, UPSIDE_DOWN, mono_findings
from meter.low_end.note_findings import OFF, OUTSIDE_KEY, TOO_LOW, note_findings
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings

LOW_END_KINDS: Final = (OFF, OUTSIDE_KEY, TOO_LOW, IN_SUB, OUTSIDE, CANCELS, UPSIDE_DOWN, LATER)
"""What they may be."""


def low_end_findings(
    low_end: LowEnd, settings: LowEndSettings, *, from_s: float = 0.0
) -> tuple[Finding, ...]:
    """Findings of all parts, at most five of a kind.

    Parameters
    ----------
    low_end : LowEnd
        Of a pass that has ended.
    settings : LowEndSettings
    from_s : float
        Where the pass begins on the clock of `low_end`: slots count from there.
    """
    parts = (note_findings, kick_findings, mono_findings)
    return tuple(one for part in parts for one in part(low_end, settings, from_s=from_s))
