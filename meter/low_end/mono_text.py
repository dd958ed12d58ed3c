"""What a mono system makes of the low end, in words."""

from __future__ import annotations

from collections.abc import Iterator

from meter.low_end.mono_records import MonoSummary, WorstPlace
from meter.low_end.mono_summary import WORTH_TELLING_DB, summarise
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import as_text_time

LEAST_DB = 0.1
"""What is less is shown as nothing lost."""


def mono_lines(low_end: LowEnd, settings: LowEndSettings) -> Iterator[str]:
    """What is said of mono under a file."""
    if low_end.mono is None:
        return
    found = summarise(low_end.mono, crossover_hz=settings.crossover_hz)
    if all(one.lost_db is None for one in found.if_summed):
        return
    yield "  What does a mono club lose?"
    yield f"    {_summed_text(found)}"
    if found.worst:
        yield "    most is lost " + ", ".join(_place_text(place) for place in found.worst)
    if band := _worst_band(found):
        yield f"    {band}"
    if found.flipped_below_hz is not None:
        yield f"    up to {found.flipped_below_hz:.0f} Hz one channel is the other one upside down"
    if found.delay_ms is not None:
        yield f"    {delay_text(found.delay_ms)}"


def _summed_text(found: MonoSummary) -> str:
    told = [one for one in found.if_summed if one.lost_db is not None]
    losses = [one.lost_db for one in told if one.lost_db is not None]
    if max(losses) - min(losses) < LEAST_DB:
        places = f"{told[0].below_hz:.0f} to {told[-1].below_hz:.0f}"
        return f"summed below {places} Hz: {_loss_text(min(losses))}"
    parts = [f"{one.below_hz:.0f} Hz {_loss_text(one.lost_db or 0.0)}" for one in told]
    return "summed below " + ", ".join(parts)


def _loss_text(lost_db: float) -> str:
    return "nothing" if lost_db > -LEAST_DB else f"{lost_db:.1f} dB"


def _place_text(place: WorstPlace) -> str:
    return f"at {as_text_time(max(place.at_s, 0.0))} ({place.lost_db:.1f} dB)"


def _worst_band(found: MonoSummary) -> str | None:
    told = [band for band in found.bands if band.lost_db is not None and band.lost_db <= WORTH_TELLING_DB]
    if not told:
        return None
    band = min(told, key=lambda one: one.lost_db or 0.0)
    phase = "" if band.phase_deg is None else f", left and right {abs(band.phase_deg):.0f}° apart"
    return f"over the whole pass most at {band.hz:.0f} Hz: {band.lost_db:.1f} dB{phase}"


def delay_text(delay_ms: float) -> str:
    """The delay between the channels, in words."""
    side = "right" if delay_ms > 0.0 else "left"
    return f"the {side} channel comes {abs(delay_ms):.2f} ms later than the other one"
