"""From how a source is written to the source itself."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Final

from meter.capture import offers
from meter.capture.file_source import DemoSource, FileSource
from meter.capture.live_source import LiveSource
from meter.capture.pulse_backend import DEVICE, SYSTEM
from meter.capture.records import SourceInfo
from meter.capture.source import Source
from meter.errors import SourceError

FILE: Final = "file:"
DEMO: Final = "demo"
KINDS: Final = (SYSTEM, DEVICE, FILE, DEMO)


def open_source(spec: str, *, channels: tuple[int, int] | None = None, as_fast: bool = False) -> Source:
    """Find a source. It is opened by its `start`.

    Parameters
    ----------
    spec : str
        "system", "device:NAME", "file:PATH" or "demo".
    channels : tuple of two int, optional
        The pair to be heard, counted from 1.
    as_fast : bool
        Files and demo only: as fast as they are read, not in real time.

    Raises
    ------
    MeterError
        One sentence: it is not there (and which is nearest), or cannot be read.
    """
    if spec == SYSTEM:
        info = SourceInfo(spec=SYSTEM, name="what the system plays", is_default=True)
        return LiveSource(offers.system_backend(channels), info=info)
    if spec.startswith(DEVICE):
        offer = offers.find_device(spec.removeprefix(DEVICE))
        return LiveSource(offer.backend(offer.info.spec, channels), info=offer.info)
    if spec == DEMO:
        if channels not in (None, (1, 2)):
            raise SourceError("the demo has 2 channels; leave --channels away")
        return DemoSource(as_fast=as_fast)
    if spec.startswith(FILE) and len(spec) > len(FILE):
        return FileSource(spec.removeprefix(FILE), as_fast=as_fast, pair=channels)
    raise SourceError(_misspelt(spec))


def _misspelt(spec: str) -> str:
    """Which way of writing was meant."""
    expected = f'"{spec}" came as the source; expected system, device:NAME, file:PATH or demo'
    if Path(spec).expanduser().is_file():
        return f"{expected}; for this file write file:{spec}"
    kind, _, rest = spec.partition(":")
    near = difflib.get_close_matches(kind.casefold(), [one.rstrip(":") for one in KINDS], n=1, cutoff=0.6)
    if not near:
        return f"{expected}; for an input of this name write device:{spec}"
    ways = {
        SYSTEM: SYSTEM,
        "device": f"device:{rest or 'NAME'}",
        "file": f"file:{rest or 'PATH'}",
        DEMO: DEMO,
    }
    return f"{expected}; did you mean {ways[near[0]]}?"
