"""The pitch of pieces of notes, many at once, and how sure each is.

Each piece is carried down to zero by its rough pitch and averaged over two periods at a time (Hann), so that
its harmonics and its mirror image vanish. What is left is a slow line of complex numbers: A + B·t, by
weighted least squares. The imaginary part of B/A is how far the frequency is off, the real part how the note
grows or fades. The line is turned by what was found and fitted again; moments at which something else sounds,
a kick for one, stand off the line and weigh less.

Source
------
The spread of the frequency of one sine in noise is √6/(2π·T) of the amplitude ratio at the least (bound of
Rife and Boorstyn 1974; from memory). Weighting by what is left over: iteratively reweighted least squares,
common practice. How much what is left over counts (`COVER`) was found by trial.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from meter.units import Floats

Complexes = npt.NDArray[np.complex128]
_T = TypeVar("_T", bound=np.generic)

MOMENTS: Final = 40
PERIODS: Final = 2.0
ROUNDS: Final = 5
FLOOR: Final = 1e-8
COVER: Final = 1.25
LEAST_CENTS: Final = 0.02
ALONG: Final = 0.1
"""How much a strength off the line counts against a phase: real notes do not fade evenly."""
_SHARES: Final = np.linspace(0.0, 1.0, MOMENTS)
CENTS: Final = 1200.0 / np.log(2.0)
DB: Final = 20.0 / np.log(10.0)


_TABLE: Final = 32
_NEAR: Final = np.arange(_TABLE)
_TABLE_PLACES: Final = np.concatenate([_NEAR, _TABLE * _NEAR])


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A piece of a note, ready to be fitted.

    Attributes
    ----------
    hz : float
        Its rough pitch.
    span_s : float
        From its first moment to its last.
    seconds : float
        Its length.
    line : ndarray of complex, shape (MOMENTS,)
        Carried down by `hz`; amplitude and phase at evenly spaced moments.
    """

    hz: float
    span_s: float
    seconds: float
    line: Complexes


def piece_of(
    samples: Floats, *, rate_hz: float, hz: float, turn: Complexes | None = None
) -> Piece | None:
    """Carry a piece down.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The note alone, from its beginning to its end.
    rate_hz : float
    hz : float
        Its pitch to some 3 %.
    turn : ndarray, shape (n or more,), optional
        What carries the pitch down (`turning`), where it is known already.

    Returns
    -------
    Piece or None
        None where it is too short: under two and a half periods.
    """
    n = len(samples)
    seconds = n / rate_hz
    if seconds * hz < PERIODS + 0.5:
        return None
    # Long pieces take longer windows, so that nothing between two moments is left out.
    periods = max(PERIODS, float(math.ceil(2.0 * seconds * hz / MOMENTS)))
    half = 0.5 * periods / hz * rate_hz
    weights = two_periods(half)
    firsts = np.rint((n - len(weights)) * _SHARES).astype(np.intp)
    if turn is None:
        turn = turning(-2.0 * np.pi * hz / rate_hz, n)
    # That a moment stands half a sample off its even place is nothing: what is carried down hardly turns.
    line = rows_of(samples * turn[:n], firsts, len(weights)) @ weights
    span_s = float(firsts[-1] - firsts[0]) / rate_hz
    return Piece(hz=hz, span_s=span_s, seconds=seconds, line=line)


def turning(step_rad: float, count: int) -> Complexes:
    """exp(i·step·k) for k from 0: of two short tables, a tenth of the work and as exact to 1e-15."""
    rows = -(-count // _TABLE)
    places = _TABLE_PLACES if rows <= _TABLE else np.concatenate([_NEAR, _TABLE * np.arange(rows)])
    tables = np.exp((1j * step_rad) * places[: _TABLE + rows])
    return np.asarray((tables[_TABLE:, None] * tables[:_TABLE]).reshape(-1)[:count], np.complex128)


@lru_cache(maxsize=4)  # a track and the notes in it have the same, one after the other
def two_periods(half: float) -> Floats:
    """A Hann window that reaches `half` samples to both sides, a fraction included; odd in length.

    Its sum is 2, so that the size of what is carried down is its amplitude. Not to be written to.
    """
    reach = math.ceil(half) - 1
    shape = np.asarray((np.pi / half) * np.arange(-reach, reach + 1), np.float64)
    np.cos(shape, out=shape)
    shape *= 0.5
    shape += 0.5
    shape *= 2.0 / np.add.reduce(shape)
    shape.flags.writeable = False
    return shape


def rows_of(values: npt.NDArray[_T], firsts: npt.NDArray[np.intp], length: int) -> npt.NDArray[_T]:
    """Pieces of one length of values of shape (n,): shape (pieces, length)."""
    values = np.ascontiguousarray(values)
    (near,) = values.strides
    shape, strides = (len(values) - length + 1, length), (near, near)
    return np.ndarray(shape, values.dtype, values, strides=strides)[firsts]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fits:
    """What was found for each piece; arrays of shape (pieces,).

    Attributes
    ----------
    hz : ndarray
    uncertainty_cents : ndarray
        Nine errors in ten are no larger.
    amplitude : ndarray
        Of the fundamental, in the middle of the piece.
    decay_db_s : ndarray
        How fast it fades; negative where it grows.
    left_over : ndarray
        Power beside the note, near it, against its own, where it was believed.
    all_left_over : ndarray
        The same, every moment alike.
    believed : ndarray
        How much of the piece counted, 0 to 1.
    swing : ndarray
        How far its strength is off one that fades evenly, where it was believed: natural logarithm, rms.
    rise : ndarray
        How much it grows from beginning to end: natural logarithm.
    """

    hz: Floats
    uncertainty_cents: Floats
    amplitude: Floats
    decay_db_s: Floats
    left_over: Floats
    all_left_over: Floats
    believed: Floats
    swing: Floats
    rise: Floats


def fit(pieces: list[Piece]) -> Fits:
    """Fit all pieces; each comes out the same whatever others are with it."""
    hz = np.array([piece.hz for piece in pieces])
    span_s = np.array([piece.span_s for piece in pieces])
    seconds = np.array([piece.seconds for piece in pieces])
    lines = np.array([piece.line for piece in pieces]).reshape(len(pieces), MOMENTS)
    t = np.linspace(-0.5, 0.5, MOMENTS)
    weight = np.ones((len(pieces), MOMENTS))
    turned = lines
    turns = np.zeros(len(pieces))  # over the span, so far
    for number in range(ROUNDS):
        if number:
            turned = lines * np.exp((-2j * np.pi) * turns[:, None] * t)
        # Weighted least squares of A + B·t.
        s0, s1, s2 = (np.vecdot(weight, power) + 1e-9 for power in (np.ones(MOMENTS), t, t * t))
        z0, z1 = weight * turned @ np.ones(MOMENTS), weight * turned @ t
        bottom = s0 * s2 - s1 * s1
        a, b = (s2 * z0 - s1 * z1) / bottom, (s0 * z1 - s1 * z0) / bottom
        power = np.square(np.abs(a)) + 1e-20
        # Across the note it is error of the phase; along it only the strength.
        rest = (turned - a[:, None] - b[:, None] * t) * (a.conj() / power)[:, None]
        left = 2.0 * np.square(rest.imag) + ALONG * np.square(rest.real)
        all_left = left.mean(axis=1)
        believed = weight.mean(axis=1)
        left_over = np.vecdot(weight, left) / s0
        ratio = b * a.conj() / power
        turns = turns + np.clip(ratio.imag, -1.5, 1.5) / (2.0 * np.pi)
        typical = np.partition(left, MOMENTS // 2, axis=1)[:, MOMENTS // 2] + FLOOR
        weight = 1.0 / (1.0 + np.square(left / (3.0 * typical[:, None]))) + 1e-6
    found_hz = hz + turns / span_s
    spread_hz = np.sqrt(left_over + FLOOR) * (np.sqrt(6.0) / (2.0 * np.pi)) / (seconds * believed)
    uncertainty = LEAST_CENTS + 1.645 * COVER * CENTS * spread_hz / found_hz
    swing, rise = _swing(lines, weight, t)
    return Fits(
        hz=found_hz,
        uncertainty_cents=uncertainty,
        amplitude=np.abs(a),
        decay_db_s=-DB * ratio.real / span_s,
        left_over=left_over,
        all_left_over=all_left,
        believed=believed,
        swing=swing,
        rise=rise,
    )


def _swing(lines: Complexes, weight: Floats, t: Floats) -> tuple[Floats, Floats]:
    """How far the strength is off an even fade, and how much it grows."""
    size = np.log(np.abs(lines) + 1e-9)
    s0, s1, s2 = (np.vecdot(weight, power) for power in (np.ones(MOMENTS), t, t * t))
    y0, y1 = np.vecdot(weight, size), np.vecdot(weight, size * t)
    bottom = s0 * s2 - s1 * s1
    level, rise = (s2 * y0 - s1 * y1) / bottom, (s0 * y1 - s1 * y0) / bottom
    off = size - level[:, None] - rise[:, None] * t
    return np.sqrt(np.vecdot(weight, off * off) / s0), rise
