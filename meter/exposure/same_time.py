"""Sound that several programs heard at the same time counts once, for the ears are the same.

Each row says in which seconds of its minute there was sound, and how the clock on the wall stood against one
that nobody sets. Two rows of a minute in which the clock stood alike were heard side by side where their
seconds meet; where it stood otherwise it was set in between, and both happened.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby
from typing import Final

from meter.exposure.heard import HeardMinute

ALIKE_S: Final = 2.0
"""So far apart may two readings of the clocks be; a network keeps clocks right by less."""

_MINUTE: Final = (1 << 60) - 1


def once(minutes: Iterable[HeardMinute]) -> list[HeardMinute]:
    """What each second of the clock on the wall had, once.

    Parameters
    ----------
    minutes : iterable of HeardMinute
        Of several runs and setups, in any order. A row without marks is left as it is.

    Returns
    -------
    list of HeardMinute
        In the order of time. Of a second that was heard twice the calibrated one stays, and of two
        such the louder; a row keeps its mean level for what is left of it.
    """
    found: list[HeardMinute] = []
    in_order = sorted(minutes, key=lambda one: one.minute)
    for _, each in groupby(in_order, key=lambda one: one.minute):
        found += _of_minute(list(each))
    return found


def _of_minute(rows: list[HeardMinute]) -> list[HeardMinute]:
    if len(rows) == 1:
        return rows
    kept: list[HeardMinute] = []
    for row in sorted(rows, key=lambda one: (one.is_narrow, one.level_dba), reverse=True):
        taken = 0
        for other in kept:
            if abs(other.clock_s - row.clock_s) <= ALIKE_S:
                taken |= other.marks
        left = row.marks & ~_whole(taken)
        if not row.marks or left == row.marks:
            kept.append(row)
        elif left:
            part = left.bit_count() / row.marks.bit_count()
            kept.append(replace(row, seconds=row.seconds * part, marks=left))
    return kept


def _whole(marks: int) -> int:
    """With single seconds filled in that only fell between two readings of the clock."""
    return (marks | ((marks << 1) & (marks >> 1))) & _MINUTE
