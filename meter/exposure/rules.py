"""Doses and daily levels from levels and hours, by the rule the user chose.

Every figure is only as right as the levels that go in, and says nothing about a single ear.

Source
------
ITU-T H.870 (03/2022); NIOSH 98-126 (1998) §1.1; Directive 2003/10/EC Art. 3. What of them was seen stands
in `meter.standards.exposure_limits`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from meter.standards import exposure_limits as limits
from meter.units import db_to_power, power_to_db


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Some hours at an A-weighted level at the ear."""

    level_dba: float
    hours: float
    uncertainty_db: float = 0.0
    """Half of the interval in which the level lies; 0 as it was given."""

    def at(self, end: float) -> Part:
        """The same at an end of its interval: -1 the lowest, 0 as it is, 1 the highest level."""
        return Part(level_dba=self.level_dba + end * self.uncertainty_db, hours=self.hours)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A published rule.

    Attributes
    ----------
    hours : float
        For so long `level_dba` makes 100 %, or is the level the rule speaks of.
    exchange_db : float or None
        Decibels that double the exposure; None: by energy (3.01 dB).
    threshold_dba : float
        Levels below do not count.
    steps_dba : tuple of float
        Levels of the period that mean something; a rule with several gives no percentage.
    """

    key: str
    title: str
    document: str
    period: str
    period_hours: float
    level_dba: float
    hours: float
    exchange_db: float | None = None
    threshold_dba: float = -math.inf
    ceiling_dba: float = math.inf
    steps_dba: tuple[float, ...] = ()

    @property
    def has_dose(self) -> bool:
        """Whether the rule counts in percent."""
        return not self.steps_dba

    def share(self, part: Part, *, of_dba: float | None = None) -> float:
        """What a part is of the allowed exposure: 1 is all of it."""
        if part.level_dba < self.threshold_dba or part.hours <= 0.0:
            return 0.0
        over_db = part.level_dba - (self.level_dba if of_dba is None else of_dba)
        if self.exchange_db is None:
            return float(part.hours / self.hours * db_to_power(over_db))
        return float(part.hours / self.hours * 2.0 ** (over_db / self.exchange_db))

    def dose(self, parts: Sequence[Part]) -> float:
        """The sum of the shares; 1 is 100 %, or `level_dba` over the whole period."""
        return math.fsum(self.share(part) for part in parts)

    def period_level_dba(self, parts: Sequence[Part]) -> float:
        """The steady level that gives the same over the hours of the rule; ``-inf`` for nothing.

        NIOSH calls it TWA, the directive L_EX,8h; by H.870 it is the mean over 40 hours.
        """
        return self.level_of(self.dose(parts))

    def level_of(self, dose: float) -> float:
        """The same for a dose, of which 1 is 100 %."""
        return self.level_dba + power_to_db(dose)

    def hours_to_all(self, dose: float, level_dba: float, *, of_dba: float | None = None) -> float:
        """Hours at a level until a dose is 100 %; 0 when it is, ``inf`` when the level does not count.

        Parameters
        ----------
        dose : float
            1 is 100 %.
        level_dba : float
        of_dba : float, optional
            The level of which 100 % are counted, as in `share`.
        """
        if dose >= 1.0:
            return 0.0
        one_hour = self.share(Part(level_dba=level_dba, hours=1.0), of_dba=of_dba)
        return (1.0 - dose) / one_hour if one_hour > 0.0 else math.inf

    def hours_left(self, parts: Sequence[Part], level_dba: float, *, of_dba: float | None = None) -> float:
        """The same after some parts: hours until the level of the rule, or `of_dba`, is reached."""
        dose = math.fsum(self.share(part, of_dba=of_dba) for part in parts)
        return self.hours_to_all(dose, level_dba, of_dba=of_dba)


_EU_STEPS: Final = (limits.EU_LOWER_ACTION_DBA, limits.EU_UPPER_ACTION_DBA, limits.EU_LIMIT_DBA)

RULES: Final = {
    rule.key: rule
    for rule in (
        Rule(
            key="who-adult",
            title="WHO-ITU, adults",
            document=limits.H870,
            period="7 days",
            period_hours=168.0,
            level_dba=limits.H870_ADULT_DBA,
            hours=limits.H870_HOURS,
        ),
        Rule(
            key="who-sensitive",
            title="WHO-ITU, sensitive listeners",
            document=limits.H870,
            period="7 days",
            period_hours=168.0,
            level_dba=limits.H870_SENSITIVE_DBA,
            hours=limits.H870_HOURS,
        ),
        Rule(
            key="niosh",
            title="NIOSH REL",
            document=limits.NIOSH,
            period="day",
            period_hours=24.0,
            level_dba=limits.NIOSH_REL_DBA,
            hours=limits.NIOSH_HOURS,
            exchange_db=limits.NIOSH_EXCHANGE_DB,
            threshold_dba=limits.NIOSH_THRESHOLD_DBA,
            ceiling_dba=limits.NIOSH_CEILING_DBA,
        ),
        Rule(
            key="eu-day",
            title="EU, working day",
            document=limits.EU,
            period="day",
            period_hours=24.0,
            level_dba=limits.EU_UPPER_ACTION_DBA,
            hours=limits.EU_DAY_HOURS,
            steps_dba=_EU_STEPS,
        ),
        Rule(
            key="eu-week",
            title="EU, mean of a working week",
            document=limits.EU,
            period="week",
            period_hours=168.0,
            level_dba=limits.EU_UPPER_ACTION_DBA,
            hours=limits.EU_DAY_HOURS * limits.EU_WEEK_DAYS,
            steps_dba=_EU_STEPS,
        ),
    )
}
"""By their keys on the command line."""


def exposure_pa2h(parts: Sequence[Part]) -> float:
    """Sound exposure, Pa² · h.

    Source
    ------
    E = p0² · 10^(L/10) · h, p0 = 20 µPa. ITU-T H.870 §8.1.2 (title seen); CALC: 80 dBA, 40 h: 1.6.
    """
    return limits.REFERENCE_PA**2 * math.fsum(db_to_power(part.level_dba) * part.hours for part in parts)


def mean_level_dba(parts: Sequence[Part]) -> float:
    """Energy mean over the time of all parts; ``-inf`` for silence or no time."""
    hours = math.fsum(part.hours for part in parts)
    if hours <= 0.0:
        return -math.inf
    return power_to_db(math.fsum(db_to_power(part.level_dba) * part.hours for part in parts) / hours)


def sum_of_levels_db(levels_db: Sequence[float]) -> float:
    """Level of sources together that have nothing to do with each other."""
    return power_to_db(math.fsum(db_to_power(level_db) for level_db in levels_db))
