"""What was heard, by the minute, and what the user says was heard elsewhere; and what it comes to.

Minutes are those of UTC, so that neither summer time nor a journey makes one twice or loses one. Days are
those of the clock on the wall.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from meter.exposure.rules import Part, Rule
from meter.units import power_to_db

WEEK_S: Final = 7 * 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardMinute:
    """Sound of one minute from one setup.

    Attributes
    ----------
    minute : int
        Minutes since 1970, UTC.
    setup : str
    seconds : float
        How much of it was heard.
    a_power, c_power : float
        Mean squares of the louder ear over those seconds, against a full-scale sine.
    c_peak : float
    full_scale_db, plus_db : float
        Of the calibration that held then.
    is_narrow : bool
        Whether that calibration gives a dose.
    marks : int
        Bit k: there was sound in second k of the minute; 0: not known.
    clock_s : float
        How far the clock on the wall was ahead of the one that nobody sets.
    """

    minute: int
    setup: str
    seconds: float
    a_power: float
    c_power: float
    c_peak: float
    full_scale_db: float
    plus_db: float
    is_narrow: bool
    marks: int = 0
    clock_s: float = 0.0

    @property
    def level_dba(self) -> float:
        """At the louder ear, as it is estimated."""
        return power_to_db(self.a_power) + self.full_scale_db

    def part(self) -> Part:
        """As a part of a dose."""
        return Part(
            level_dba=self.level_dba,
            hours=self.seconds / 3600.0,
            uncertainty_db=self.plus_db,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Sound that the program did not hear, as the user tells it.

    Attributes
    ----------
    number : int
    began_unix_s : float
    part : Part
    note : str
        "gig", "rehearsal".
    """

    number: int
    began_unix_s: float
    part: Part
    note: str

    def within(self, from_s: float, to_s: float) -> Part | None:
        """The part of it between two moments."""
        end_s = self.began_unix_s + 3600.0 * self.part.hours
        hours = (min(end_s, to_s) - max(self.began_unix_s, from_s)) / 3600.0
        if hours <= 0.0:
            return None
        return Part(level_dba=self.part.level_dba, hours=hours, uncertainty_db=self.part.uncertainty_db)


def day_began_s(now_s: float) -> float:
    """Midnight before this moment by the clock on the wall; a day may have 23 or 25 hours."""
    local = time.localtime(now_s)
    return time.mktime((local.tm_year, local.tm_mon, local.tm_mday, 0, 0, 0, 0, 0, -1))


def period_began_s(rule: Rule, now_s: float) -> float:
    """Where the period of a rule begins: today, or seven days ago."""
    return day_began_s(now_s) if rule.period == "day" else now_s - WEEK_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """What a period comes to by a rule; an estimate with its interval.

    Attributes
    ----------
    rule : Rule
    hours : float
        That count, heard and entered.
    dose : tuple of float
        As it is, and at the lower and the upper end; 1 is 100 %.
    level_dba : tuple of float
        The same of the level over the hours of the rule.
    unknown_hours : float
        Heard with a setup of which too little is known: in no figure.
    """

    rule: Rule
    hours: float
    dose: tuple[float, float, float]
    level_dba: tuple[float, float, float]
    unknown_hours: float

    def hours_left(self, level_dba: float, plus_db: float = 0.0) -> tuple[float, float, float]:
        """Hours to 100 %, or to the rule's level: as it is, by the upper and by the lower end."""
        middle, low, high = self.dose
        return (
            self.rule.hours_to_all(middle, level_dba),
            self.rule.hours_to_all(high, level_dba + plus_db),
            self.rule.hours_to_all(low, level_dba - plus_db),
        )

    def and_then(self, other: Budget) -> Budget:
        """Both together; of the same rule and period."""
        doses = [one + two for one, two in zip(self.dose, other.dose, strict=True)]
        levels = [self.rule.level_of(dose) for dose in doses]
        return Budget(
            rule=self.rule,
            hours=self.hours + other.hours,
            dose=(doses[0], doses[1], doses[2]),
            level_dba=(levels[0], levels[1], levels[2]),
            unknown_hours=self.unknown_hours + other.unknown_hours,
        )


def budget(
    rule: Rule,
    minutes: Iterable[HeardMinute],
    entries: Sequence[Entry],
    *,
    now_s: float,
    from_s: float | None = None,
) -> Budget:
    """What the rule's period has come to by now; or all since another moment."""
    if from_s is None:
        from_s = period_began_s(rule, now_s)
    parts: list[Part] = []
    unknown_s = 0.0
    for one in minutes:
        if not from_s <= 60.0 * one.minute < now_s or one.seconds <= 0.0:
            continue
        if one.is_narrow:
            parts.append(one.part())
        else:
            unknown_s += one.seconds
    parts += [part for entry in entries if (part := entry.within(from_s, now_s)) is not None]
    ends = [[part.at(end) for part in parts] for end in (0.0, -1.0, 1.0)]
    doses = [rule.dose(end) for end in ends]
    levels = [rule.level_of(dose) for dose in doses]
    return Budget(
        rule=rule,
        hours=math.fsum(part.hours for part in parts),
        dose=(doses[0], doses[1], doses[2]),
        level_dba=(levels[0], levels[1], levels[2]),
        unknown_hours=unknown_s / 3600.0,
    )
