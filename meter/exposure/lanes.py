"""The lanes of the arrangement Hearing, what flies on them, and what is said: estimates, never more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from meter.exposure.words import hours_text
from meter.lanes import Flag, Lane, LaneSeries
from meter.shown import NOT_KNOWN
from meter.slot_values import EAR_KEYS

if TYPE_CHECKING:  # the window imports this before it is painted
    from meter.exposure.heard import Budget
    from meter.exposure.live import Ear
    from meter.exposure.rules import Rule

BREAK_RANGE_MIN: Final = (0.0, 240.0)
REMIND_PCT: Final = (50.0, 80.0, 100.0)
REMIND_DBA: Final = (80.0, 85.0, 87.0)
"""Of a rule without a dose: the action values and the limit of Directive 2003/10/EC, article 3 (cited)."""

WORDS: Final = (
    "An estimate from the digital level and your calibration, with its interval: not a sound level meter to "
    "IEC 61672, not medical advice. It knows nothing of a volume knob behind the computer, of other days, of "
    "the booth. A-weighting nearly ignores sub bass, so C stands beside it. Local law and qualified people "
    "come first. Ringing or muffled hearing: stop, whatever the number says, and see a professional."
)

_SHORT: Final = {
    "who-adult": "WHO, adults",
    "who-sensitive": "WHO, sens.",
    "niosh": "NIOSH REL",
    "eu-day": "EU, day",
    "eu-week": "EU, week",
}
"""Of the rules, where there is little room; the legend names them whole."""

_LOWEST_DBA, _HIGHEST_DBA = 50.0, 115.0
_MOST_PCT: Final = 150.0
_MUCH_BASS_DB: Final = 10.0


def hearing_lanes(rule: Rule) -> tuple[Lane, ...]:
    """The lanes from the top, for a rule."""
    period = "today" if rule.period == "day" else "in seven days"
    level = {"lowest": 60.0, "highest": 100.0, "ticks": (60.0, 70.0, 80.0, 85.0, 90.0, 100.0)}
    share = {"lowest": 0.0, "highest": _MOST_PCT, "ticks": (0.0, 50.0, 80.0, 100.0, 150.0)}
    return (
        Lane(
            key="ear",
            question="How loud at the ear?",
            unit="dBA",
            lowest=_LOWEST_DBA,
            highest=_HIGHEST_DBA,
            ticks=(60.0, 70.0, 80.0, 90.0, 100.0, 110.0),
            series=(
                LaneSeries(key="ear_dba", label="A over 1 s, estimated", short="A", role="main"),
                LaneSeries(key="ear_high_dba", label="upper end", short="upper", role="beside"),
                LaneSeries(key="ear_low_dba", label="lower end", short="lower", role="beside"),
                LaneSeries(key="ear_dbc", label="C", role="beside"),
            ),
        ),
        Lane(
            key="ear_used",
            question=f"How much is used {period}?",
            unit="%" if rule.has_dose else "dBA",
            series=(
                LaneSeries(key="ear_used", label=rule.title, short="used", role="main"),
                LaneSeries(key="ear_used_high", label="upper end", short="upper", role="beside"),
            ),
            **(share if rule.has_dose else level),  # type: ignore[arg-type]
        ),
    )


def ear_values(ear: Ear | None) -> tuple[float, ...]:
    """The values of `EAR_KEYS` at a moment; NaN where nothing is known."""
    if ear is None:
        return (math.nan,) * len(EAR_KEYS)
    level, used = ear.level_dba, _used(ear)
    is_narrow = ear.calibration.is_narrow
    middle, low, high = (math.nan,) * 3 if level is None else level
    c = middle + ear.c_minus_a_db if level is not None and ear.c_minus_a_db is not None else math.nan
    return (middle if is_narrow else math.nan, low, high, c if is_narrow else math.nan, used[0], used[2])


def _used(ear: Ear) -> tuple[float, float, float]:
    found = ear.budget
    if found is None or not ear.calibration.is_narrow:
        return (math.nan,) * 3
    ends = [100.0 * dose for dose in found.dose] if found.rule.has_dose else list(found.level_dba)
    return (ends[0], ends[1], ends[2])


def hearing_flags(ear: Ear | None, rule: Rule) -> dict[str, tuple[Flag, ...]]:
    """What rides on each lane; never a verdict: no level is called good."""
    if ear is None:
        return {}
    return {"ear": _of_level(ear), "ear_used": _of_used(ear, rule)}


def _of_level(ear: Ear) -> tuple[Flag, ...]:
    level = ear.level_dba
    if level is None:
        return (Flag(key="ear_dba", name="at the ear", value_text=NOT_KNOWN, unit="dBA, no sound"),)
    middle, low, high = level
    ends = f"{low:.0f} to {high:.0f}"
    if not ear.calibration.is_narrow:
        return (Flag(key="ear_high_dba", name="somewhere", value_text=ends, unit="dBA", at=high),)
    flags = [Flag(key="ear_dba", name="about", value_text=f"{middle:.0f}", unit=f"dBA ({ends})", at=middle)]
    if ear.c_minus_a_db is not None:
        c = middle + ear.c_minus_a_db
        bass = " much bass" if ear.c_minus_a_db >= _MUCH_BASS_DB else ""
        flags.append(Flag(key="ear_dbc", name="by C", value_text=f"{c:.0f}", unit=f"dBC{bass}", at=c))
    return tuple(flags)


def _of_used(ear: Ear, rule: Rule) -> tuple[Flag, ...]:
    used, low, high = _used(ear)
    if math.isnan(used) or math.isinf(used):
        unit = "%" if rule.has_dose else "dBA"
        return (Flag(key="ear_used", name=_SHORT[rule.key], value_text=NOT_KNOWN, unit=unit),)
    decimals = 0 if rule.has_dose else 1
    unit = "%" if rule.has_dose else "dBA"
    ends = f"{low:.{decimals}f} to {high:.{decimals}f}"
    return (
        Flag(
            key="ear_used",
            name=_SHORT[rule.key],
            value_text=f"{used:.{decimals}f}",
            unit=f"{unit} ({ends})",
            at=min(used, _MOST_PCT) if rule.has_dose else used,
        ),
    )


def hearing_sentence(ear: Ear | None, *, has_setups: bool, now_s: float) -> str:
    """The most useful thing to know now."""
    from meter.exposure.ear_text import budget_text
    from meter.exposure.planner import plan, plan_text

    if ear is None:
        if has_setups:
            return "Say what this source feeds (Ctrl+E): then the level at your ears can be estimated."
        return (
            "Nothing is known of your headphones or speakers: name them in a terminal with "
            "`leadline hearing setup`, then choose them here (Ctrl+E)."
        )
    calibration = ear.calibration
    if calibration.feeds == "nothing":
        return "This source feeds nothing that is heard: nothing is counted."
    if not calibration.is_narrow:
        return (
            f"The setup “{calibration.setup}” is not calibrated for this source, so there is only a wide "
            "range: `leadline hearing calibrate` in a terminal gets you a time."
        )
    if ear.level_dba is None or ear.budget is None:
        return "No sound: nothing is counted."
    found, level = ear.budget, ear.level_dba[0]
    when = plan_text(plan(found, level, calibration.plus_db, now_s=now_s), found)
    return f"About {level:.0f} dBA, estimated. {budget_text(found)}. At this level {when}."


class Reminders:
    """Says once when a mark is passed, by the upper end, and when a break is due. No sound, no pop-up.

    Parameters
    ----------
    break_min : float
        So long without a pause of 5 minutes a break is due; 0: never. Common practice, no source.
    """

    def __init__(self, *, is_on: bool = True, break_min: float = 60.0) -> None:
        self.is_on, self.break_min = is_on, break_min
        self._passed: float | None = None
        self._break_told_s = 0.0

    def take(self, ear: Ear) -> str | None:
        """A sentence, when there is one to say."""
        found = ear.budget if ear.calibration.is_narrow else None
        mark = None if found is None else self._mark(found)
        before, self._passed = self._passed, mark if mark is not None else self._passed
        if not self.is_on:
            return None
        if found is not None and mark is not None and before is not None and mark > before:
            return self._mark_text(found, mark)
        if ear.unbroken_s < self._break_told_s:
            self._break_told_s = 0.0
        if self.break_min and ear.unbroken_s - self._break_told_s >= 60.0 * self.break_min:
            self._break_told_s = ear.unbroken_s
            length = hours_text(ear.unbroken_s / 3600.0)
            return f"You have listened for {length} without a pause of 5 minutes: give your ears one."
        return None

    def _mark(self, found: Budget) -> float:
        """The highest mark that the upper end has passed; 0 for none."""
        upper = 100.0 * found.dose[2] if found.rule.has_dose else found.level_dba[2]
        marks = REMIND_PCT if found.rule.has_dose else REMIND_DBA
        return max((mark for mark in marks if upper >= mark), default=0.0)

    def _mark_text(self, found: Budget, mark: float) -> str:
        unit = "%" if found.rule.has_dose else "dBA"
        stop = " Stop, or go on at a much lower level." if mark in (REMIND_PCT[-1], REMIND_DBA[-1]) else ""
        return f"{found.rule.title}: up to {mark:g} {unit} may be used by now, an estimate.{stop}"
