"""Where a note begins and ends, and where it is struck anew at the same pitch.

The sound is carried down by the pitch and averaged over two periods (Hann). How large what is left is tells
the edges: half of what it usually is. Where the phase turns and stays so, or where it fades for a moment, the
note was struck anew; a kick turns it only for as long as it sounds.
"""

from __future__ import annotations

import cmath
from itertools import pairwise
from typing import Final

import numpy as np

from meter.low_end.note_fit import PERIODS, Complexes, turning, two_periods
from meter.units import Floats

EDGE: Final = 0.5
LEAST_AMPLITUDE: Final = 3e-4
"""-70 dBFS."""
NEAR_S: Final = 0.06
"""The first and the last frame of a pitch may lie so far outside the note."""
TURNED: Final = 0.5
"""Of the amplitude, from a period before to a period behind: half a radian."""
STAYS: Final = 0.4
KICK_S: Final = (0.10, 0.15, 0.20, 0.25)
"""A kick is over by one of these, or weak."""
HIT: Final = 1.4
"""A kick makes the sound so much louder, in power."""
DIP: Final = 0.72
USUAL: Final = 0.12
LEAST_S: Final = 0.105
"""Shorter ones cannot be told from the body of a kick, or from a wobble."""
_FEW: Final = 16
_MOST: Final = 400
"""Places that are looked at in one track: a bound, for sounds that turn all the time."""


def sections_of(
    samples: Floats, *, rate_hz: float, hz: float, first: int, last: int, turn: Complexes | None = None
) -> list[tuple[int, int]]:
    """Sections [start, stop) of one pitch.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Up to where the notes before and behind reach.
    rate_hz, hz : float
    first, last : int
        Centres of the first and of the last frame with this pitch.
    turn : ndarray, shape (n,), optional
        What carries the pitch down (`note_fit.turning`), where it is known already.
    """
    weights = two_periods(0.5 * PERIODS / hz * rate_hz)
    n = len(samples)
    if n < 2 * len(weights) or last < 0 or first >= n:  # no room, or none of it is left by the notes around
        return []
    if turn is None:
        turn = turning(-2.0 * np.pi * hz / rate_hz, n)
    line = np.convolve(samples * turn, weights, "same")
    size = np.abs(line)
    first = max(first, 0)
    last = min(max(last, first + 1), n)
    usual = middle_of(size[first:last])
    if usual < LEAST_AMPLITUDE:
        return []
    near = round(NEAR_S * rate_hz)
    middle = (first + last) // 2
    from_here, to_here = min(first + near, middle), max(last - near, middle)
    is_low = size < EDGE * usual
    (low,), (high,) = is_low[:from_here].nonzero(), is_low[to_here:].nonzero()
    start = int(low[-1]) + 1 if len(low) else 0
    stop = to_here + int(high[0]) if len(high) else n
    least = max(LEAST_S * rate_hz, (PERIODS + 0.5) * rate_hz / hz)
    if stop - start < 2.0 * least:  # no room for two
        return [(start, stop)] if stop - start >= least else []
    # The line is slow: an eighth of a period is close enough for where it turns.
    every = max(1, round(rate_hz / hz / 8.0))
    coarse = slice(start, stop, every)
    period = round(rate_hz / hz / every)
    cuts = _struck_anew(line[coarse], size[coarse], samples[start:stop], every, usual, period, rate_hz)
    edges = [start, *(start + every * cut for cut in cuts), stop]
    return [(a, b) for a, b in pairwise(edges) if b - a >= least]


def _struck_anew(
    line: Complexes,
    size: Floats,
    samples: Floats,
    every: int,
    usual: float,
    period: int,
    rate_hz: float,
) -> list[int]:
    """Places of the line at which the note begins anew, in order; it has one for `every` samples."""
    if len(line) <= 4 * period:
        return []
    before, behind, here = slice(None, -2 * period), slice(2 * period, None), slice(period, -period)
    # What the rough pitch is off turns the phase evenly, and is no change: it is told by the middle of all.
    every_few = max(1, period // 4)
    turns = line[behind][::every_few] * line[before][::every_few].conj()
    turn_rad = middle_of(np.arctan2(turns.imag, turns.real))
    turn = complex(np.exp(-1j * turn_rad))
    smaller = np.minimum(size[before], size[behind]) + 1e-30
    larger = np.maximum(size[before], size[behind]) + 1e-30
    change = np.abs(line[behind] * turn - line[before]) / larger
    dip = size[here] / smaller
    if change.max() <= TURNED and dip.min() >= DIP:
        return []
    # A kick makes dips too, but not between two sides that are as they always are.
    is_usual = (smaller > (1.0 - USUAL) * usual) & (larger < (1.0 + USUAL) * usual)
    is_dip = (dip < DIP) & is_usual & (change < TURNED)
    score = np.where(is_dip, 1.0 + DIP - dip, change / TURNED)
    if score.max() <= 1.0:
        return []
    width = 2 * period * every
    loud = np.convolve(np.square(samples), np.full(width, 1.0 / width), "same")[::every]
    hit = HIT * middle_of(loud)
    step_rad = cmath.phase(turn) / (2.0 * period)
    far = [round(seconds * rate_hz / every) for seconds in KICK_S]
    cuts: list[int] = []
    for _ in range(_MOST):
        at = int(score.argmax())
        if score[at] <= 1.0:
            break
        is_bare = float(loud[at : at + 4 * period].max()) < hit  # from a period before to two behind
        if is_bare or (not is_dip[at] and _stays_apart(line, step_rad, at, at + 2 * period, far)):
            cuts.append(at + period)
            score[max(at - 2 * period, 0) : at + 2 * period] = 0.0
        else:
            score[max(at - period, 0) : at + period] = 0.0
    return sorted(cuts)


def _stays_apart(line: Complexes, step_rad: float, before: int, behind: int, far: list[int]) -> bool:
    """Whether the phase never comes back to what it was, once a kick is over; of the line straightened."""
    places = np.array(
        [*(min(behind + k, len(line) - 1) for k in far), before, *(max(before - k, 0) for k in far)]
    )
    values = line[places] * np.exp((1j * step_rad) * places)
    later, earlier = values[: len(far)], values[len(far) :, None]
    apart = np.abs(later - earlier) / (np.maximum(np.abs(later), np.abs(earlier)) + 1e-30)
    return bool(apart.min() > STAYS)


def middle_of(values: Floats) -> float:
    """Median, the upper one of an even count; a tenth of the time of numpy's, less where they are few."""
    half = len(values) // 2
    if half < _FEW:
        return float(sorted(values.tolist())[half])
    return float(np.partition(values, half)[half])
