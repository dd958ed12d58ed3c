"""Where one tune follows another: change-points of the loudness of a set.

A border is a moment at which the level of what follows is another than that of what came before, with
8 s left out on both sides for the blend. Breakdowns are left out first, so that they change nothing, and
levels are 90th percentiles. Two tunes that are equally loud are not told apart: the user can do that.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from meter.tunes.level import LEVEL_S, QUIET_LUFS, Mask, level_of, plays_out
from meter.units import Floats

GUARD_S: Final = 8
"""Left out on both sides of a border when it is looked for."""

BLEND_S: Final = 8
"""Left out on both sides when a level is taken: half of the longest blend that is usual."""

WINDOW_S: Final = 60
"""Looked at on both sides."""

APART_S: Final = 45
"""Two borders are no nearer."""

LEAST_JUMP_DB: Final = 1.2
"""What is less is no jump: fluctuations of the music itself are as large."""

LEAST_STEP_DB: Final = 0.4
CANDIDATE_DB: Final = 0.3
"""Smaller steps are used to tell what belongs to one tune, and are not told."""

LEAST_LOUD_S: Final = 20
"""What plays out for less has no level."""

SILENCE_S: Final = 5
"""So much silence stands between two tunes, however loud they are."""

LAG_S: Final = 1.5
"""S at a moment is that of the 3 s before it."""

NEAR_S: Final = 30
"""A border is looked for so near to where it was seen first."""


def borders_in(short_term_lufs: Floats) -> list[float]:
    """Where tunes follow each other, in seconds from the beginning, in order.

    Parameters
    ----------
    short_term_lufs : ndarray, shape (seconds,)
        S at the end of every second; NaN where it is not known.
    """
    lufs, is_loud = short_term_lufs, plays_out(short_term_lufs)
    silences = _silences(lufs)
    steps = _steps(lufs, is_loud, silences)
    sizes = [_size_db(*levels) for levels in _levels(lufs, is_loud, steps)]
    return [
        float(at - LAG_S)
        for at, size in zip(steps, sizes, strict=True)
        if at in silences or abs(size) >= LEAST_JUMP_DB
    ]


def levels_at(short_term_lufs: Floats, borders: Sequence[float]) -> list[tuple[float | None, float | None]]:
    """The level before and after each border.

    Each is taken from its own tune only, and there from behind the last step of the level, however
    small: two tunes that follow each other almost equally loud are not taken for one.

    Parameters
    ----------
    short_term_lufs : ndarray, shape (seconds,)
    borders : sequence of float
        Seconds, in order.

    Returns
    -------
    list of (float or None, float or None)
        LUFS; None where there is only silence.
    """
    lufs, is_loud = short_term_lufs, plays_out(short_term_lufs)
    given = [round(at + LAG_S) for at in borders]
    steps = [
        at
        for at in _steps(lufs, is_loud, _silences(lufs))
        if all(abs(at - other) >= APART_S for other in given)
    ]
    edges = sorted({*given, *steps})
    found = dict(zip(edges, _levels(lufs, is_loud, edges), strict=True))
    return [found[at] for at in given]


def _steps(lufs: Floats, is_loud: Mask, silences: set[int]) -> list[int]:
    """All borders at which the level changes at all."""
    found = _without_weak(lufs, is_loud, _spread(_candidates(lufs, is_loud), silences), silences)
    found = [at if at in silences else _exactly(lufs, is_loud, found, n) for n, at in enumerate(found)]
    return _without_weak(lufs, is_loud, sorted(set(found)), silences)


def _size_db(before: float | None, after: float | None) -> float:
    return 0.0 if before is None or after is None else after - before


def _levels(lufs: Floats, is_loud: Mask, borders: list[int]) -> list[tuple[float | None, float | None]]:
    loud = _loud_parts(lufs, is_loud, borders)
    return [(level_of(a[-LEVEL_S:]), level_of(b[:LEVEL_S])) for a, b in pairwise(loud)]


def _loud_parts(lufs: Floats, is_loud: Mask, borders: list[int]) -> list[Floats]:
    """Each tune where it plays out; nothing where that is too short to be one."""
    parts = [lufs[first:last][is_loud[first:last]] for first, last in _cores(borders, len(lufs))]
    return [part if len(part) >= LEAST_LOUD_S else part[:0] for part in parts]


def _cores(borders: list[int], seconds: int) -> list[tuple[int, int]]:
    """Each tune without the blends at its borders, as far as half a minute is left."""
    found = []
    for number, (first, last) in enumerate(pairwise([0, *borders, seconds])):
        room = max(last - first - 30, 0)
        into = min(BLEND_S, room // 2) if number else 0
        out = min(BLEND_S, room // 2) if number < len(borders) else 0
        found.append((first + into, last - out))
    return found


# --- looking for them


def _silences(lufs: Floats) -> set[int]:
    """The middle of each long silence."""
    is_silent = np.concatenate([[False], lufs <= QUIET_LUFS, [False]])
    edges = np.flatnonzero(np.diff(is_silent.astype(np.int8)))
    return {
        int(first + last) // 2
        for first, last in zip(edges[::2], edges[1::2], strict=True)
        # S is silent 3 s after the sound; at the ends of the set nothing follows.
        if last - first >= SILENCE_S - 2 and first > 0 and last < len(lufs)
    }


def _candidates(lufs: Floats, is_loud: Mask) -> list[tuple[float, int]]:
    """Seconds at which the level may change, the largest changes first."""
    at = np.flatnonzero(is_loud)  # breakdowns are not even there
    loud = lufs[at]
    width = min(WINDOW_S, (len(loud) - 2 * GUARD_S) // 2)
    if width < 15:
        return []
    sums = np.concatenate([[0.0], np.cumsum(loud)])
    means = (sums[width:] - sums[:-width]) / width  # of the seconds [k, k + width)
    middle = np.arange(width + GUARD_S, len(loud) - GUARD_S - width + 1)
    change = np.abs(means[middle + GUARD_S] - means[middle - GUARD_S - width])
    if len(change) == 0:
        return []
    around = np.lib.stride_tricks.sliding_window_view(np.pad(change, APART_S), 2 * APART_S + 1).max(axis=1)
    is_top = (change >= CANDIDATE_DB) & (change == around)
    return sorted(((float(change[k]), int(at[middle[k]])) for k in np.flatnonzero(is_top)), reverse=True)


def _spread(candidates: list[tuple[float, int]], silences: set[int]) -> list[int]:
    """The largest of the candidates, none too near to another."""
    taken = np.array(sorted(silences), np.int64)
    for _, at in candidates:
        if not len(taken) or np.abs(taken - at).min() >= APART_S:
            taken = np.append(taken, at)
    return sorted(taken.tolist())


def _without_weak(lufs: Floats, is_loud: Mask, borders: list[int], silences: set[int]) -> list[int]:
    """Without those at which the level hardly changes, the weakest first: levels become surer with each."""
    found = list(borders)
    while True:
        weak = [
            (abs(_size_db(*levels)), at)
            for at, levels in zip(found, _levels(lufs, is_loud, found), strict=True)
            if at not in silences
        ]
        size, at = min(weak, default=(LEAST_STEP_DB, 0))
        if size >= LEAST_STEP_DB:
            return found
        found.remove(at)


def _exactly(lufs: Floats, is_loud: Mask, borders: list[int], number: int) -> int:
    """The second at which what comes before is nearest to the level before, and the rest to that after."""
    cores, at = _cores(borders, len(lufs)), borders[number]
    before, after = _loud_parts(lufs, is_loud, borders)[number : number + 2]
    if len(before) == 0 or len(after) == 0:
        return at
    low, high = float(np.median(before[-LEVEL_S:])), float(np.median(after[:LEVEL_S]))
    first, last = max(at - NEAR_S, cores[number][0]), min(at + NEAR_S, cores[number + 1][1])
    part = lufs[first:last]
    spread = abs(high - low)
    near = np.clip(part, min(low, high) - spread, max(low, high) + spread)
    cost = np.abs(near - low) - np.abs(near - high)  # of counting a second to what is before
    cost[~is_loud[first:last]] = 0.0  # a breakdown is neither's
    sums = np.concatenate([[0.0], np.cumsum(cost)])
    best = np.flatnonzero(sums <= sums.min() + 1e-9)
    return first + int(best[0] + best[-1]) // 2
