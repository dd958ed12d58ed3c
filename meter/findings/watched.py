"""Stretches of other kinds: too loud for the target, left and right against each other, DC."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from meter.findings.excess import DC_LIMIT
from meter.findings.stretches import Bools, Condition, Stretch, StretchFinder
from meter.live_pass import LivePass
from meter.music_sentences import short_term_ceiling_lufs
from meter.readings import LONG_ROWS
from meter.soundings import BANDS, Soundings
from meter.targets import Target
from meter.units import Floats, lufs_to_power

EASED_LU: Final = 0.5
EASED_R: Final = 0.05
EASED_DC: Final = 0.7
"""A stretch ends when it is this much better than what began it; of DC, this share of it."""

_FULL: Final = BANDS.index("full")


@dataclass(slots=True, kw_only=True)
class Watched:
    """One condition, the sums it looks at, and what is found of it."""

    kind: str
    subject: str = ""
    limit: float
    sums: Callable[[Soundings], Floats]
    condition: Condition
    needs_sound: bool = True
    shortest_rows: int = 1  # what is shorter is none
    finder: StretchFinder = field(init=False)

    def __post_init__(self) -> None:
        self.finder = StretchFinder(self.condition)

    def is_long(self, stretch: Stretch) -> bool:
        """Whether a stretch lasts long enough to be told."""
        return stretch.stop - stretch.start >= self.shortest_rows


Told = list[tuple[Watched, Stretch]]


class MoreWatches:
    """All of them over one run of soundings.

    Parameters
    ----------
    live_pass : LivePass
        Whose soundings they are.
    target : Target or None
        Its ceiling for S and its lowest r. Without one nothing is too loud, and r may be 0.
    """

    def __init__(self, live_pass: LivePass, target: Target | None) -> None:
        weights = np.array(live_pass.weights)
        self._all = [_dc(channel, sign) for channel in range(live_pass.channels) for sign in (1.0, -1.0)]
        ceiling_lufs = None if target is None else short_term_ceiling_lufs(target)
        if ceiling_lufs is not None:
            self._all.append(_too_loud(ceiling_lufs, weights))
        if live_pass.channels > 1:
            self._all.append(_against(_lowest_r(target)))

    def take(self, rows: Soundings, loud: Bools) -> Told:
        """Take soundings; what ended in them."""
        told: Told = []
        for one in self._all:
            heard = loud if one.needs_sound else np.ones(len(rows), np.bool_)
            ended = one.finder.take(one.sums(rows), heard)
            told += [(one, stretch) for stretch in ended if one.is_long(stretch)]
        return told

    def end(self) -> Told:
        """What was open when the run ended."""
        return [(one, stretch) for one in self._all for stretch in one.finder.end() if one.is_long(stretch)]

    @property
    def open(self) -> Told:
        """What is not over yet."""
        still = [(one, one.finder.open) for one in self._all]
        return [(one, stretch) for one, stretch in still if stretch is not None and one.is_long(stretch)]


def _frames(rows: Soundings) -> Floats:
    return np.asarray(rows["frames"], np.float64)


def _three(first: Floats, second: Floats) -> Floats:
    return np.stack([first, second, np.zeros(len(first))], axis=1)


def _dc(channel: int, sign: float) -> Watched:
    def sums(rows: Soundings) -> Floats:
        return _three(rows["dc"][:, channel] * _frames(rows), _frames(rows))

    return Watched(
        kind="dc",
        subject=f"{channel + 1}{'+' if sign > 0.0 else '-'}",
        limit=DC_LIMIT,
        sums=sums,
        condition=Condition(begins=(sign, -DC_LIMIT, 0.0), goes_on=(sign, -DC_LIMIT * EASED_DC, 0.0)),
        needs_sound=False,
        shortest_rows=LONG_ROWS,  # a slow wave or a hit that leans to one side is no DC
    )


def _too_loud(ceiling_lufs: float, weights: Floats) -> Watched:
    def sums(rows: Soundings) -> Floats:
        power = rows["k_power"][:, : len(weights)].astype(np.float64) @ weights
        return _three(power * _frames(rows), _frames(rows))

    begins, goes_on = lufs_to_power(ceiling_lufs), lufs_to_power(ceiling_lufs - EASED_LU)
    condition = Condition(begins=(1.0, -begins, 0.0), goes_on=(1.0, -goes_on, 0.0))
    return Watched(kind="too loud", limit=ceiling_lufs, sums=sums, condition=condition)


def _lowest_r(target: Target | None) -> float:
    limit = None if target is None else target.limits_for(live=True).get("correlation")
    lowest = 0.0 if limit is None or limit.min is None else limit.min
    return min(lowest, 0.0)  # above zero a quiet side would look as if it worked against the other


def _against(lowest_r: float) -> Watched:
    def sums(rows: Soundings) -> Floats:
        return np.stack([rows[name][:, _FULL] * _frames(rows) for name in ("ll", "rr", "lr")], axis=1)

    def weights(r: float) -> tuple[float, float, float]:
        return r / 2.0, r / 2.0, -1.0

    condition = Condition(begins=weights(lowest_r), goes_on=weights(lowest_r + EASED_R))
    return Watched(kind="against", limit=lowest_r, sums=sums, condition=condition)
