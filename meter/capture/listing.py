"""All that can be listened to, for `leadline sources` and for the window.

Works without PortAudio, without a sound server and without Qt: what is missing is in the list,
with why it cannot be listened to and what to do.
"""

from __future__ import annotations

from meter.capture import offers
from meter.capture.records import SourceInfo

FILE: SourceInfo = SourceInfo(spec="file:PATH", name="an audio file, in the time that playing it would take")
DEMO: SourceInfo = SourceInfo(spec="demo", name="the demo tune with its planted faults")


def list_sources() -> list[SourceInfo]:
    """The system's output, every input, files and the demo; those that cannot be heard have `why_not`."""
    found = offers.look_around()
    return [found.system, *(offer.info for offer in found.devices), *found.problems, FILE, DEMO]
