"""The signs by which `meter.pollution` knows what may not belong to a pass."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from meter.row_store import PIECE_ROWS
from meter.selection import Part, Span
from meter.soundings import BANDS, SOUNDINGS_A_SECOND
from meter.units import Floats, lufs_to_power, power_to_db, powers_to_db, powers_to_lufs

QUIET_LUFS: Final = -60.0
SHORTEST_SILENCE_ROWS: Final = 3
MANY: Final = 3
"""So many pauses are told together."""

NOISE_UNDER_LU: Final = 25.0
SHORTEST_NOISE_ROWS: Final = 5 * SOUNDINGS_A_SECOND

SHORTEST_LOOP_ROWS: Final = 4 * SOUNDINGS_A_SECOND
COMMON: Final = 12
"""A peak that comes so often is a ceiling and tells no place."""
COVERED: Final = 0.5
"""Of a repeated stretch, so many soundings have the very same peak."""
WHOLE: Final = 0.8
"""Of a loop, so much comes again at once."""

PING_LU: Final = 2.5
PING_ABOVE_ALL_LU: Final = 2.0
PING_ROWS: Final = (3, 14)
PING_ALIKE_ROWS: Final = 2
PING_ALIKE_LU: Final = 2.5
PING_ALIKE_SHARE: Final = 0.8
PING_LOW_DB: Final = 2.5
"""An accent of the music brings its own bass; the sound of a message, or a mouse, has none."""
AROUND_ROWS: Final = 31

STEP_DB: Final = 3.0
ALIKE_DB: Final = 1.0
STEP_ROWS: Final = 28
STEADY_ROWS: Final = 8
"""For so long the windows on both sides tell the same, when it is a volume and no new part of the tune."""
LONGEST_STEP_ROWS: Final = 120 * SOUNDINGS_A_SECOND

_LOW_BANDS: Final = ("20-60", "60-120", "120-250")

Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def powers_of(part: Part) -> Floats:
    """Weighted K power of each sounding."""
    weights = np.asarray(part.weights, np.float64)
    return np.asarray(part.rows["k_power"][:, : len(weights)].astype(np.float64) @ weights, np.float64)


def spans_of(flags: Bools, *, shortest: int = 1) -> list[Span]:
    """Where flags are set, as spans."""
    turns = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True) if b - a >= shortest]


def pauses(part: Part) -> tuple[list[Span], bool]:
    """Silence of 0.3 s or more, and whether there are many."""
    spans = spans_of(powers_of(part) < lufs_to_power(QUIET_LUFS), shortest=SHORTEST_SILENCE_ROWS)
    return spans, len(spans) >= MANY


def silence_between(part: Part, shortest_rows: int) -> Span | None:
    """The last silence with a whole tune on both sides, unless there are many."""
    spans, is_many = pauses(part)
    inside = [one for one in spans if one[0] >= shortest_rows and len(part.rows) - one[1] >= shortest_rows]
    return None if is_many or not inside else inside[-1]


def noise_ends(part: Part) -> list[Span]:
    """Something steady at either end that is heard but lies far under the music."""
    levels = powers_to_lufs(powers_of(part))
    heard = levels[levels > -70.0]
    if len(heard) == 0:
        return []
    music = float(np.percentile(heard, 90.0))
    is_noise = levels < music - NOISE_UNDER_LU
    found = []
    for start, stop in spans_of(is_noise, shortest=SHORTEST_NOISE_ROWS):
        is_end = start == 0 or stop == len(levels)
        if is_end and float(np.median(levels[start:stop])) > -70.0:
            found.append((start, stop))
    return found


def loops(part: Part) -> list[tuple[Span, int]]:
    """Stretches that repeat, sample by sample, what was right before them; and the length of the loop.

    The highest sample of a sounding is found again exactly when the same samples come again, wherever the
    edges of the soundings then fall.
    """
    peaks = np.ascontiguousarray(part.rows["sample_peak"][:, : min(part.channels, 2)])
    lags = np.zeros((len(peaks), peaks.shape[1]), np.int64)
    for channel in range(peaks.shape[1]):
        lags[:, channel] = _lags(peaks[:, channel])
    found: list[tuple[Span, int]] = []
    for lag in _frequent(lags):
        is_same = np.asarray((np.abs(lags - lag) <= 1).any(axis=1), np.bool_)
        share = np.convolve(is_same, np.ones(20) / 20.0, "same")
        for start, stop in spans_of(share >= COVERED, shortest=SHORTEST_LOOP_ROWS):
            hits = np.flatnonzero(is_same[start:stop])
            first, last = start + int(hits[0]), start + int(hits[-1]) + 1
            is_whole = last - first >= WHOLE * lag
            if is_whole and not any(first < b and a < last for (a, b), _ in found):
                found.append(((first, last), lag))
    return sorted(found)


def _lags(peaks: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """How many soundings ago each peak was there before; 0 for never."""
    values, inverse, counts = np.unique(peaks, return_inverse=True, return_counts=True)
    lags = np.zeros(len(peaks), np.int64)
    order = np.argsort(inverse, kind="stable")
    same = inverse[order][1:] == inverse[order][:-1]
    lags[order[1:][same]] = np.diff(order)[same]
    lags[(counts[inverse] >= COMMON) | (values[inverse] == 0.0)] = 0
    # The edges of soundings may show one peak twice in a row.
    return np.where(lags >= SHORTEST_LOOP_ROWS, lags, 0)


def _frequent(lags: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> list[int]:
    """Lags that come often, the most frequent first; a lag and its neighbours count as one."""
    counts = np.bincount(lags.ravel())
    if len(counts) <= SHORTEST_LOOP_ROWS:
        return []
    near = np.convolve(counts, np.ones(3), "same")
    near[:SHORTEST_LOOP_ROWS] = 0
    order = np.argsort(-near, kind="stable")[:20]
    return [int(lag) for lag in order if near[lag] >= SHORTEST_LOOP_ROWS * COVERED]


def _pieces(start: int, stop: int) -> list[slice]:
    """Stretches of ten minutes: what is worked out of hours needs no memory for hours."""
    return [slice(first, min(first + PIECE_ROWS, stop)) for first in range(start, stop, PIECE_ROWS)]


def pings(part: Part) -> list[Span]:
    """Short bursts that stand out of what is around them, and out of the whole pass; at least three alike."""
    power = powers_of(part)
    if len(power) < 2 * AROUND_ROWS:
        return []
    levels = powers_to_lufs(_smoothed(power, 3))
    padded = np.pad(levels, AROUND_ROWS // 2, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, AROUND_ROWS)
    around = np.concatenate([np.median(windows[piece], axis=1) for piece in _pieces(0, len(windows))])
    stands_out = levels >= around + PING_LU
    floor = float(np.percentile(levels[~stands_out], 99.0)) if (~stands_out).any() else 0.0
    is_ping = stands_out & (levels >= floor + PING_ABOVE_ALL_LU)
    spans = [one for one in spans_of(is_ping) if PING_ROWS[0] <= one[1] - one[0] <= PING_ROWS[1]]
    if len(spans) < MANY:
        return []
    # The same sound each time: as long, and as loud but for the music under it.
    lengths = np.array([stop - start for start, stop in spans])
    tops = np.array([levels[start:stop].max() for start, stop in spans])
    is_alike = (np.abs(lengths - np.median(lengths)) <= PING_ALIKE_ROWS) & (
        np.abs(tops - np.median(tops)) <= PING_ALIKE_LU
    )
    if is_alike.mean() < PING_ALIKE_SHARE or _low_rise_db(part, spans) > PING_LOW_DB:
        return []
    return [(max(start - 1, 0), stop + 1) for start, stop in spans]


def _low_rise_db(part: Part, spans: list[Span]) -> float:
    """How much more there is under 250 Hz in bursts than right before and behind; the middle one of all."""
    low = _low_powers(part).sum(axis=1)
    rises = []
    for start, stop in spans:
        reach = AROUND_ROWS // 2
        beside = np.concatenate([low[max(start - reach, 0) : start], low[stop : stop + reach]])
        mean = max(float(np.exp(np.mean(np.log(np.maximum(beside, 1e-12))))), 1e-12)
        rises.append(power_to_db(max(float(low[start:stop].mean()), 1e-12) / mean))
    return float(np.median(rises))


def _low_powers(part: Part) -> Floats:
    rows = part.rows
    both = rows["ll"].astype(np.float64) + rows["rr"]
    return np.asarray(both[:, [BANDS.index(band) for band in _LOW_BANDS]], np.float64)


def _smoothed(power: Floats, width: int) -> Floats:
    return np.asarray(np.convolve(power, np.ones(width) / width, "same"), np.float64)


def level_steps(part: Part) -> list[tuple[Span, float]]:
    """Stretches in which all bands at once are lower or higher by the same, and the step in dB."""
    levels = _band_levels(part)
    count = len(levels)
    if count < 4 * STEP_ROWS:
        return []
    change = np.zeros(count)
    is_alike = np.zeros(count, np.bool_)
    totals = np.concatenate([np.zeros((1, levels.shape[1])), np.cumsum(levels, axis=0)])
    for piece in _pieces(STEP_ROWS, count - STEP_ROWS):
        edges = np.arange(piece.start, piece.stop)
        before = powers_to_db(np.maximum((totals[edges] - totals[edges - STEP_ROWS]) / STEP_ROWS, 1e-12))
        after = powers_to_db(np.maximum((totals[edges + STEP_ROWS] - totals[edges]) / STEP_ROWS, 1e-12))
        steps = after - before
        change[edges] = np.median(steps, axis=1)
        is_alike[edges] = (np.ptp(steps, axis=1) <= ALIKE_DB) & (np.abs(change[edges]) >= STEP_DB)
    places: list[int] = []
    for start, stop in spans_of(is_alike, shortest=STEADY_ROWS):
        top = start + int(np.abs(change[start:stop]).argmax())
        if not places or top - places[-1] >= STEP_ROWS:
            places.append(top)
        elif abs(change[top]) > abs(change[places[-1]]):
            places[-1] = top
    found = []
    for first, second in pairwise(places):
        is_back = abs(change[first] + change[second]) <= ALIKE_DB
        if is_back and second - first <= LONGEST_STEP_ROWS:
            found.append(((first, second), float((change[first] - change[second]) / 2.0)))
    return found


def _band_levels(part: Part) -> Floats:
    """Power of the low bands, of the rest, and the K power, of each sounding."""
    rows = part.rows
    both = rows["ll"].astype(np.float64) + rows["rr"]
    full = both[:, BANDS.index("full")]
    return np.column_stack([_low_powers(part), full, powers_of(part)])
