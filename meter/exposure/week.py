"""Seven days, day by day: what was heard and what was entered; estimates with their interval."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from meter.exposure.heard import WEEK_S, Budget, Entry, HeardMinute, budget, day_began_s
from meter.exposure.rules import RULES, Rule
from meter.exposure.words import hours_text

DAYS: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One day by the clock on the wall.

    Attributes
    ----------
    began_s : float
        Its midnight, or where the period of the rule begins within it.
    both, entered : Budget
        Of all that counts, and of what the user entered of it.
    notes : tuple of str
        Of the entries, in the order of time.
    """

    began_s: float
    both: Budget
    entered: Budget
    notes: tuple[str, ...]

    @property
    def name(self) -> str:
        """As "Fri 27", or "Fri 20 from 14:05" where only the rest of it counts."""
        began = time.localtime(self.began_s)
        is_whole = day_began_s(self.began_s) == self.began_s
        return time.strftime("%a %d" if is_whole else "%a %d from %H:%M", began)

    def ends(self) -> tuple[float, float, float]:
        """In percent of the rule, or in dBA; as it is, and at the lower and the upper end."""
        if not self.both.rule.has_dose:
            return self.both.level_dba
        middle, low, high = (100.0 * dose for dose in self.both.dose)
        return middle, low, high

    def entered_share(self) -> float:
        """How much of the day's exposure was entered, 0 to 1."""
        return self.entered.dose[0] / self.both.dose[0] if self.both.dose[0] > 0.0 else 0.0


def day_rule(rule: Rule) -> Rule:
    """The rule by which single days are told beside this one: of the directive's week that of its day."""
    return RULES["eu-day"] if rule.key == "eu-week" else rule


def days_of(
    rule: Rule, minutes: Sequence[HeardMinute], entries: Sequence[Entry], *, now_s: float
) -> tuple[Day, ...]:
    """The last seven days, today the last.

    Parameters
    ----------
    rule : Rule
        The chosen one; see `day_rule`. For a rule of seven days there is one more, of which only the
        hours count that lie within them.
    minutes : sequence of HeardMinute
        Of at least eight days.
    entries : sequence of Entry
    now_s : float
        Seconds since 1970.
    """
    by = day_rule(rule)
    is_rolling = by.period != "day"
    starts = [day_began_s(now_s)]
    while len(starts) < DAYS + is_rolling:
        starts.append(day_began_s(starts[-1] - 12.0 * 3600.0))
    if is_rolling:
        starts[-1] = max(starts[-1], now_s - WEEK_S)
    made = []
    for began_s, end_s in zip(reversed(starts), [*reversed(starts[:-1]), now_s], strict=True):
        within = [one for one in minutes if began_s <= 60.0 * one.minute < end_s]
        told = [entry for entry in entries if entry.within(began_s, end_s) is not None]
        made.append(
            Day(
                began_s=began_s,
                both=budget(by, within, told, now_s=end_s, from_s=began_s),
                entered=budget(by, [], told, now_s=end_s, from_s=began_s),
                notes=tuple(entry.note for entry in told),
            )
        )
    return tuple(made)


def week_title(rule: Rule) -> str:
    """What the seven days show, with the rule's name."""
    by = day_rule(rule)
    if not by.has_dose:
        what = "level over 8 h of each day"
    else:
        what = "each day's dose" if by.period == "day" else "each day's share of the week"
    return f"Seven days, {what} by {by.title}, estimated"


def day_text(day: Day) -> str:
    """A day in words, for those who do not see it, and for a terminal."""
    if day.both.hours <= 0.0:
        more = f"; {hours_text(day.both.unknown_hours)} uncalibrated" if day.both.unknown_hours else ""
        return f"{day.name}: nothing counted{more}"
    middle, low, high = day.ends()
    unit, decimals = ("%", 0) if day.both.rule.has_dose else ("dBA", 1)
    text = f"{day.name}: {middle:.{decimals}f} {unit} ({low:.{decimals}f} to {high:.{decimals}f})"
    text += f", {hours_text(day.both.hours)} of sound"
    if day.notes:
        text += f", of it entered: {', '.join(day.notes)}"
    return text
