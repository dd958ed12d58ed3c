"""The phrases of a pass whose tempo is known, to lay them over each other."""

from __future__ import annotations

import math
from typing import Final

from meter.errors import UsageError
from meter.soundings import SOUNDINGS_A_SECOND

PHRASE_BARS: Final = 16
BEATS_A_BAR: Final = 4
"""Music for the floor counts in four, and its parts begin every 16 bars. Common practice, no source."""

SLOWEST_BPM: Final = 30.0
FASTEST_BPM: Final = 400.0


def phrases(first_slot: int, last_slot: int, bpm: float, downbeat_s: float) -> list[tuple[int, int]]:
    """The slots of each 16-bar phrase of a pass.

    Parameters
    ----------
    first_slot, last_slot : int
        The pass is [first_slot, last_slot).
    bpm : float
        Tempo, 30 to 400 beats a minute.
    downbeat_s : float
        The first beat of any phrase, seconds since the pass began.

    Returns
    -------
    list of (int, int)
        [first, last) of each phrase, all of them of the same length but the last, which the end of
        the pass may cut short. What lies before the first whole phrase belongs to none.

    Raises
    ------
    UsageError
        A tempo or downbeat that cannot be meant.
    """
    if not SLOWEST_BPM <= bpm <= FASTEST_BPM:
        raise UsageError(
            f"the tempo is {bpm:g} BPM, but {SLOWEST_BPM:g} to {FASTEST_BPM:g} was expected; "
            "give beats a minute"
        )
    if not math.isfinite(downbeat_s):
        raise UsageError(
            f"the first downbeat is {downbeat_s:g} s, but a time in the pass was expected; "
            "give seconds since the pass began"
        )
    phrase = PHRASE_BARS * BEATS_A_BAR * 60.0 / bpm * SOUNDINGS_A_SECOND
    width = round(phrase)
    first_at = downbeat_s * SOUNDINGS_A_SECOND % phrase
    found = []
    number = 0
    while (start := first_slot + round(first_at + number * phrase)) < last_slot:
        found.append((start, min(start + width, last_slot)))
        number += 1
    return found
