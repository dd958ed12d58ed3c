"""What the chain knows at a moment: the newest soundings, and the totals of the pass."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from meter.dsp.gating import moving_mean
from meter.dsp.grid import BLOCKS_A_SOUNDING, CELLS_A_BLOCK
from meter.dsp.stereo import correlation, fold_loss_db
from meter.soundings import (
    BANDS,
    BANDS_OVERLAY,
    LOW_BANDS,
    SOUNDING,
    SOUNDINGS_A_SECOND,
    EyeLevels,
    Reading,
    Soundings,
    empty_soundings,
)
from meter.units import Floats, amplitude_to_db, db_to_power, power_to_lufs

if TYPE_CHECKING:
    from meter.chain import Chain

SHORT_ROWS: Final = 4
"""400 ms."""
LONG_ROWS: Final = 3 * SOUNDINGS_A_SECOND
"""3 s."""
_BEFORE_AND_SHORT: Final = np.array([0, LONG_ROWS - SHORT_ROWS])
STABLE_RANGE_S: Final = 60.0
"""LRA is not stable before. EBU Tech 3341 v4 §2.4. SEEN-S."""
QUIET_DBFS: Final = -70.0
"""A low band under this says nothing about mono."""
FAR_BELOW_DB: Final = -30.0
"""A low band this far under the loudest 3 s of the low end says nothing either."""
_QUIET_POWER: Final = db_to_power(QUIET_DBFS)
_FAR_BELOW: Final = db_to_power(FAR_BELOW_DB)
_BELOW: Final = LOW_BANDS.index("below_crossover")


BandSums = dict[str, tuple[float, float, float]]
"""Mean square of left, of right, and their mean product, by band."""


_KEPT_ROWS: Final = 512


class Recent:
    """The newest 3 s of soundings since the start or the last gap.

    Attributes
    ----------
    rows : Soundings
        At most `LONG_ROWS`. A view: rows that were handed out never change.
    """

    def __init__(self) -> None:
        self._end = 0
        self.rows: Soundings = empty_soundings()
        self._new_store(0)

    def _new_store(self, rows: int) -> None:
        self._store: Soundings = np.empty(rows, SOUNDING)
        self._frames, self._bands = self._store["frames"], self._store.view(BANDS_OVERLAY)["bands"]

    def add(self, rows: Soundings) -> float:
        """Take new rows; the loudest 3 s of the low end among them."""
        past = self.rows[-(LONG_ROWS - 1) :]
        if self._end + len(rows) > len(self._store):
            # Another store, since somebody may look at this one. To join rows anew each time costs more.
            self._new_store(len(past) + len(rows) + _KEPT_ROWS)
            self._store[: len(past)] = past
            self._end = len(past)
        begin, end = self._end - len(past), self._end + len(rows)
        self._store[self._end : end] = rows
        self._end = end
        self.rows = self._store[max(begin, end - LONG_ROWS) : end]
        return loudest_low_power(self._store[begin:end])

    def sums(self) -> tuple[BandSums | None, BandSums | None]:
        """Mean squares of left and right and their mean product, by band, over the newest 400 ms and 3 s."""
        if len(self.rows) < SHORT_ROWS:
            return None, None
        newest = slice(self._end - len(self.rows), self._end)
        frames = self._frames[newest]
        sums = self._bands[newest] * frames[:, None, None]
        # No matrix products: every column is added up in the same order, so that opposite channels cancel.
        if len(frames) < LONG_ROWS:
            sums, frames = sums[-SHORT_ROWS:], frames[-SHORT_ROWS:]
            return _by_band(np.add.reduce(sums, axis=0) / np.add.reduce(frames)), None
        earlier, short = np.add.reduceat(sums, _BEFORE_AND_SHORT, axis=0)
        before, newly = np.add.reduceat(frames, _BEFORE_AND_SHORT).tolist()
        return _by_band(short / newly), _by_band((earlier + short) / (before + newly))


def _by_band(means: Floats) -> BandSums:
    ll, rr, lr = means.tolist()
    return dict(zip(BANDS, zip(ll, rr, lr, strict=True), strict=True))


class Totals:
    """Maxima over the pass so far."""

    def __init__(self, channels: int) -> None:
        self._channels = channels
        self.true_peaks: Floats = np.zeros(channels)
        self.sample_peaks: Floats = np.zeros(channels)
        self.loudest_low_power = 0.0
        """Loudest 3 s of the band below the crossover, mean square of both channels added."""

    def add(self, rows: Soundings, loudest_low: float) -> None:
        """Take new rows, and the loudest 3 s of the low end that `Recent` found in them."""
        for known, name in ((self.true_peaks, "true_peak"), (self.sample_peaks, "sample_peak")):
            newest = np.maximum.reduce(rows[name], axis=0)[: self._channels]
            np.maximum(known, newest, out=known)
        self.loudest_low_power = max(self.loudest_low_power, loudest_low)

    def is_raised_by(self, amplitudes: Floats) -> bool:
        """Whether the true peak so far lies under these."""
        return bool((amplitudes > self.true_peaks).any())


def loudest_low_power(rows: Soundings) -> float:
    """Loudest 3 s of the band below the crossover; 0 when there are fewer."""
    if len(rows) < LONG_ROWS:
        return 0.0
    power = np.add(rows["ll"][:, _BELOW], rows["rr"][:, _BELOW], dtype=np.float64)
    return float(moving_mean(power, LONG_ROWS).max(initial=0.0))


def band_is_heard(power: float, loudest_power: float) -> bool:
    """Whether a low band is loud enough to speak of what it loses in mono."""
    return power >= _QUIET_POWER and (loudest_power <= 0.0 or power >= _FAR_BELOW * loudest_power)


def _heard(sums: BandSums, loudest_power: float) -> set[str]:
    """The bands that say something about mono."""
    return {
        name
        for name, (ll, rr, _) in sums.items()
        if name not in LOW_BANDS or band_is_heard(ll + rr, loudest_power)
    }


def _fold_losses(sums: BandSums | None, heard: set[str]) -> dict[str, float | None]:
    if sums is None:
        return dict.fromkeys(BANDS)
    return {name: fold_loss_db(*band) if name in heard else None for name, band in sums.items()}


def _correlation(sums: BandSums | None, name: str) -> float | None:
    return None if sums is None else correlation(*sums[name])


def _lufs(power: float | None) -> float | None:
    return None if power is None else power_to_lufs(power)


def _dbs(amplitudes: list[float]) -> tuple[float, ...]:
    return tuple([amplitude_to_db(amplitude) for amplitude in amplitudes])


def _minus(peak_db: float, loudness_lufs: float | None) -> float | None:
    """Peak to loudness; None while there is no loudness, or in silence."""
    if loudness_lufs is None or math.isinf(loudness_lufs) or math.isinf(peak_db):
        return None
    return peak_db - loudness_lufs


@dataclass(frozen=True, slots=True)
class Gated:
    """The two numbers of a pass that all of it is looked at for."""

    integrated_lufs: float | None
    range_lu: float | None


def gated_of(chain: Chain) -> Gated:
    """I and LRA of a chain."""
    return Gated(chain.loudness.integrated_lufs(), chain.loudness.range_lu())


class LiveReadings:
    """Readings ten times a second, in which I and LRA are new once a second: they hardly move in one.

    Source
    ------
    EBU Tech 3341 v4 §2.2: I is renewed once a second at least, S ten times. SEEN-S.
    """

    def __init__(self) -> None:
        self.start()

    def start(self) -> None:
        """I and LRA begin anew: a pass, or what comes behind a gap."""
        self._gated: Gated | None = None
        self._left = 0  # soundings until they are worked out again

    def reading(self, chain: Chain, *, soundings: int) -> Reading:
        """The reading of a chain that has brought so many soundings since the last one."""
        self._left -= soundings
        if self._gated is None or self._gated.integrated_lufs is None or self._left <= 0:
            self._gated = gated_of(chain)
            self._left = SOUNDINGS_A_SECOND
        return chain.reading(gated=self._gated)


def reading_of(chain: Chain, waiting: Floats | None, gated: Gated) -> Reading:
    """The reading of a chain.

    Parameters
    ----------
    waiting : ndarray or None
        Weighted K power of the cells of the sounding that is not full yet.
    gated : Gated
        Its I and LRA.
    """
    loudness, totals, channels = chain.loudness, chain.totals, chain.channels
    short, long = chain.recent.sums() if channels > 1 else (None, None)
    heard = _heard(long or short or {}, totals.loudest_low_power)
    momentary = loudness.momentary_power if waiting is None else loudness.partial_momentary(waiting)
    recent_peaks = chain.recent.rows["true_peak"][:, :channels]
    newest_peaks: list[float] = recent_peaks[-1].tolist() if len(recent_peaks) else [0.0] * channels
    long_peak = float(np.maximum.reduce(recent_peaks, axis=None, initial=0.0))
    true_peaks: list[float] = totals.true_peaks.tolist()
    integrated = gated.integrated_lufs
    short_term = _lufs(loudness.short_term_power)
    run = loudness.loudest_30s()
    seconds = chain.frames / chain.rate_hz
    from_s = chain.measured_from_frame / chain.rate_hz
    return Reading(
        at_s=seconds,
        momentary_lufs=_lufs(momentary),
        short_term_lufs=short_term,
        integrated_lufs=integrated,
        loudness_range_lu=gated.range_lu,
        loudness_range_stable=seconds - from_s >= STABLE_RANGE_S,
        momentary_max_lufs=_lufs(loudness.momentary_max),
        short_term_max_lufs=_lufs(loudness.short_term_max),
        loudest_30s_lufs=None if run is None else run[1],
        loudest_30s_at_s=None if run is None else from_s + run[0] / SOUNDINGS_A_SECOND,
        true_peak_dbtp=_dbs(newest_peaks),
        true_peak_max_dbtp=_dbs(true_peaks),
        sample_peak_max_dbfs=_dbs(totals.sample_peaks.tolist()),
        peak_to_loudness_lu=_minus(amplitude_to_db(max(true_peaks)), integrated),
        short_term_peak_to_loudness_lu=_minus(amplitude_to_db(long_peak), short_term),
        correlation=_correlation(short, "full"),
        correlation_3s=_correlation(long, "full"),
        fold_loss_db=_fold_losses(short, heard),
        fold_loss_3s_db=_fold_losses(long, heard),
        low_correlation=_correlation(long, "below_crossover") if "below_crossover" in heard else None,
        overs=chain.over_count,
        lost_frames=chain.lost_frames,
        nonfinite_samples=chain.nonfinite_samples,
    )


def eye_levels_of(chain: Chain) -> tuple[EyeLevels, ...]:
    """Levels of each 50 ms of a chain's newest sounding, in order; none before it and behind a gap."""
    peaks = chain.newest_peaks[-BLOCKS_A_SOUNDING:, : chain.channels].tolist()
    ends = chain.loudness.newest_momentary[CELLS_A_BLOCK - 1 :: CELLS_A_BLOCK].tolist()
    return tuple(
        EyeLevels(
            momentary_lufs=None if math.isnan(power) else power_to_lufs(power), peaks_dbfs=_dbs(amplitudes)
        )
        for power, amplitudes in zip(ends[-len(peaks) :], peaks, strict=False)
    )
