"""A timeline whose numbers a test writes down itself, as far as the lanes ask for it."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np

from meter.slot_store import Columns


@dataclass
class FakeTimeline:
    """Series by key, each as long as `slots`; what has no series is NaN."""

    series: dict = field(default_factory=dict)
    slots: int = 0
    events: list = field(default_factory=list)

    def __post_init__(self):
        self.slots = self.slots or max((len(one) for one in self.series.values()), default=0)

    def values(self, key, first, last):
        found = np.full(last - first, np.nan, np.float32)
        known = np.asarray(self.series.get(key, ()), np.float32)[: self.slots]
        low, high = max(first, 0), min(last, len(known))
        if high > low:
            found[low - first : high - first] = known[low:high]
        return found

    def columns(self, key, *, slots_a_column, first_column, count):
        first = first_column * slots_a_column
        values = self.values(key, first, first + count * slots_a_column).reshape(count, slots_a_column)
        with np.errstate(all="ignore"):
            low, high = np.fmin.reduce(values, axis=1), np.fmax.reduce(values, axis=1)
            finite = np.isfinite(values)
            total = np.where(finite, values, 0.0).sum(axis=1, dtype=np.float64)
            mean = np.where(finite.any(axis=1), total / np.maximum(finite.sum(axis=1), 1), low)
        return Columns(low, high, mean.astype(np.float32))

    def place(self, slot):
        """One pass, from slot 0 on."""
        return (SimpleNamespace(number=1), slot / 10.0) if 0 <= slot < self.slots else None

    def origin_slot(self, slot):
        """Where 0:00 is for what is said of a slot."""
        return 0 if 0 <= slot < self.slots else slot
