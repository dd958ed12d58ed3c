"""Overs: excursions of the true peak above a limit, nearer than 10 ms counted as one."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from meter.dsp.true_peak import LAG_FRAMES, Peaks
from meter.soundings import Over
from meter.units import Floats, amplitude_to_db

MERGE_S: Final = 0.010
KEPT: Final = 20_000
"""Overs kept with their place; beyond that they are only counted."""


class OverLog:
    """Joins the points above the limit into overs, over all channels."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._merge_frames = MERGE_S * rate_hz
        self.reset()

    def reset(self) -> None:
        """As a new object."""
        self.overs: list[Over] = []
        self.count = 0
        self._first = self._last = -1
        self._peak, self._channel = 0.0, 0

    def mark(self, first_frame: int) -> list[int]:
        """Let a new pass begin at this frame; first frames of the overs that it has so far."""
        starts = [round(over.at_s * self._rate_hz) - first_frame for over in self.overs]
        self.overs = [
            self._moved(over, max(0, start), first_frame)
            for over, start in zip(self.overs, starts, strict=True)
            if start >= -LAG_FRAMES
        ]
        self.count = len(self.overs)
        self._first = max(0, self._first - first_frame)
        self._last = max(0, self._last - first_frame) if self.overs else -1
        return [round(over.at_s * self._rate_hz) for over in self.overs]

    def forget_up_to(self, limit_dbtp: float) -> None:
        """Let go of the overs that do not pass this limit, which holds from now on."""
        ends_with_last = self.count == len(self.overs)
        kept = [over for over in self.overs if over.peak_dbtp > limit_dbtp]
        self.count -= len(self.overs) - len(kept)
        if ends_with_last and kept[-1:] != self.overs[-1:]:
            self._last = -1  # nothing joins an over that is gone
        self.overs = kept

    def _moved(self, over: Over, start: int, first_frame: int) -> Over:
        """The same over on a clock that was set back; in whole frames, so that nothing is rounded twice."""
        end = max(start + 1, round(over.until_s * self._rate_hz) - first_frame)
        return replace(over, at_s=start / self._rate_hz, until_s=end / self._rate_hz)

    def add(self, peaks: Peaks, *, first_frame: int) -> list[int]:
        """Take the points of one call; first frames of the overs that begin in it.

        Parameters
        ----------
        peaks : Peaks
            From the true-peak meter.
        first_frame : int
            Frame, since the start of the pass, of the first frame of that call.
        """
        if len(peaks.over_frames) == 0:
            return []
        order = np.argsort(peaks.over_frames, kind="stable")
        frames = peaks.over_frames[order] + first_frame
        heights, channels = peaks.over_amplitudes[order], peaks.over_channels[order]
        cuts = np.flatnonzero(np.diff(frames) > self._merge_frames) + 1
        begun = []
        for lower, upper in zip([0, *cuts], [*cuts, len(frames)], strict=True):
            if self._begin_or_join(
                frames[lower], frames[upper - 1], heights[lower:upper], channels[lower:upper]
            ):
                begun.append(max(0, int(frames[lower])))
        return begun

    def _begin_or_join(self, first: int, last: int, heights: Floats, channels: np.ndarray) -> bool:
        top = int(heights.argmax())
        joins = self._last >= 0 and first - self._last <= self._merge_frames
        if not joins:
            self.count += 1
            self._first, self._peak = max(0, int(first)), 0.0
        self._last = max(0, int(last))
        if heights[top] > self._peak:
            self._peak, self._channel = float(heights[top]), int(channels[top])
        over = Over(
            at_s=self._first / self._rate_hz,
            until_s=(self._last + 1) / self._rate_hz,
            peak_dbtp=amplitude_to_db(self._peak),
            channel=self._channel,
        )
        if joins and self.overs and self.count <= KEPT:
            self.overs[-1] = over
        elif not joins and self.count <= KEPT:
            self.overs.append(over)
        return not joins
