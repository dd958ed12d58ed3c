"""What the map of left and right says of a pass: losses, what summing costs, polarity, delay.

Source
------
Lost in mono: 10·log10(E[(L+R)²] / (2·E[L²+R²])), algebra. Linkwitz-Riley of fourth order: both sides are
in phase and add up to one, so what is summed below a crossover is (|H|+|G|/2)·L + |G|/2·R; algebra, CALC.
A delay is the slope of the phase; the line is looked for as in the generalised cross-correlation with phase
transform (C. Knapp and G. Carter 1976, IEEE Trans. ASSP 24:320; cited, not read).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.stereo import fold_loss_db
from meter.low_end.mono_map import band_edges_hz
from meter.low_end.mono_records import BandLoss, IfSummed, MonoMap, MonoSummary, WorstPlace
from meter.units import Floats, db_to_power, power_to_db

SUMMED_BELOW_HZ: Final = (80.0, 100.0, 120.0, 150.0)
"""Crossovers of clubs' systems: 75 to 125 Hz usual in trade press (FOH magazine and others, SEEN); 150 Hz is
what some cutting engineers make mono (practice pages, SEEN)."""

QUIET_POWER: Final = db_to_power(-70.0)
FAR_BELOW: Final = db_to_power(-30.0)
"""A band under these says nothing about mono; as in `meter.readings`."""

WINDOW_COLUMNS: Final = 3
WORST_PLACES: Final = 3
APART_S: Final = 10.0
"""Nearer than that it is one place."""
WORTH_TELLING_DB: Final = -1.0

FLIPPED: Final = -0.7
"""Correlation; common practice, no source."""
STEADY_SHARE: Final = 0.8
STEADY_COLUMNS: Final = 6

LONGEST_DELAY_MS: Final = 10.0
_STEP_MS: Final = 0.02
SHORTEST_DELAY_MS: Final = 0.15
COHERENT: Final = 0.8
BROADBAND_BANDS: Final = 12
"""So many bands on end, two octaves, must be heard and coherent; a bass of few partials is not."""
_FITS: Final = 0.95
_BETTER: Final = 0.02
_NEAR_MS: Final = 0.1

Bools = npt.NDArray[np.bool_]


def heard(powers: npt.NDArray[np.floating]) -> Bools:
    """Where bands are loud enough to speak of, shape of all but the last axis of `powers`."""
    level = np.asarray(powers[..., 0] + powers[..., 1], np.float64)
    loudest = level.max(axis=-1, keepdims=True)
    return np.asarray((level >= QUIET_POWER) & (level >= loudest * FAR_BELOW), np.bool_)


def windows(shown: MonoMap) -> Floats:
    """Powers over three columns each, one behind the other, shape (n, bands, 4)."""
    count = max(1, len(shown.at_s) // WINDOW_COLUMNS)
    used = shown.powers[: count * WINDOW_COLUMNS].astype(np.float64)
    return np.asarray(used.reshape(count, -1, *used.shape[1:]).mean(axis=1), np.float64)


def lost_db(powers: Floats) -> float | None:
    """What is lost in mono of powers that are added up, shape (..., 4); None in silence."""
    left, right, real, _ = powers.reshape(-1, 4).sum(axis=0).tolist()
    return fold_loss_db(left, right, real)


def summarise(shown: MonoMap, *, crossover_hz: float) -> MonoSummary:
    """All that is said of a pass."""
    total = shown.powers.astype(np.float64).mean(axis=0)
    parts = windows(shown)
    return MonoSummary(
        bands=tuple(_bands(shown.hz, total)),
        if_summed=tuple(_if_summed(shown.hz, total, below_hz) for below_hz in SUMMED_BELOW_HZ),
        worst=tuple(_worst(shown, crossover_hz)),
        flipped_below_hz=_flipped_below_hz(total, parts),
        delay_ms=_delay_ms(shown.hz, total, parts),
    )


def _bands(hz: Floats, total: Floats) -> list[BandLoss]:
    known = heard(total)
    found = []
    for at, is_heard, powers in zip(hz.tolist(), known.tolist(), total, strict=True):
        real, imaginary = float(powers[2]), float(powers[3])
        has_phase = is_heard and math.hypot(real, imaginary) > 0.0
        found.append(
            BandLoss(
                hz=at,
                lost_db=lost_db(powers) if is_heard else None,
                phase_deg=math.degrees(math.atan2(imaginary, real)) if has_phase else None,
            )
        )
    return found


def _low_share(hz: Floats, below_hz: float) -> Floats:
    """Gain of a Linkwitz-Riley low-pass of fourth order; the high-pass has what is left to one."""
    return np.asarray(1.0 / (1.0 + (hz / below_hz) ** 4), np.float64)


def _if_summed(hz: Floats, total: Floats, below_hz: float) -> IfSummed:
    low = _low_share(hz, below_hz)
    both = total[:, 0] + total[:, 1]
    under = lost_db(total * (low**2)[:, None])
    own, other = 1.0 - low / 2.0, low / 2.0
    after = (own**2 + other**2) * both + 4.0 * own * other * total[:, 2]
    before = float(both.sum())
    change = power_to_db(float(after.sum()) / before) if before > QUIET_POWER else None
    return IfSummed(below_hz=below_hz, lost_db=under if before > QUIET_POWER else None, low_end_db=change)


def _worst(shown: MonoMap, crossover_hz: float) -> list[WorstPlace]:
    """The places that lose most below the crossover, apart from each other."""
    low = _low_share(shown.hz, crossover_hz) ** 2
    powers = np.einsum("cbk,b->ck", shown.powers.astype(np.float64), low)
    if len(powers) < WINDOW_COLUMNS:
        return []
    sums = np.lib.stride_tricks.sliding_window_view(powers, WINDOW_COLUMNS, axis=0).mean(axis=2)
    level = sums[:, 0] + sums[:, 1]
    # What spans a gap lies in no one place.
    spans_gap = np.diff(shown.at_s)[: len(sums) * WINDOW_COLUMNS] > 1.5
    is_whole = ~np.lib.stride_tricks.sliding_window_view(spans_gap, WINDOW_COLUMNS - 1).any(axis=1)
    may = is_whole & (level >= QUIET_POWER) & (level >= level.max() * FAR_BELOW)
    losses = np.array([fold_loss_db(*row) or 0.0 for row in sums[:, :3].tolist()])
    found: list[WorstPlace] = []
    for at in np.argsort(losses, kind="stable").tolist():
        if losses[at] > WORTH_TELLING_DB or len(found) == WORST_PLACES:
            break
        at_s = float(shown.at_s[at])
        if may[at] and all(abs(place.at_s - at_s) >= APART_S for place in found):
            found.append(WorstPlace(at_s=at_s, seconds=float(WINDOW_COLUMNS), lost_db=float(losses[at])))
    return found


def _correlations(powers: Floats) -> Floats:
    product = np.sqrt(powers[..., 0] * powers[..., 1])
    return np.divide(powers[..., 2], product, out=np.zeros_like(product), where=product > 0.0)


def _flipped_below_hz(total: Floats, parts: Floats) -> float | None:
    """The upper edge of the bands, from the lowest that is heard, that are flipped nearly all the time."""
    is_heard = heard(parts)
    if len(parts) * WINDOW_COLUMNS < STEADY_COLUMNS or not is_heard.any():
        return None
    flipped = is_heard & (_correlations(parts) < FLIPPED)
    times = is_heard.sum(axis=0)
    is_steady = (flipped.sum(axis=0) >= STEADY_SHARE * times) & (times >= 2) & heard(total)
    bands = np.flatnonzero(heard(total))
    if len(bands) == 0 or not is_steady[bands[0]]:
        return None
    against = bands[~is_steady[bands]]
    last = int(bands[bands < against[0]].max()) if len(against) else int(bands[-1])
    return float(band_edges_hz()[last + 1])


def _delay_ms(hz: Floats, total: Floats, parts: Floats) -> float | None:
    """By how much the right channel is behind, where the whole pass and most of its parts agree."""
    whole = _best_delay(hz, total)
    if whole is None or abs(whole) < SHORTEST_DELAY_MS or len(parts) * WINDOW_COLUMNS < STEADY_COLUMNS:
        return None
    loud = parts[..., :2].sum(axis=(1, 2))
    told = [_best_delay(hz, part) for part in parts[loud >= loud.max() * FAR_BELOW]]
    near = sum(one is not None and abs(one - whole) <= _NEAR_MS for one in told)
    return whole if near >= STEADY_SHARE * len(told) else None


def _best_delay(hz: Floats, powers: Floats) -> float | None:
    """The delay whose line the phases follow, in ms; None where the signal cannot tell, or follows none."""
    cross = powers[:, 2] + 1j * powers[:, 3]
    product = np.sqrt(powers[:, 0] * powers[:, 1])
    coherence = np.divide(np.abs(cross), product, out=np.zeros_like(product), where=product > 0.0)
    usable = heard(powers) & (coherence >= COHERENT)
    run = _longest_run(usable)
    if run.stop - run.start < BROADBAND_BANDS:
        return None
    unit = cross[run] / np.abs(cross[run])
    delays = np.arange(-LONGEST_DELAY_MS, LONGEST_DELAY_MS + _STEP_MS / 2.0, _STEP_MS)
    turned = np.exp(-2j * np.pi * hz[run] * delays[:, None] / 1000.0) @ unit / len(unit)
    # Either channel may be upside down too.
    fit = np.abs(turned.real)
    best = int(fit.argmax())
    if fit[best] < _FITS or fit[best] - fit[len(fit) // 2] < _BETTER:
        return None
    return float(round(delays[best], 2)) + 0.0


def _longest_run(flags: Bools) -> slice:
    """The longest stretch of bands that are set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    if len(starts) == 0:
        return slice(0, 0)
    at = int((stops - starts).argmax())
    return slice(int(starts[at]), int(stops[at]))
