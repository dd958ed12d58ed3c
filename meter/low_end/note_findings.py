"""What is found in the sub's notes."""

from __future__ import annotations

from meter.findings.records import Finding
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings


def note_findings(low_end: LowEnd, settings: LowEndSettings, *, from_s: float) -> tuple[Finding, ...]:
    """Notes that are off, in the order of time."""
    return ()
