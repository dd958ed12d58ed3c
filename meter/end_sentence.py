"""What is most useful to know of a pass whose source has ended: how far it is over, and where, or inside."""

from __future__ import annotations

import math
from typing import Final

from meter.music_sentences import LOUDNESS_KEYS, LOWER_IT, NAMES, missed_text, over_text
from meter.now import Now, is_withheld
from meter.shown import overs_unit, shown
from meter.soundings import Reading, as_text_time
from meter.targets import Limit, Verdict, value_text

LOUDEST_S: Final = 30.0


def of_end(now: Now) -> str | None:
    """The sentence about what was heard; None where nothing can be said of it.

    Parameters
    ----------
    now : Now
        Of an engine that has ended. What was heard through a system volume is not judged.
    """
    reading = now.reading
    if reading is None or not now.has_ended or is_withheld(now.state):
        return None
    return _over(now, reading) or _missed(now, reading) or _loudness(now, reading)


def _over(now: Now, reading: Reading) -> str | None:
    over = now.highest_over
    if over is None:  # of a limit that was set afterwards no place is known
        peak = shown(now, "true_peak_dbtp")
        is_over = peak.verdict is Verdict.OVER
        return f"the true peak is over, {peak.text} dBTP: {LOWER_IT}" if is_over else None
    count = f", {reading.overs} {overs_unit(reading.overs)} in all" if reading.overs > 1 else ""
    return f"{over_text(over.peak_dbtp, now.over_limit_dbtp, over.at_s)}{count}: {LOWER_IT}"


def _missed(now: Now, reading: Reading) -> str | None:
    """The first thing that the target asks of the whole and that is not so."""
    target = now.target
    if target is None:
        return None
    limits = target.limits_for(live=True)
    for key in NAMES:
        value, verdict = getattr(reading, key), shown(now, key).verdict
        if verdict in (Verdict.OVER, Verdict.UNDER) and key != "low_correlation":  # that is of the last 3 s
            return missed_text(target, key, limits[key], value, verdict) + _place(reading, key)
    return None


def _loudness(now: Now, reading: Reading) -> str | None:
    limits = {} if now.target is None else now.target.limits_for(live=True)
    asked = [key for key in LOUDNESS_KEYS if key in limits] or list(LOUDNESS_KEYS)
    key = next((key for key in asked if getattr(reading, key) is not None), None)
    if key is None:
        return None
    value: float = getattr(reading, key)
    if math.isinf(value):
        return "all of it was silence"
    limit: Limit | None = limits.get(key)
    said = f"{NAMES[key]} is {value_text(value, limit=limit)} LUFS{_place(reading, key)}"
    if now.target is None or limit is None:
        return f"{said}; choose a target to hold it against" if now.target is None else said
    return f"{said}, inside {now.target.title} ({limit.text()})"


def _place(reading: Reading, key: str) -> str:
    at_s = reading.loudest_30s_at_s
    if key != "loudest_30s_lufs" or at_s is None:
        return ""
    return f", from {as_text_time(at_s)} to {as_text_time(at_s + LOUDEST_S)}"
