"""Time over: in how many seconds there was an over or a clipped wave, of the last 10 min and of all.

Every second counts once, however often it was over. Memory is 600 bytes whatever the length.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.flat_tops import FEWEST_FLAT, LONG_FRAMES
from meter.soundings import Soundings
from meter.units import db_to_amplitude

RECENT_S: Final = 600
"""What is recent: 10 min."""

EARLY_S: Final = 1e-6
"""A sounding may begin so much before its second, by rounding."""

_NOTHING, _HEARD, _OVER = 0, 1, 2


class TimeOver:
    """Counts seconds; soundings come in the order of time.

    A second is over when a true peak in it lies above the limit, or when its flat tops are those of a
    clipper (`FEWEST_FLAT` in the second, or one of `LONG_FRAMES`), at whatever level. Flat tops and overs
    belong to the second of the sounding that brought them.

    Attributes
    ----------
    heard_s, over_s : int
        Seconds in which anything was measured, and those of them that were over.
    recent_heard_s, recent_over_s : int
        The same of the newest 600 s of the clock, the open second included.
    """

    def __init__(self) -> None:
        self.heard_s = self.over_s = 0
        self.recent_heard_s = self.recent_over_s = 0
        self._ring = bytearray(RECENT_S)
        self._second = -1
        self._flat_tops = 0

    def take(self, rows: Soundings, *, start_s: float, rate_hz: float, limit_dbtp: float) -> list[float]:
        """Count soundings.

        Parameters
        ----------
        rows : ndarray of `SOUNDING`
        start_s : float
            Where frame 0 of their pass lies, by the clock that seconds are counted on.
        rate_hz : float
        limit_dbtp : float
            Where overs begin.

        Returns
        -------
        list of float
            Share of the recent seconds that were over, 0 to 1, at each of them.
        """
        at_s = (start_s + rows["start_frame"] / rate_hz).tolist()
        is_over = are_over(rows, limit_dbtp).tolist()
        tops, longest = rows["flat_tops"].tolist(), rows["flat_frames"].tolist()
        return [self._add(*one) for one in zip(at_s, is_over, tops, longest, strict=True)]

    def _add(self, at_s: float, is_over: bool, flat_tops: int, longest_frames: int) -> float:
        second = math.floor(at_s + EARLY_S)
        if second > self._second:
            self._turn(second)
        self._flat_tops += flat_tops
        place = self._second % RECENT_S
        if self._ring[place] == _NOTHING:
            self._ring[place] = _HEARD
            self.heard_s += 1
            self.recent_heard_s += 1
        if self._ring[place] == _HEARD and (
            is_over or self._flat_tops >= FEWEST_FLAT or longest_frames >= LONG_FRAMES
        ):
            self._ring[place] = _OVER
            self.over_s += 1
            self.recent_over_s += 1
        return self.recent_over_s / self.recent_heard_s

    def _turn(self, second: int) -> None:
        """Forget what is no longer recent."""
        for one in range(max(self._second + 1, second - RECENT_S + 1), second + 1):
            old = self._ring[one % RECENT_S]
            self.recent_heard_s -= old != _NOTHING
            self.recent_over_s -= old == _OVER
            self._ring[one % RECENT_S] = _NOTHING
        self._second, self._flat_tops = second, 0


def are_over(rows: Soundings, limit_dbtp: float) -> npt.NDArray[np.bool_]:
    """In which soundings the true peak is above a limit, also where the over began before."""
    peaks = rows["true_peak"].max(axis=1)
    return np.asarray((rows["overs"] > 0) | (peaks > db_to_amplitude(limit_dbtp)), np.bool_)
