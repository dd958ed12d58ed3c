"""`leadline sources`: what can be listened to, at what rate, and for what cannot: why, what to do.

Called with ``sources_command.run(as_json)``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any, Final

from meter.capture.records import SourceInfo
from meter.console import say

EXCLUSIVE: Final = (
    "A program that opens the sound device for itself alone goes past the system, and is not heard there."
)
CHANNEL_WORDS: Final = {1: "mono", 2: "stereo"}
INDENT: Final = "      "


def run(as_json: bool) -> int:
    """Print all sources to standard output.

    Parameters
    ----------
    as_json : bool
        One JSON object a line instead of text.

    Returns
    -------
    int
        0: what is missing is no error here, it is the answer.
    """
    from meter.capture.listing import list_sources

    sources = list_sources()
    if as_json:
        for source in sources:
            say(json.dumps(source_object(source), allow_nan=False), sys.stdout)
    else:
        say(text_of(sources), sys.stdout)
    return 0


def source_object(source: SourceInfo) -> dict[str, Any]:
    """A source as a JSON object."""
    return {
        "type": "source",
        "spec": source.spec,
        "name": source.name,
        "sample_rate_hz": source.rate_hz,
        "channels": source.channels,
        "is_default": source.is_default,
        "why_not": source.why_not,
        "what_to_do": source.what_to_do,
    }


def text_of(sources: Sequence[SourceInfo]) -> str:
    """All sources as text: first what can be listened to, then the rest."""
    heard = [source for source in sources if source.why_not is None]
    unheard = [source for source in sources if source.why_not is not None]
    lines = ["what can be listened to:"]
    for source in heard:
        lines += ["", f"  {source.spec}", INDENT + _about(source)]
        if source.spec == "system":
            lines.append(INDENT + EXCLUSIVE)
        if source.what_to_do:
            lines.append(INDENT + source.what_to_do)
    if unheard:
        lines += ["", "what cannot, why, and what to do:"]
    for source in unheard:
        lines += ["", f"  {source.spec}  ({source.name})", f"{INDENT}{source.why_not}"]
        if source.what_to_do:
            lines.append(f"{INDENT}-> {source.what_to_do}")
    return "\n".join(lines)


def _about(source: SourceInfo) -> str:
    parts = [source.name]
    if source.rate_hz:
        parts.append(f"{source.rate_hz / 1000:g} kHz")
    if source.channels:
        parts.append(CHANNEL_WORDS.get(source.channels, f"{source.channels} channels"))
    if source.is_default:
        parts.append(
            "taken when nothing is chosen" if source.spec == "system" else "the system's own choice of input"
        )
    return " · ".join(parts)
