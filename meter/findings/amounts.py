"""How much a finding is, as a number with its unit; and which ones say the same."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from meter.findings.excess import correlation_of, loudness_of, offset_of
from meter.findings.found import FARTHEST_DB, Found
from meter.music_sentences import balance_db

TOGETHER: Final = 0.5
"""A finding of which so much lies inside another one that explains it is left out."""

EXPLAINED_BY: Final = {"against": ("lost in mono", "one-sided"), "silence": ("drop-out",)}


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


def is_said_already(found: Found, told: Iterable[Found]) -> bool:
    """Whether it lies inside one of those that explains it, or is the same in the other channel."""
    for other in told:
        explains = other.kind in EXPLAINED_BY.get(found.kind, ())
        is_twin = found.kind == other.kind == "dc" and found.subject != other.subject
        if (explains or is_twin) and found.share_inside(other) >= TOGETHER:
            return True
    return False
