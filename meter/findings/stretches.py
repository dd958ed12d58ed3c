"""Stretches in which left and right are not as they should be, found over 3 s and placed to 100 ms.

Every condition here is linear in the sums of left, right and their product: "more than allowed is
lost in mono" and "right is 10 dB under left" both say that a weighted sum over 3 s is above zero.
So where a stretch begins and ends is where the running total of that weighted sum turns, which is
known to a sounding although the condition is seen over 3 s.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.readings import LONG_ROWS
from meter.units import Floats, db_to_power

PAST_ROWS: Final = 2 * LONG_ROWS
"""So far back the beginning is looked for: where it is quiet at first, it is seen late."""

Bools = npt.NDArray[np.bool_]

EASED: Final = 0.75
"""A stretch ends when the loss in mono is under three quarters of what began it, in dB."""
EASED_DB: Final = 2.0
"""A one-sided stretch ends when the sides are nearer by this than what began it."""


@dataclass(frozen=True, slots=True)
class Condition:
    """Met when the first weighted sum over 3 s is above zero, until the second is not.

    Weights are those of left, right (mean squares) and their mean product.
    """

    begins: tuple[float, float, float]
    goes_on: tuple[float, float, float]


def loses_more_than(lowest_db: float) -> Condition:
    """More is lost in mono than a fold loss of `lowest_db` (<= 0)."""

    def weights(limit_db: float) -> tuple[float, float, float]:
        # (P + 2·lr) / (2·P) < k  <=>  (k - 1/2)·P - lr > 0, with P = ll + rr
        k = db_to_power(limit_db) - 0.5
        return k, k, -1.0

    return Condition(begins=weights(lowest_db), goes_on=weights(lowest_db * EASED))


def is_lower(apart_db: float, *, right: bool) -> Condition:
    """One side is at least `apart_db` under the other."""

    def weights(db: float) -> tuple[float, float, float]:
        times = db_to_power(db)
        return (1.0, -times, 0.0) if right else (-times, 1.0, 0.0)

    return Condition(begins=weights(apart_db), goes_on=weights(apart_db - EASED_DB))


@dataclass(frozen=True, slots=True)
class Stretch:
    """Soundings [start, stop) of a run, and their sums of left, right and product; and of its worst 3 s."""

    start: int
    stop: int
    sums: tuple[float, float, float]
    goes_on: bool = False
    worst_start: int | None = None  # None where it is shorter than 3 s
    worst_sums: tuple[float, float, float] = (0.0, 0.0, 0.0)


class StretchFinder:
    """Watches one condition over a run of soundings without a gap.

    A stretch reaches from where the running total of the condition was lowest to where it was
    highest: as a whole it always meets the condition, however it ebbs before it ends.

    Parameters
    ----------
    condition : Condition
    """

    def __init__(self, condition: Condition) -> None:
        self._condition = condition
        self._weights = np.array(condition.begins)
        self._past: Floats = np.empty((0, 3))
        self._count = 0
        self._total: Floats = np.zeros(3)  # of everything before `_past`
        self._start: int | None = None
        self._start_total: Floats = np.zeros(3)
        self._stop, self._stop_total = 0, np.zeros(3)  # where it was highest so far
        self._worst: tuple[float, int, tuple[float, float, float]] | None = None
        self._free = 0  # no stretch has been from here on

    def take(self, sums: Floats, heard: Bools) -> list[Stretch]:
        """Take soundings; the stretches that ended in them.

        Parameters
        ----------
        sums : ndarray, shape (n, 3)
            Energy of left, of right, and their product.
        heard : ndarray of bool, shape (n,)
            Where the newest 3 s are loud enough to speak of.
        """
        base, first = self._count - len(self._past), len(self._past)
        joined = np.concatenate([self._past, sums])
        totals = np.concatenate([[self._total], self._total + np.cumsum(joined, axis=0)])
        begins = self._over_3_s(joined, self._condition.begins)[first:] & heard
        goes_on = self._over_3_s(joined, self._condition.goes_on)[first:] & heard
        found = []
        at = 0
        while at < len(sums):
            hits = np.flatnonzero((begins if self._start is None else ~goes_on)[at:])
            stop = at + int(hits[0]) + 1 if len(hits) else len(sums)
            if self._start is not None:
                self._go_on(totals, first + at, first + stop, base)
                if len(hits):
                    found += self.end()
            elif len(hits):
                self._begin(totals, first + stop, base)
            at = stop
        self._count += len(sums)
        kept = min(PAST_ROWS, len(joined))
        self._past = joined[len(joined) - kept :]
        self._total = totals[len(joined) - kept].copy()
        return found

    def _begin(self, totals: Floats, stop: int, base: int) -> None:
        """It begins where the running total was lowest for the last time, behind the one before."""
        lower = max(stop - PAST_ROWS, self._free - base, 0)
        running = totals[lower : stop + 1] @ self._weights
        at = stop - int(running[::-1].argmin())
        if at == stop:  # what is over the limit in these 3 s belongs to the stretch before
            return
        self._start, self._start_total, self._worst = at + base, totals[at].copy(), None
        self._stop, self._stop_total = self._start, self._start_total
        self._go_on(totals, at, stop, base)

    def _go_on(self, totals: Floats, first: int, stop: int, base: int) -> None:
        """Look whether the running total goes higher in the soundings [first, stop), and how bad they are."""
        self._look_for_the_worst(totals, first, stop, base)
        running = (totals[first + 1 : stop + 1] - self._stop_total) @ self._weights
        at = int(running.argmax())
        if running[at] > 0.0:
            self._stop, self._stop_total = first + 1 + at + base, totals[first + 1 + at].copy()

    def _look_for_the_worst(self, totals: Floats, first: int, stop: int, base: int) -> None:
        assert self._start is not None
        ends = np.arange(max(first + 1, self._start - base + LONG_ROWS, LONG_ROWS), stop + 1)
        if len(ends) == 0:
            return
        sums = totals[ends] - totals[ends - LONG_ROWS]
        power = np.maximum(sums[:, 0] + sums[:, 1], 1e-300)
        shares = (sums @ self._weights) / power
        at = int(shares.argmax())
        if self._worst is None or shares[at] > self._worst[0]:
            ll, rr, lr = sums[at].tolist()
            self._worst = float(shares[at]), int(ends[at]) - LONG_ROWS + base, (ll, rr, lr)

    def _over_3_s(self, joined: Floats, weights: tuple[float, float, float]) -> Bools:
        """Whether the weighted sum of the 3 s that end with each sounding is above zero."""
        above = np.zeros(len(joined), np.bool_)
        if len(joined) >= LONG_ROWS:
            windows = np.lib.stride_tricks.sliding_window_view(joined @ np.array(weights), LONG_ROWS)
            above[LONG_ROWS - 1 :] = windows.sum(axis=-1) > 0.0
        return above

    @property
    def open(self) -> Stretch | None:
        """The stretch that has not ended, as far as it is known."""
        if self._start is None:
            return None
        ll, rr, lr = (self._stop_total - self._start_total).tolist()
        goes_on = self._count - self._stop < LONG_ROWS
        stretch = Stretch(self._start, self._stop, (ll, rr, lr), goes_on=goes_on)
        if self._worst is None or self._worst[1] >= self._stop:
            return stretch
        return replace(stretch, worst_start=self._worst[1], worst_sums=self._worst[2])

    def end(self) -> list[Stretch]:
        """The run has ended, or the condition: the stretch that was open."""
        stretch = self.open
        if stretch is None:
            return []
        self._start, self._free = None, stretch.stop
        return [replace(stretch, goes_on=False)]
