"""The low end in the block of text of a checked file: each part has its question and a few lines."""

from __future__ import annotations

from collections.abc import Iterator

from meter.low_end.kick_text import kick_lines
from meter.low_end.mono_text import mono_lines
from meter.low_end.note_text import note_lines
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings


def low_end_lines(low_end: LowEnd, settings: LowEndSettings) -> Iterator[str]:
    """Questions, indented by two, and answers, indented by four. Nothing where there is nothing to say."""
    yield from note_lines(low_end, settings)
    yield from kick_lines(low_end, settings)
    yield from mono_lines(low_end, settings)
