"""What is found of left and right in the low end: a channel upside down, or one that comes later.

What is lost, and where, is told by the findings "lost in mono", which need no spectrum.
"""

from __future__ import annotations

from typing import Final

from meter.findings.records import Finding
from meter.low_end.mono_summary import summarise
from meter.low_end.mono_text import delay_text
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import SOUNDINGS_A_SECOND

UPSIDE_DOWN, LATER = "upside down", "later"
_SECOND_S: Final = 1.0


def mono_findings(low_end: LowEnd, settings: LowEndSettings, *, from_s: float) -> tuple[Finding, ...]:
    """At most one of each kind; they are about the whole pass."""
    shown = low_end.mono
    if shown is None:
        return ()
    found = summarise(shown, crossover_hz=settings.crossover_hz)
    begin_s, end_s = max(float(shown.at_s[0]), 0.0), float(shown.at_s[-1]) + _SECOND_S
    texts: list[tuple[str, float, str, str]] = []
    if found.flipped_below_hz is not None:
        text = (
            f"up to {found.flipped_below_hz:.0f} Hz left and right are upside down to each other nearly all "
            "the time: a mono system plays next to nothing of it; flip the polarity of one channel, or make "
            "the sub mono; leave it only where no mono system will ever play it"
        )
        texts.append((UPSIDE_DOWN, found.flipped_below_hz, "Hz", text))
    if found.delay_ms is not None:
        text = (
            f"{delay_text(found.delay_ms)}, steadily: a mono system thins it out, first at "
            f"{500.0 / abs(found.delay_ms):.0f} Hz; take the delay out of the low end, or move one channel; "
            "leave it if the recording was made with two microphones and you like it"
        )
        texts.append((LATER, abs(found.delay_ms), "ms", text))
    return tuple(
        Finding(
            kind=kind,
            first_slot=round(max(begin_s - from_s, 0.0) * SOUNDINGS_A_SECOND),
            last_slot=round(max(end_s - from_s, 0.1) * SOUNDINGS_A_SECOND),
            at_slot=round(max(begin_s - from_s, 0.0) * SOUNDINGS_A_SECOND),
            at_s=begin_s,
            pass_number=1,
            severity=amount,
            is_open=False,
            until_s=end_s,
            amount=amount,
            unit=unit,
            text=text,
        )
        for kind, amount, unit, text in texts
    )
