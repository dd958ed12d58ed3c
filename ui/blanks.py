"""Events of a timeline as far as they are seen, with how long nothing was measured at them."""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import TYPE_CHECKING, Final

import numpy as np

from ui.time_scale import TimeScale

if TYPE_CHECKING:
    from meter.timeline import Event, Timeline

BLANK_KINDS: Final = ("gap", "hold")

KEY: Final = "true_peak_dbtp"
"""A series that has a number in every slot that was measured."""

MOST: Final = 60
"""More events than this are too many to be told apart: the newest are shown."""


class Blanks:
    """What happened, for the picture."""

    def __init__(self, timeline: Timeline) -> None:
        self._timeline = timeline
        self._ends: dict[int, int] = {}

    def seen(self, scale: TimeScale) -> list[tuple[Event, int | None]]:
        """The events that are seen, each with the slot where measuring goes on; None = at once."""
        events = self._timeline.events
        left = scale.left_column / scale.columns_a_slot
        right = scale.right_column / scale.columns_a_slot
        first = bisect_left(events, left - 6000.0, key=lambda event: event.slot)
        found = []
        for event in events[first:]:
            if event.slot >= min(right, scale.last_slot):
                break
            end = self._end(event.slot) if event.kind in BLANK_KINDS else None
            # A pass that begins where the view begins needs no line.
            is_seen = event.slot > max(scale.first_slot, left) if end is None else end >= left
            if is_seen and event.slot >= scale.first_slot:
                found.append((event, end))
        return found[-MOST:]

    def _end(self, slot: int) -> int:
        if slot in self._ends:
            return self._ends[slot]
        at = slot
        while at < self._timeline.slots:
            values = self._timeline.values(KEY, at, min(at + 600, self._timeline.slots))
            heard = np.flatnonzero(~np.isnan(values))
            if len(heard):
                self._ends[slot] = at + int(heard[0])
                return self._ends[slot]
            at += len(values)
        return math.ceil(at)
