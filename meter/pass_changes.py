"""What changed from one pass to the next, in a few words."""

from __future__ import annotations

import math
from typing import Final

from meter.soundings import Summary

WORTH_A_WORD: Final = 0.1
"""Smaller changes are not named: they are what repeated playing gives."""

_MEASURES: Final = (
    ("integrated_lufs", "", " LU"),
    ("loudest_30s_lufs", "loudest 30 s ", " LU"),
    ("true_peak_dbtp", "true peak ", " dB"),
    ("peak_to_loudness_lu", "PLR ", ""),
    ("loudness_range_lu", "LRA ", ""),
)


def changes_text(before: Summary, after: Summary, *, most: int = 3) -> str:
    """The change of I first, then what else changed; the loudest 30 s only where they did not move along.

    Parameters
    ----------
    most : int
        So many changes at most.

    Returns
    -------
    str
        As "+0.7 LU, PLR −0.5"; "the same" when nothing changed by 0.1 or more; empty when nothing of both
        is known.
    """
    said, is_known, whole = [], False, 0.0
    for key, name, unit in _MEASURES:
        values = getattr(before, key), getattr(after, key)
        if any(value is None or not math.isfinite(value) for value in values):
            continue
        is_known = True
        change = values[1] - values[0]
        if key == "integrated_lufs":
            whole = change
        elif key == "loudest_30s_lufs" and abs(change - whole) < WORTH_A_WORD:
            continue  # that it moved along says nothing new
        if abs(change) >= WORTH_A_WORD - 1e-9:
            said.append(f"{name}{'−' if change < 0.0 else '+'}{abs(change):.1f}{unit}")
    if not said:
        return "the same" if is_known else ""
    return ", ".join(said[:most])
