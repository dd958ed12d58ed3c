"""The curves of a report: a pass brought to some hundred columns, with the lowest and highest of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.report.material import Material, length_s
from meter.soundings import LOW_BANDS, Soundings
from meter.units import LOUDNESS_OFFSET_DB, Floats, powers_to_db

COLUMNS: Final = 660
WINDOW_ROWS: Final = 30
_BELOW: Final = LOW_BANDS.index("below_crossover")
_QUIET_POWER: Final = 1e-7
FLOOR_DB: Final = -60.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """Lowest and highest of each column; NaN where there is nothing."""

    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curves:
    """All lanes of a report over `seconds`."""

    seconds: float
    short_term_lufs: Curve
    true_peak_dbtp: Curve
    correlation: Curve | None
    lost_db: Curve | None
    over_columns: tuple[int, ...]


def curves_of(material: Material, *, columns: int = COLUMNS) -> Curves:
    """The lanes of a pass."""
    rows, rate_hz = material.rows, material.rate_hz
    seconds = max(length_s(rows, rate_hz), 0.1)
    middle_s = (rows["start_frame"] + rows["frames"] / 2) / rate_hz
    place = np.minimum((middle_s / seconds * columns).astype(np.int64), columns - 1)
    weighted = rows["k_power"][:, : material.channels].astype(np.float64) @ np.asarray(material.weights)
    short_term = powers_to_db(np.maximum(_means(weighted, rows), 0.0)) + LOUDNESS_OFFSET_DB
    peaks = 2.0 * powers_to_db(rows["true_peak"][:, : material.channels].max(axis=1, initial=0.0))
    is_pair = material.channels > 1
    return Curves(
        seconds=seconds,
        short_term_lufs=_curve(short_term, place, columns),
        true_peak_dbtp=_curve(peaks, place, columns),
        correlation=_curve(_correlation(rows), place, columns) if is_pair else None,
        lost_db=_curve(_lost(rows), place, columns) if is_pair else None,
        over_columns=tuple(np.unique(place[rows["overs"] > 0]).tolist()),
    )


def _means(values: Floats, rows: Soundings) -> Floats:
    """Mean over 3 s ending with each row; NaN where there are fewer, and across what was lost."""
    means = np.full(len(values), np.nan)
    if len(values) >= WINDOW_ROWS:
        sums = np.concatenate([[0.0], np.cumsum(values)])
        means[WINDOW_ROWS - 1 :] = (sums[WINDOW_ROWS:] - sums[:-WINDOW_ROWS]) / WINDOW_ROWS
        gap = np.concatenate([[False], np.diff(rows["start_frame"]) != rows["frames"][:-1]])
        near = np.convolve(gap, np.ones(WINDOW_ROWS), "full")[: len(values)] > 0.5
        means[near] = np.nan
    return means


def _pair(rows: Soundings, column: int) -> tuple[Floats, Floats, Floats]:
    ll, rr, lr = (_means(rows[name][:, column].astype(np.float64), rows) for name in ("ll", "rr", "lr"))
    return ll, rr, lr


def _correlation(rows: Soundings) -> Floats:
    ll, rr, lr = _pair(rows, len(LOW_BANDS))
    root = np.sqrt(np.where((ll > _QUIET_POWER) & (rr > _QUIET_POWER), ll * rr, np.nan))
    return np.clip(lr / root, -1.0, 1.0)


def _lost(rows: Soundings) -> Floats:
    ll, rr, lr = _pair(rows, _BELOW)
    # Too quiet to tell: under -70 dBFS, or 30 dB under the loudest of the pass.
    loudest = np.nanmax(ll + rr, initial=0.0)
    both = np.where(ll + rr > max(_QUIET_POWER, loudest / 1000.0), ll + rr, np.nan)
    return np.clip(powers_to_db(np.maximum((both + 2.0 * lr) / (2.0 * both), 1e-6)), FLOOR_DB, 0.0)


def _curve(values: Floats, place: np.ndarray, columns: int) -> Curve:
    low, high = np.full(columns, np.inf), np.full(columns, -np.inf)
    known = np.isfinite(values)
    np.minimum.at(low, place[known], values[known])
    np.maximum.at(high, place[known], values[known])
    empty = low > high
    low[empty] = high[empty] = np.nan
    return Curve(low=low, high=high)
