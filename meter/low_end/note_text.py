"""The sub's notes in words."""

from __future__ import annotations

from collections.abc import Iterator

from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings


def note_lines(low_end: LowEnd, settings: LowEndSettings) -> Iterator[str]:
    """What is said of the notes under a file."""
    if not low_end.sub_notes:
        return
    yield "  Is the sub in tune?"
    yield f"    {len(low_end.sub_notes)} notes, against A4 = {settings.a4_hz:g} Hz"
