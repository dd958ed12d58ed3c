"""What is found sounding by sounding: overs and silence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.pass_cutter import QUIET_LUFS, QUIET_SLOTS
from meter.soundings import Soundings
from meter.units import amplitude_to_db, db_to_amplitude, lufs_to_power, powers_to_db

NEAR_SLOTS: Final = 30
"""Overs nearer than 3 s are one finding."""

SHORTEST_SILENCE_SLOTS: Final = 4
"""So many soundings wholly silent: at least 0.4 s."""

AGAIN_LU: Final = 3.0
"""So far over the threshold, silence is over: a tail that fades through it ends it once."""

CUT_SLOTS: Final = 3
CUT_LU: Final = 20.0
"""Silence is a fault only where the sound was this far over the threshold so many soundings before it: what
falls more slowly is a fade or an echo that dies away, as music often has. Common practice, no source."""

_FULL_SCALE: Final = 32_767 / 32_768


@dataclass(frozen=True, slots=True, kw_only=True)
class Overs:
    """Overs of soundings [start, stop): how many, where the highest is, and how they came about."""

    start: int
    stop: int
    count: int
    top: int
    peak_dbtp: float
    samples_over: bool  # the samples themselves reach full scale, or the limit where that is lower
    severity: float  # dB over the limit times seconds


def overs_in(rows: Soundings, *, first: int, limit_dbtp: float, channels: int) -> Iterator[Overs]:
    """The overs of soundings, near ones together.

    Parameters
    ----------
    rows : ndarray of `SOUNDING`
    first : int
        Number of the first of them.
    limit_dbtp : float
        Of now. The soundings may have been counted against another before: what is over is told by
        their peaks, and how often by their counts, at least once.
    channels : int
    """
    peaks = rows["true_peak"][:, :channels].max(axis=1)
    excess_db = np.maximum(2.0 * powers_to_db(peaks) - limit_dbtp, 0.0)
    hits = np.flatnonzero(excess_db > 0.0)
    if len(hits) == 0:
        return
    bound = min(db_to_amplitude(limit_dbtp), _FULL_SCALE)
    for part in np.split(hits, np.flatnonzero(np.diff(hits) - 1 > NEAR_SLOTS) + 1):
        top = int(part[peaks[part].argmax()])
        yield Overs(
            start=first + int(part[0]),
            stop=first + int(part[-1]) + 1,
            count=max(int(rows["overs"][part].sum()), 1),
            top=first + top,
            peak_dbtp=amplitude_to_db(float(peaks[top])),
            samples_over=bool(rows["sample_peak"][part][:, :channels].max() >= bound),
            severity=float(excess_db[part].sum()) / 10.0,
        )


class SilenceFinder:
    """Finds silence that cuts music off and ends again, shorter than what ends a pass; in one run."""

    def __init__(self, weights: tuple[float, ...]) -> None:
        self._weights = weights
        self._count = 0
        self._past: npt.NDArray[np.float64] = np.zeros(CUT_SLOTS)
        self._silent_since: int | None = None
        self._is_cut = False

    def take(self, rows: Soundings) -> list[tuple[int, int]]:
        """Take soundings; the silences [start, stop) that ended in them."""
        from meter.passes import weighted_powers  # brings the chain with it, which takes its time to load

        powers = weighted_powers(rows, self._weights)
        silent = powers < lufs_to_power(QUIET_LUFS)
        loud = powers >= lufs_to_power(QUIET_LUFS + AGAIN_LU)
        with_past = np.concatenate([self._past, powers])
        self._past = with_past[-CUT_SLOTS:]
        found = []
        for at in _changes(silent, loud, is_silent=self._silent_since is not None):
            number = self._count + at
            since = self._silent_since
            if since is None:
                self._silent_since = number
                before = with_past[at : at + CUT_SLOTS].max()
                self._is_cut = bool(before >= lufs_to_power(QUIET_LUFS + CUT_LU))
                continue
            if self._is_cut and SHORTEST_SILENCE_SLOTS <= number - since < QUIET_SLOTS:
                found.append((since, number))
            self._silent_since = None
        self._count += len(rows)
        return found


def _changes(silent: npt.NDArray[np.bool_], loud: npt.NDArray[np.bool_], *, is_silent: bool) -> list[int]:
    """Places at which silence begins and ends, in turn."""
    told = np.flatnonzero(silent | loud)
    states = np.concatenate([[is_silent], silent[told]])
    return [int(at) for at in told[states[1:] != states[:-1]]]
