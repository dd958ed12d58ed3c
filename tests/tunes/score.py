"""How well borders were found in sets whose truth is known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from meter.tunes.borders import borders_in, levels_at
from tests.tunes.made_sets import MadeSet

SURE_DB, NO_JUMP_DB = 1.3, 0.7
"""Jumps from the first on must be found, up to the second never told."""


@dataclass
class Score:
    """Over all sets together.

    Attributes
    ----------
    sure, found : int
        Jumps that must be found, and those of them that were.
    blends, told_too_small : int
        All there are, and those that were told although their jump is too small.
    false_a_set : list of int
        Told where no blend is.
    size_errors_db : list of float
        Of those that were found.
    time_errors : list of float
        In shares of what is allowed: 8 s, or half the blend.
    """

    sure: int = 0
    found: int = 0
    blends: int = 0
    told_too_small: int = 0
    false_a_set: list[int] = field(default_factory=list)
    size_errors_db: list[float] = field(default_factory=list)
    time_errors: list[float] = field(default_factory=list)

    def __str__(self) -> str:
        sizes, false = np.array(self.size_errors_db), np.array(self.false_a_set)
        return (
            f"{len(false)} sets: {self.found} of {self.sure} jumps found, {self.told_too_small} of "
            f"{self.blends} blends told that are none; false a set: mean {false.mean():.2f}, most "
            f"{false.max()}, more than one in {(false > 1).sum()}; size: {100 * np.mean(sizes <= 0.3):.1f} % "
            f"within 0.3 dB, median {np.median(sizes):.2f}, p95 {np.percentile(sizes, 95):.2f}, worst "
            f"{sizes.max():.2f} dB; time: worst {max(self.time_errors):.2f} of what is allowed"
        )

    __repr__ = __str__


def score(sets: Iterable[MadeSet]) -> Score:
    """Look for borders in each set and hold them against its truth."""
    made = Score()
    for one in sets:
        _score_one(one, made)
    return made


def _score_one(one: MadeSet, made: Score) -> None:
    borders = borders_in(one.short_term_lufs)
    sizes = [b - a for a, b in levels_at(one.short_term_lufs, borders)]
    made.blends += len(one.blends)
    left = dict(zip(borders, sizes, strict=True))
    for middle_s, length_s, jump_db in one.blends:
        allowed_s = max(8.0, length_s / 2.0)
        near = min(left, key=lambda at: abs(at - middle_s), default=None)
        is_there = near is not None and abs(near - middle_s) <= allowed_s
        if abs(jump_db) >= SURE_DB:
            made.sure += 1
        if not is_there:
            continue
        size = left.pop(near)
        if abs(jump_db) >= SURE_DB:
            made.found += 1
            made.size_errors_db.append(abs(size - jump_db))
            made.time_errors.append(abs(near - middle_s) / allowed_s)
        elif abs(jump_db) <= NO_JUMP_DB:
            made.told_too_small += 1
    made.false_a_set.append(len(left))
