"""How much a finding is, as a number with its unit; and which ones say the same."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from meter.findings.excess import correlation_of, loudness_of, offset_of
from meter.findings.found import FARTHEST_DB, Found
from meter.music_sentences import balance_db

TOGETHER: Final = 0.5
"""A finding of which so much lies inside another one that explains it is left out."""

EXPLAINED_BY: Final = {
    "against": ("lost in mono", "one-sided"),
    "silence": ("drop-out",),
    "one-sided": ("dc",),
}


def amount_of(found: Found) -> tuple[float, str]:
    """The amount that its text names, and the unit of it."""
    seconds = found.frames / found.live_pass.rate_hz
    match found.kind:
        case "over":
            return found.peak_dbtp - found.limit_db, "dB"
        case "lost in mono":
            return -found.loss_db, "dB"
        case "one-sided":
            return min(abs(balance_db(found.sums[0], found.sums[1])), FARTHEST_DB), "dB"
        case "too loud":
            return loudness_of(found.sums) - found.limit_db, "LU"
        case "against":
            return correlation_of(found.sums), "r"
        case "dc":
            return 100.0 * offset_of(found.sums), "%"
        case "flat tops":
            return float(found.count), "tops"
        case "drop-out":
            return seconds * 1000.0, "ms"
        case "gap":
            return seconds, "s"
        case _:
            return found.seconds, "s"


def is_said_already(found: Found, told: Iterable[Found], group: Iterable[Found]) -> bool:
    """Whether one of its group explains it, or it was told already of the other channel."""
    others = [one for one in group if one.kind in EXPLAINED_BY.get(found.kind, ())]
    if found.kind == "dc":
        others += [one for one in told if one.kind == "dc" and one.subject != found.subject]
    return any(found.share_inside(other) >= TOGETHER for other in others)
