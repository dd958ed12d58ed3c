"""The kicks of a pass as one reading: a part of `LowEndAnalysis`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from meter.low_end.clock import LowClock
from meter.low_end.kick_reader import KickReader
from meter.low_end.kick_records import Hit, Kicks
from meter.units import Floats, db_to_power, power_to_db

FEWEST: Final = 4
"""Hits that a level or a sum is told from."""
CLEAR_DB: Final = 6.0
"""The sub under a kick is told where it is so far over the kick's own part in its band."""
LEAST_SUB_DB: Final = -40.0
STEADY_DB: Final = 1.0
"""Hits that are alone tell what a kick is without a sub where they are so much alike."""
OVER_BASS_DB: Final = 10.0
"""And a hit is held against them where its fall is so far over what sounds there before."""
ADDS_DB: Final = 0.5
CANCELS_DB: Final = -1.5
"""What is said of hit and sub together begins here. Common practice, no source."""
TOGETHER_S: Final = 0.12


class KickHits:
    """Finds the kicks in the low-end signal."""

    def __init__(self, clock: LowClock) -> None:
        self._reader = KickReader(clock)
        self._rate = clock.rate_hz
        self._made: Kicks | None = None
        self._due = 0  # hits at which it is worked out anew

    def process(self, samples: Floats, first_index: int) -> None:
        """Take what comes next. See `LowEndAnalysis.process`."""
        self._reader.process(samples, first_index)

    def gap(self) -> None:
        """End what is open."""
        self._reader.gap()
        self._due = 0

    def flush(self) -> None:
        """The pass has ended."""
        self._reader.flush()
        self._due = 0

    def reading(self) -> Kicks:
        """What is known now; changes nothing that could be seen.

        In a pass of hours the medians are those of up to 2 % fewer hits, until it ends.
        """
        hits = self._reader.hits
        if self._made is None or len(hits) >= self._due:
            self._made = kicks_of(hits, rate_hz=self._rate)
            self._due = len(hits) + max(1, len(hits) // 50)
        elif len(hits) != self._made.count:
            self._made = replace(self._made, count=len(hits), hits=tuple(hits))
        return self._made


def kicks_of(hits: Sequence[Hit], *, rate_hz: float) -> Kicks:
    """What many hits come to.

    Parameters
    ----------
    hits : sequence of Hit
    rate_hz : float
        Of the low signal that they come from.
    """
    bodies_hz = [hit.body.hz for hit in hits if hit.body.hz is not None]
    lower, body_hz, upper = np.percentile(bodies_hz, [25.0, 50.0, 75.0]) if bodies_hz else (0.0, 0.0, 0.0)
    return Kicks(
        count=len(hits),
        told=len(bodies_hz),
        body_hz=float(body_hz) if bodies_hz else None,
        spread_hz=float(upper - lower) / 2.0 if bodies_hz else None,
        seconds=_median(hits, lambda hit: hit.body.seconds),
        level_dbfs=_median(hits, lambda hit: hit.body.level_dbfs),
        crest_db=_median(hits, lambda hit: hit.body.crest_db),
        sub_share=_median(hits, lambda hit: hit.body.sub_share),
        sub_under_db=sub_under_db(hits),
        adds_db=adds_db(hits, rate_hz=rate_hz),
        hits=tuple(hits),
    )


def _median(hits: Sequence[Hit], value: Callable[[Hit], float | None]) -> float | None:
    values = [number for hit in hits if (number := value(hit)) is not None]
    return float(np.median(values)) if values else None


def _alone(hits: Sequence[Hit]) -> list[Hit]:
    return [hit for hit in hits if hit.is_alone]


def sub_under_db(hits: Sequence[Hit]) -> float | None:
    """How much lower the sub is under the bodies than between them, 0 or more; None where it cannot be told.

    What a kick brings into the sub's band itself is taken from hits without a sub. Where there are none, or
    where
    that is most of what is there, the sub under a kick cannot be told from a mix.
    """
    alone = _alone(hits)
    if len(alone) < FEWEST:
        return None
    own_db = float(np.median([hit.sub_during_db - hit.body.level_dbfs for hit in alone]))
    lower = []
    for hit in hits:
        if not hit.has_sub:
            continue
        between = max(hit.sub_before_db, -np.inf if hit.sub_after_db is None else hit.sub_after_db)
        own = db_to_power(hit.body.level_dbfs + own_db)
        if own > db_to_power(between - CLEAR_DB):
            continue
        under_db = power_to_db(max(db_to_power(hit.sub_during_db) - own, 0.0))
        lower.append(min(max(between - under_db, 0.0), -LEAST_SUB_DB))
    return float(np.median(lower)) if len(lower) >= FEWEST else None


def adds_db(hits: Sequence[Hit], *, rate_hz: float) -> float | None:
    """By how much hit and sub add, or cancel, at least; None where a mix does not tell.

    What the kick is alone is known from hits without a sub, by its fall, where no sub sounds. More than
    both apart
    is adding, whatever the sub does; less than the kick alone is cancelling, since a sub that only ducks
    takes
    nothing off the kick. Between the two it may be either.
    """
    alone = _alone(hits)
    ratios_db = [power_to_db(hit.body.energy / max(hit.body.fall_energy, 1e-30)) for hit in alone]
    if len(alone) < FEWEST or float(np.subtract(*np.percentile(ratios_db, [75.0, 25.0]))) > STEADY_DB:
        return None
    ratio = db_to_power(float(np.median(ratios_db)))
    more, less = [], []
    for hit in hits:
        is_clear = hit.body.fall_energy > db_to_power(OVER_BASS_DB) * hit.fall_before
        if not (is_clear and hit.has_sub) or hit.is_alone:
            continue
        kick = ratio * hit.body.fall_energy
        levels_db = [hit.sub_before_db] if hit.sub_after_db is None else [hit.sub_before_db, hit.sub_after_db]
        sub = max(db_to_power(level_db) for level_db in levels_db) / 2.0 * TOGETHER_S * rate_hz
        more.append(power_to_db(max(hit.body.energy, 1e-30) / (kick + sub)))
        less.append(power_to_db(max(hit.body.energy, 1e-30) / kick))
    if len(more) < FEWEST:
        return None
    if (sum_db := float(np.median(more))) > ADDS_DB:
        return sum_db
    return rest_db if (rest_db := float(np.median(less))) < CANCELS_DB else None
