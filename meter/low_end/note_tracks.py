"""Where a pitch holds still below 130 Hz, from spectra 50 times a second."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.low_end.note_sections import middle_of
from meter.units import Floats

LOWEST_HZ: Final = 25.0
HIGHEST_HZ: Final = 130.0
HEARD_POWER: Final = 1e-6
"""-60 dBFS."""
BELOW_LOUDEST: Final = 10.0**-3.5
"""What is 35 dB under the loudest around is no note of its own."""
HALF_POWER: Final = 0.03
"""A note sounds at half the strongest frequency when there is so much: that one is its second harmonic."""
STEADY_CENTS: Final = 30.0
"""From one frame to the next."""
STEADY_SPAN_CENTS: Final = 45.0
"""Over five frames."""
LEAST_FRAMES: Final = 3
JOIN_CENTS: Final = 70.0
JOIN_FRAMES: Final = 15
KEPT_POWER: Final = 0.1
"""Under a kick the note goes on when so much of it is left."""

_AROUND: Final = np.array([-3, -1, 0, 1, 3])[:, None]
_BESIDE: Final = np.array([-1, 0, 1])[:, None]

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A pitch that holds still in the frames [first, stop)."""

    first: int
    stop: int
    cents: float  # above 1 Hz

    @property
    def hz(self) -> float:
        """Its pitch, roughly."""
        return float(2.0 ** (self.cents / 1200.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitches:
    """The strongest pitch of each frame: arrays of shape (frames,)."""

    cents: Floats
    power: Floats
    is_heard: Bools


def peaks_of(powers: Floats, bins_hz: Floats) -> Floats:
    """The strongest pitch of each frame, its octave put right; each frame by itself.

    Parameters
    ----------
    powers : ndarray, shape (frames, bins)
    bins_hz : ndarray, shape (bins,)
        Evenly spaced.

    Returns
    -------
    ndarray, shape (3, frames)
        Cents above 1 Hz, the power there, and the power of the strongest bin.
    """
    frames = np.arange(len(powers))
    first, step = float(bins_hz[0]), float(bins_hz[1] - bins_hz[0])
    low, high = int((LOWEST_HZ - first) / step), int((HIGHEST_HZ - first) / step) + 1
    top = powers[:, low : high + 1].argmax(axis=1) + low
    strongest = powers[frames, top]
    half = np.rint((0.5 * (first + step * top) - first) / step).astype(np.intp)
    inside = np.minimum(np.maximum(half, low), high)
    places = np.minimum(np.maximum(inside + _AROUND, 1), high)
    around = powers[frames, places]
    middle = around[1:4].max(axis=0)
    is_half = (half >= low) & (middle > HALF_POWER * strongest)
    is_half &= (middle > around[0]) & (middle > around[4])
    top = np.where(is_half, inside + around[1:4].argmax(axis=0) - 1, top)
    top = np.minimum(np.maximum(top, 1), len(bins_hz) - 2)
    left, here, right = np.log(powers[frames, top + _BESIDE] + 1e-30)
    bend = left - 2.0 * here + right
    shift = np.where(bend < 0.0, 0.5 * (left - right) / np.minimum(bend, -1e-12), 0.0)
    shift = np.minimum(np.maximum(shift, -1.0), 1.0)
    cents = 1200.0 * np.log2(first + step * (top + shift))
    return np.array([cents, powers[frames, top], strongest])


def pitches_of(peaks: Floats) -> Pitches:
    """Which of the frames that are looked at together are heard.

    Parameters
    ----------
    peaks : ndarray, shape (3, frames)
        From `peaks_of`.
    """
    cents, power, strongest = peaks
    loudest = float(strongest.max(initial=0.0))
    return Pitches(cents=cents, power=power, is_heard=strongest > max(HEARD_POWER, BELOW_LOUDEST * loudest))


def tracks_of(pitches: Pitches, powers: Floats, bins_hz: Floats) -> list[Track]:
    """Where the pitch holds still, joined under what covers it for a moment."""
    made: list[Track] = []
    for first, stop in _steady_runs(pitches):
        if stop - first >= LEAST_FRAMES:
            cents = middle_of(pitches.cents[first:stop])
            track = Track(first=first, stop=stop, cents=cents)
            if made and _goes_on(made[-1], track, powers, bins_hz):
                before = made.pop()
                share = (before.stop - before.first) / (before.stop - before.first + stop - first)
                track = Track(
                    first=before.first, stop=stop, cents=share * before.cents + (1.0 - share) * cents
                )
            made.append(track)
    return made


def _steady_runs(pitches: Pitches) -> list[tuple[int, int]]:
    """Stretches [first, stop) of frames whose pitch hardly moves; a jump parts two of them."""
    cents, heard = pitches.cents, pitches.is_heard
    n = len(cents)
    if n < 2:
        return []
    jump = np.abs(cents[1:] - cents[:-1]) > STEADY_CENTS
    jump |= ~(heard[1:] & heard[:-1])
    steady = heard.copy()
    steady[0] &= not jump[0]
    steady[-1] &= not jump[-1]
    jumps = jump[1:] & jump[:-1]
    steady[1:-1] &= ~jumps
    if n > 4:
        still = np.abs(cents[4:] - cents[:-4]) <= STEADY_SPAN_CENTS
        # On a slope the middle of the five is no place to rest, unless a note ends or begins there.
        either = jump[1:] | jump[:-1]
        still |= either[2:]
        still |= either[:-2]
        steady[2:-2] &= still
    follows = steady[1:] & steady[:-1]
    follows &= ~jump
    firsts, lasts = steady.copy(), steady
    firsts[1:] ^= follows
    lasts[:-1] ^= follows
    return list(zip(firsts.nonzero()[0].tolist(), (lasts.nonzero()[0] + 1).tolist(), strict=True))


def _goes_on(before: Track, after: Track, powers: Floats, bins_hz: Floats) -> bool:
    if abs(after.cents - before.cents) > JOIN_CENTS or after.first - before.stop > JOIN_FRAMES:
        return False
    first_hz = float(bins_hz[0])
    at = round((before.hz - first_hz) / (float(bins_hz[1]) - first_hz))
    at = min(max(at, 0), len(bins_hz) - 1)
    usual = middle_of(powers[before.first : before.stop, at])
    between = powers[before.stop : after.first, at]
    return bool((between > KEPT_POWER * usual).all())
