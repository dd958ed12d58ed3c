"""Whether several voices a few cents apart make up a note: its harmonics tell what its fundamental hides.

Two voices 10 cents apart at 50 Hz beat once in 3.5 s: within a note the fundamental looks like one. Their
h-th harmonics are h times as far apart and beat h times as fast. So each harmonic is carried down to zero, a
period at a time, and how far its frequency spreads is told in cents. Of detuned voices that is the same
number at every harmonic. Of one voice it is nothing; noise, drums, a filter that moves and a note that fades
spread every harmonic by the same number of Hz, in cents less and less.

A clean sub under detuned voices of another layer is left a note: its fundamental does not spread at all,
which that of the voices would, a little, even in a short note. Layers that begin an octave or two higher lack
the second and the third harmonic, which a saw has.

Source
------
Our own method. The spread from the correlation of one period with the next is the pulse-pair estimate of
Doppler radar (from memory). All bounds were found by trial on made-up sounds (`tests/support/voices.py`);
those that they are tested on are others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.low_end.note_fit import CENTS, Complexes, rows_of, two_periods
from meter.units import Floats

TOP_SHARE: Final = 0.29
"""Of the rate: the signal at 3 kHz is flat, and free of what folds down, to 0.3 of it."""
LONGEST_S: Final = 2.0
"""Of a note so much is looked at."""
LEAST_MOMENTS: Final = 4
_FIRST: Final = 3
"""The lowest harmonic that is asked; the two below it are held against what those above say."""

STANDS_OUT: Final = 2.5
"""A harmonic counts when its amplitude is so much larger than what lies half way to the next one."""
FAINTEST: Final = 0.02
"""And when it has so much of the amplitude that a saw's would have."""
LEAST_HARMONICS: Final = 3
CLEAR: Final = 3.8
"""Median of what stands out, for all that count: drums on a note reach 3.6."""
MOST_CENTS: Final = 45.0
"""Three voices from -50 to 50 cents spread by 41."""
LEAST_CENTS: Final = 0.5
FUNDAMENTAL: Final = 0.1
"""Least spread of the fundamental against the median of those above: less is that of a clean sub."""

LEAST_LOW: Final = 0.25
LOW_SHARE: Final = 0.4
"""Least strength of the second and third harmonic, as a saw's: alone, and against the median of those above.
Layers an octave or two above a sub leave gaps there."""

RIPPLE: Final = 0.55
"""Median distance of a harmonic's strength from the middle of its two neighbours', natural logarithm. Layers
an octave or two above a sub, driven into it, leave every second or fourth one high."""
_ROUNDING_CENTS: Final = 1e-3
_RIPPLES: Final = 12
_LEAST_RIPPLES: Final = 6
_LEAST_STRENGTH: Final = float(np.log(FAINTEST))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bounds:
    """What harmonics of detuned voices keep to; the ratios are those to the median spread."""

    harmonics: int  # at least so many count
    clear: float  # and stand out so far, in their median
    uneven: float  # median distance from the median spread, natural logarithm
    slope: tuple[float, float]  # how the spread in cents goes with the number of the harmonic, as its power
    fundamental: float  # at most
    second: tuple[float, float]


_KINDS: Final = (
    _Bounds(
        harmonics=3, clear=CLEAR, uneven=0.4, slope=(-0.6, 1.5), fundamental=1.3, second=(0.12, 3.5)
    ),
    # Voices far apart spread by more than periods can tell, and seem to fall as noise does (by -1).
    _Bounds(
        harmonics=3, clear=4.5, uneven=0.2, slope=(-1.4, 0.0), fundamental=1.3, second=(0.12, 3.5)
    ),
    # Where many are clear, one that the voices nearly cancel may stand far off.
    _Bounds(
        harmonics=5, clear=6.0, uneven=0.65, slope=(-0.3, 1.5), fundamental=5.0, second=(0.05, 20.0)
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """How far each harmonic of a note spreads; arrays of shape (harmonics,), the fundamental first.

    Attributes
    ----------
    cents : ndarray
        Root mean square around its middle.
    like_a_saw : ndarray
        Its amplitude times its number against the fundamental's: 1 for a saw.
    stands_out : ndarray
        Its amplitude against what lies half way to the next one.
    """

    cents: Floats
    like_a_saw: Floats
    stands_out: Floats


def apart_cents(samples: Floats, *, rate_hz: float, hz: float) -> float:
    """How far the voices of a note are apart: root mean square around their middle, 0 for one voice.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The note alone, at the rate of the low-end signal.
    rate_hz : float
    hz : float
        Its pitch, as exact as it is known.
    """
    lines = _lines_of(samples, rate_hz, hz)
    if lines is None or _are_weak(lines.like_a_saw):
        return 0.0
    cents = _cents_of(lines, rate_hz, hz)
    if _are_steady(cents, lines.like_a_saw):
        return 0.0
    return _of_voices(_spreads_of(lines, cents, samples, rate_hz, hz))


def spreads_of(samples: Floats, *, rate_hz: float, hz: float) -> Spreads | None:
    """How far the harmonics spread; None where the note is too short to tell. See `apart_cents`."""
    lines = _lines_of(samples, rate_hz, hz)
    return None if lines is None else _spreads_of(lines, _cents_of(lines, rate_hz, hz), samples, rate_hz, hz)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lines:
    """Each harmonic, moment after moment."""

    values: Complexes  # (moments, harmonics), their phases against the middle of each moment
    middles: Floats  # (moments,), samples
    power: Floats  # of the values
    amplitude: Floats  # (harmonics,)
    like_a_saw: Floats  # see `Spreads`


def _lines_of(samples: Floats, rate_hz: float, hz: float) -> _Lines | None:
    samples = samples[: round(LONGEST_S * rate_hz)]
    count = int((len(samples) / rate_hz - 2.0 / hz) * hz) + 1
    if count < LEAST_MOMENTS:
        return None
    orders = int(TOP_SHARE * rate_hz / hz)
    values, middles = _carried(samples, rate_hz, hz, orders, beside=0.0, periods=2.0, count=count)
    power = np.square(values.real) + np.square(values.imag) + 1e-20
    amplitude = np.sqrt(np.add.reduce(power, axis=0) / count)
    like_a_saw = amplitude * np.arange(1, orders + 1) / amplitude[0]
    return _Lines(values=values, middles=middles, power=power, amplitude=amplitude, like_a_saw=like_a_saw)


def _cents_of(lines: _Lines, rate_hz: float, hz: float) -> Floats:
    """How far each harmonic spreads; see `Spreads`."""
    middles, orders = lines.middles, lines.values.shape[1]
    # The moments are whole samples apart, so each is turned back by where it really stands.
    values = lines.values * _multiples(-2.0 * np.pi * hz / rate_hz * middles, orders, 0.0)
    every_s = float(middles[-1] - middles[0]) / (len(middles) - 1) / rate_hz
    follows = np.abs(np.add.reduce(values[1:] * values[:-1].conj(), axis=0))
    power = np.add.reduce(lines.power, axis=0)
    follows /= np.sqrt((power - lines.power[0]) * (power - lines.power[-1]))
    spread_hz = np.sqrt(2.0 * np.maximum(1.0 - follows, 0.0)) / (2.0 * np.pi * every_s)
    return np.asarray(CENTS * spread_hz / (np.arange(1, orders + 1) * hz), np.float64)


def _spreads_of(lines: _Lines, cents: Floats, samples: Floats, rate_hz: float, hz: float) -> Spreads:
    """The same with how far each stands out of what lies half way to the next one."""
    # Four periods, whose window leaves nothing of the harmonics there.
    samples = samples[: round(LONGEST_S * rate_hz)]
    count, orders = len(lines.middles) // 2, len(cents)
    between, _ = _carried(samples, rate_hz, hz, orders, beside=0.5, periods=4.0, count=count)
    beside = np.sqrt(np.square(np.abs(between)).mean(axis=0)) + 1e-9
    return Spreads(cents=cents, like_a_saw=lines.like_a_saw, stands_out=lines.amplitude / beside)


def _carried(
    samples: Floats, rate_hz: float, hz: float, orders: int, *, beside: float, periods: float, count: int
) -> tuple[Complexes, Floats]:
    """Amplitude of 1, 2, … times the pitch, shape (moments, orders), and the sample in the middle of each.

    `beside` is added to the numbers of the orders. The phase is that against the middle.
    """
    weights = two_periods(0.5 * periods / hz * rate_hz)
    length, reach = len(weights), len(weights) // 2
    room = len(samples) - length
    if room < 0:
        samples, room = np.pad(samples, (0, -room), "edge"), 0
    firsts = np.rint(room * (np.arange(count) * (1.0 / max(count - 1, 1)))).astype(np.intp)
    rows = rows_of(samples, firsts, length)
    later = _multiples(-2.0 * np.pi * hz / rate_hz * np.arange(reach + 1.0), orders, beside)
    waves = np.empty((length, orders), np.complex128)
    np.multiply(later, weights[reach:, None], out=waves[reach:])
    np.conjugate(waves[:reach:-1], out=waves[:reach])
    # Real by real: one complex number is two of them.
    lines = (rows @ waves.view(np.float64)).view(np.complex128)
    return lines, np.asarray(firsts + reach, np.float64)


def _multiples(angles: Floats, orders: int, beside: float) -> Complexes:
    """exp(i·angle·(order + beside)), shape (angles, orders), by multiplying: a tenth of the time."""
    made = np.empty((orders, len(angles)), np.complex128)
    made[:] = np.exp(1j * angles)
    if beside:
        made[0] = np.exp((1j * (1.0 + beside)) * angles)
    return np.asarray(np.multiply.accumulate(made, axis=0).T, np.complex128)


def _are_weak(like_a_saw: Floats) -> bool:
    """Whether `_of_voices` would find one voice whatever else there is; most notes end here."""
    return bool(
        np.count_nonzero(like_a_saw[_FIRST - 1 :] > FAINTEST) < LEAST_HARMONICS
        or _low(like_a_saw) < LEAST_LOW
        or _ripple(like_a_saw) > RIPPLE
    )


def _are_steady(cents: Floats, like_a_saw: Floats) -> bool:
    """The same from how far they spread, whatever lies between them."""
    above = cents[_FIRST - 1 :][like_a_saw[_FIRST - 1 :] > FAINTEST]
    return float(above.max()) + _ROUNDING_CENTS < LEAST_CENTS


def _low(like_a_saw: Floats) -> float:
    """How strong the harmonics between the fundamental and the first that is asked are."""
    between = like_a_saw[1:_FIRST].tolist()
    return math.sqrt(sum(strength * strength for strength in between) / len(between))


def _of_voices(spreads: Spreads) -> float:
    above = slice(_FIRST - 1, None)
    counts = (spreads.stands_out[above] >= STANDS_OUT) & (spreads.like_a_saw[above] > FAINTEST)
    number = int(counts.sum())
    if number < LEAST_HARMONICS:
        return 0.0
    low = _low(spreads.like_a_saw)
    if low < max(LEAST_LOW, LOW_SHARE * float(np.median(spreads.like_a_saw[above][counts]))):
        return 0.0
    if _ripple(spreads.like_a_saw) > RIPPLE:
        return 0.0
    cents = spreads.cents[above][counts] + _ROUNDING_CENTS
    usual = float(np.median(cents))
    clear = float(np.median(spreads.stands_out[above][counts]))
    fundamental, second = (float(one) / usual for one in spreads.cents[:2])
    if not LEAST_CENTS <= usual <= MOST_CENTS or fundamental < FUNDAMENTAL:
        return 0.0
    off = np.log(cents / usual)
    uneven = float(np.median(np.abs(off)))
    orders = np.log(np.arange(_FIRST, len(spreads.cents) + 1)[counts])
    orders -= orders.mean()
    slope = float((orders @ off) / (orders @ orders))
    is_kept = any(
        number >= one.harmonics
        and clear >= one.clear
        and uneven <= one.uneven
        and one.slope[0] <= slope <= one.slope[1]
        and fundamental <= one.fundamental
        and one.second[0] <= second <= one.second[1]
        for one in _KINDS
    )
    return usual if is_kept else 0.0


def _ripple(like_a_saw: Floats) -> float:
    """How uneven the harmonics from the third on are in strength. See `RIPPLE`."""
    strengths = np.log(like_a_saw[1:_RIPPLES] + 1e-3)
    off = np.abs(strengths[1:-1] - 0.5 * (strengths[:-2] + strengths[2:]))
    off = off[strengths[2:] > _LEAST_STRENGTH]
    return _median(off) if len(off) >= _LEAST_RIPPLES else 0.0


def _median(values: Floats) -> float:
    """`numpy.median` of a few values."""
    ordered, half = sorted(values.tolist()), len(values) // 2
    return float(ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2.0)
