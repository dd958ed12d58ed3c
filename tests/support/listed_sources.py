"""A list of sources as a machine might have it."""

from __future__ import annotations

from meter.capture.listing import DEMO, FILE
from meter.capture.records import SourceInfo

LISTED = [
    SourceInfo(spec="system", name="what the system plays"),
    SourceInfo(spec="device:other", name="the other input"),
    SourceInfo(spec="device:NAME", name="inputs", why_not="one is missing", what_to_do="plug it in"),
    FILE,
    DEMO,
]
