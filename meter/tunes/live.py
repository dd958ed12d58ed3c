"""Is the tune that plays now louder than the one before? Told while the set goes on.

Every ten seconds the last quarter of an hour is looked at as a finished set is (`meter.tunes.listed`). Its
end is where that is least sure, so a jump is told once three looks in a row agree: about a minute
after the middle of the blend.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.tunes.listed import found_in, listed

LOOKED_AT_S: Final = 900
EVERY_S: Final = 10
LOOKS: Final = 3
"""So many looks have to agree. Made-up sets (`tests/tunes/made_sets.py`, ten of them): with one look 74 jumps
were told that were none, with two 24, with three 5; 86 of 87 real ones were told each time."""

AGREE_S: Final = 15.0
"""Looks agree on a border when they see it so near to one another."""

TRIMMED_S: Final = 60.0
TRIMMED_DB: Final = 1.0
"""A step that takes back the last one nearly, so soon after that was told, is the trim that was asked for.
With three times as long every tenth jump was taken for one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """A step from one tune to the next.

    Attributes
    ----------
    at_s : float
        Middle of the blend, in seconds of the set.
    size_db : float
        How much louder the new tune is.
    told_s : float
        When it was told.
    """

    at_s: float
    size_db: float
    told_s: float


class LiveJumps:
    """Takes S second by second, and keeps the newest jump.

    Attributes
    ----------
    jump : Jump or None
    """

    def __init__(self) -> None:
        self.jump: Jump | None = None
        self._lufs: list[float] = []
        self._seconds = 0
        self._looks: list[tuple[float, float] | None] = [None] * LOOKS

    def take(self, short_term_lufs: float) -> None:
        """S at the end of the next second; NaN where it is not known. Every tenth looks, for some ms."""
        self._lufs.append(short_term_lufs)
        self._seconds += 1
        if self._seconds % EVERY_S == 0:
            del self._lufs[:-LOOKED_AT_S]
            self._look()

    def skip(self, seconds: int) -> None:
        """Nothing was measured for so long."""
        for _ in range(min(seconds, LOOKED_AT_S)):
            self._lufs.append(math.nan)
        self._seconds += seconds
        del self._lufs[:-LOOKED_AT_S]

    def _look(self) -> None:
        self._looks = [*self._looks[1:], self._newest()]
        seen = self._looks[-1]
        if seen is None:
            return
        at_s, size_db = seen
        if any(one is None or abs(one[0] - at_s) > AGREE_S for one in self._looks):
            return
        before = self.jump
        if before is not None and abs(before.at_s - at_s) <= 2.0 * AGREE_S:  # surer than when it was told
            self.jump = Jump(at_s=at_s, size_db=size_db, told_s=before.told_s)
        elif before is None or not _is_trim(before, at_s, size_db):
            self.jump = Jump(at_s=at_s, size_db=size_db, told_s=float(self._seconds))

    def _newest(self) -> tuple[float, float] | None:
        """Where the last tune begins, and its step, if that is a jump."""
        lufs = np.array(self._lufs)
        tune = listed(found_in(lufs), lufs, seconds=float(len(lufs)))[-1]
        if tune.size_db is None or not tune.is_jump:
            return None
        return self._seconds - len(lufs) + tune.start_s, tune.size_db


def _is_trim(before: Jump, at_s: float, size_db: float) -> bool:
    is_soon = before.told_s - AGREE_S <= at_s <= before.told_s + TRIMMED_S
    return is_soon and abs(before.size_db + size_db) <= TRIMMED_DB
