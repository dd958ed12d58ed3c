"""When a period will be used up at the level of now, by the clock on the wall: an estimate with its ends."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

from meter.exposure.heard import Budget, day_began_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Moments in seconds since 1970; None: not before the day is over, at this level.

    Attributes
    ----------
    is_reached : bool
        By the upper end it is used up already.
    middle_s, soonest_s, latest_s : float or None
        As it is, by the upper end, which is the one to go by, and by the lower end.
    """

    is_reached: bool
    middle_s: float | None = None
    soonest_s: float | None = None
    latest_s: float | None = None


def day_ends_s(now_s: float) -> float:
    """The next midnight; a day may have 23 or 25 hours."""
    return day_began_s(day_began_s(now_s) + 36.0 * 3600.0)


def plan(found: Budget, level_dba: float, plus_db: float, *, now_s: float) -> Plan:
    """What comes of going on at this level.

    Parameters
    ----------
    found : Budget
        Of the chosen rule, up to now.
    level_dba, plus_db : float
        At the ear, and how far it may be off.
    now_s : float
        Seconds since 1970.
    """
    hours = found.hours_left(level_dba, plus_db)
    if hours[1] <= 0.0:
        return Plan(is_reached=True)
    end_s = day_ends_s(now_s)

    def moment(left: float) -> float | None:
        at_s = now_s + 3600.0 * left
        return at_s if math.isfinite(at_s) and at_s < end_s else None

    middle, soonest, latest = (moment(left) for left in hours)
    return Plan(is_reached=False, middle_s=middle, soonest_s=soonest, latest_s=latest)


def plan_text(made: Plan, found: Budget) -> str:
    """The plan in words: "100 % about 17:40, between 16:50 and 21:10"."""
    end = "100 %" if found.rule.has_dose else f"{found.rule.level_dba:g} dBA"
    if made.is_reached:
        return f"{end} is reached"
    if made.soonest_s is None:
        return f"{end} not today, at this level"
    if made.middle_s is None:
        return f"{end} from {_clock(made.soonest_s)} on, or not today"
    if made.latest_s is None:
        return f"{end} about {_clock(made.middle_s)}, from {_clock(made.soonest_s)} on, or not today"
    first, last = _clock(made.soonest_s), _clock(made.latest_s)
    if first == last:  # the level was given without an interval
        return f"{end} about {first}"
    return f"{end} about {_clock(made.middle_s)}, between {first} and {last}"


def _clock(at_s: float) -> str:
    return time.strftime("%H:%M", time.localtime(at_s))
