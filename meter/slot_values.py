"""What the lanes draw, worked out for each sounding from the soundings alone.

The same windows and conditions as a `Reading`: M over 400 ms; S, correlation and loss in mono over
3 s; nothing where a window is not whole yet or a band has too little to speak of.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.stereo import FLOOR_DB
from meter.readings import FAR_BELOW_DB, LONG_ROWS, QUIET_DBFS, SHORT_ROWS
from meter.soundings import BANDS, CUT_SHORT, LOW_BANDS, Reading, Soundings
from meter.units import LOUDNESS_OFFSET_DB, Floats, powers_to_db

FOLD_KEYS: Final = tuple(f"fold_{band}" for band in LOW_BANDS)
KEYS: Final = (
    "momentary_lufs",
    "short_term_lufs",
    "correlation",
    *FOLD_KEYS,
    "true_peak_dbtp",
    "overs",
    "time_over_root",
)
"""The series, in the order they are kept. The last one is the root of the share of the newest 10 min that
was over, in percent, so that small shares can be seen; it goes on over gaps, and comes from the timeline."""

EAR_KEYS: Final = ("ear_dba", "ear_low_dba", "ear_high_dba", "ear_dbc", "ear_used", "ear_used_high")
"""Series at the ear, while a setup is followed: estimates (`meter.exposure.lanes.ear_values`)."""

_M, _S, _R, _FOLD = 0, 1, 2, 3
_PEAK, _OVERS = KEYS.index("true_peak_dbtp"), KEYS.index("overs")
_FULL: Final = BANDS.index("full")
_BELOW: Final = LOW_BANDS.index("below_crossover")
_LOW: Final = len(LOW_BANDS)
_FLOOR_KEPT: Final = 10.0 ** (FLOOR_DB / 10.0)

Values = npt.NDArray[np.float32]
"""Shape (soundings, KEYS)."""


class SlotValues:
    """The values of soundings that follow each other.

    Parameters
    ----------
    weights : sequence of float
        Loudness weight of each channel.
    """

    def __init__(self, weights: Sequence[float]) -> None:
        self._weights = np.array(weights)
        self._channels = len(weights)
        self._past: Floats = np.empty((0, 2 + 3 * len(BANDS)))
        self._newest: Values = np.full(len(KEYS), np.nan, np.float32)
        self._loudest = 0.0

    def mark(self) -> None:
        """A new pass begins: what was the loudest counts no more; windows go on."""
        self._loudest = 0.0

    def take(self, rows: Soundings, readings: Sequence[Reading | None] = ()) -> Values:
        """Values of the next soundings.

        Parameters
        ----------
        rows : ndarray of `SOUNDING`
            Without a gap before or between them. One that is cut short can only be the last.
        readings : sequence of Reading or None
            At the ends of the newest of them, in order: values of a reading stand where rows could give
            only nearly the same.
        """
        is_cut = bool(rows["flags"][-1] & CUT_SHORT)
        values = np.full((len(rows), len(KEYS)), np.nan, np.float32)
        whole = rows[:-1] if is_cut else rows
        if len(whole):
            values[: len(whole), :_PEAK] = self._windows(whole)
        if is_cut:
            # No window ends with it: what was true before it is what is known.
            before = values[-2] if len(whole) else self._newest
            values[-1, :_PEAK] = before[:_PEAK]
        peaks = rows["true_peak"][:, : self._channels].max(axis=1)
        values[:, _PEAK] = 2.0 * powers_to_db(peaks)
        values[:, _OVERS] = rows["overs"]
        for at, reading in enumerate(readings, len(rows) - len(readings)):
            if reading is not None:
                values[at, :_PEAK] = of_reading(reading)
        self._newest = values[-1].copy()
        return values

    def _windows(self, rows: Soundings) -> Floats:
        count = len(rows)
        joined = np.concatenate([self._past, self._sums(rows)])
        self._past = joined[-(LONG_ROWS - 1) :]
        found = np.full((count, _PEAK), np.nan)
        short = _window_sums(joined[:, :1], SHORT_ROWS, count) / SHORT_ROWS
        found[count - len(short) :, _M] = powers_to_db(short[:, 0]) + LOUDNESS_OFFSET_DB
        sums = _window_sums(joined, LONG_ROWS, count)
        if len(sums) == 0:
            return found
        long = found[count - len(sums) :]
        long[:, _S] = powers_to_db(sums[:, 0] / LONG_ROWS) + LOUDNESS_OFFSET_DB
        if self._channels > 1:
            bands = sums[:, 2:].reshape(-1, 3, len(BANDS)) / sums[:, 1, None, None]
            long[:, _R] = _correlation(*(bands[:, k, _FULL] for k in range(3)))
            power = bands[:, 0, :_LOW] + bands[:, 1, :_LOW]
            losses = _fold_losses_db(power, bands[:, 2, :_LOW])
            losses[~self._are_heard(power, joined, len(sums))] = np.nan
            long[:, _FOLD:] = losses
        return found

    def _sums(self, rows: Soundings) -> Floats:
        """For each sounding its loudness power, its frames, and its sums of left and right by band."""
        frames = rows["frames"].astype(np.float64)[:, None]
        power = rows["k_power"][:, : self._channels].astype(np.float64) @ self._weights
        return np.concatenate(
            [power[:, None], frames, *(rows[name] * frames for name in ("ll", "rr", "lr"))], axis=1
        )

    def _are_heard(self, power: Floats, joined: Floats, count: int) -> npt.NDArray[np.bool_]:
        """Which bands are loud enough to speak of; see `meter.readings.band_is_heard`."""
        left, right = 2 + _BELOW, 2 + len(BANDS) + _BELOW
        low = ((joined[:, left] + joined[:, right]) / joined[:, 1])[:, None]
        loudest = _window_sums(low, LONG_ROWS, count)[:, 0] / LONG_ROWS
        loudest[0] = max(loudest[0], self._loudest)
        loudest = np.maximum.accumulate(loudest)
        self._loudest = float(loudest[-1])
        with np.errstate(divide="ignore", invalid="ignore"):
            is_near = powers_to_db(power / loudest[:, None]) >= FAR_BELOW_DB
        return (powers_to_db(power) >= QUIET_DBFS) & (is_near | (loudest <= 0.0)[:, None])


def of_reading(reading: Reading) -> list[float]:
    """The values of a reading, the true peak and the overs left away; NaN for None."""
    losses = (reading.fold_loss_3s_db.get(band) for band in LOW_BANDS)
    found = (reading.momentary_lufs, reading.short_term_lufs, reading.correlation_3s, *losses)
    return [np.nan if value is None else value for value in found]


def _window_sums(joined: Floats, width: int, count: int) -> Floats:
    """Sum of the rows of each window that ends with one of the newest `count`, as far as it is whole."""
    whole = min(len(joined) - width + 1, count)
    if whole <= 0:
        return joined[:0]
    if whole == 1:
        return np.asarray(joined[-width:].sum(axis=0)[None], np.float64)
    newest = joined[-(whole + width - 1) :]
    windows = np.lib.stride_tricks.sliding_window_view(newest, width, axis=0)
    return np.asarray(windows.sum(axis=-1), np.float64)


def _correlation(ll: Floats, rr: Floats, lr: Floats) -> Floats:
    """`meter.dsp.stereo.correlation` of arrays; NaN when a channel is silent."""
    has_both = (ll > 0.0) & (rr > 0.0)
    scale = np.where(has_both, np.sqrt(ll) * np.sqrt(rr), np.nan)
    return np.asarray(np.clip(lr / scale, -1.0, 1.0), np.float64)


def _fold_losses_db(power: Floats, lr: Floats) -> Floats:
    """`meter.dsp.stereo.fold_loss_db` of arrays; NaN in silence."""
    kept = (power + 2.0 * lr) / np.where(power > 0.0, 2.0 * power, np.nan)
    return powers_to_db(np.clip(kept, _FLOOR_KEPT, 1.0))
