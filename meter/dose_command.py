"""`leadline dose LEVEL:HOURS…`: what some hours at some levels come to, by a published rule."""

from __future__ import annotations

import argparse
import math
import re
import sys
from collections.abc import Sequence
from typing import Any, Final

from meter.check_json import as_line
from meter.console import say
from meter.errors import UsageError
from meter.exposure.rules import RULES, Part, Rule
from meter.exposure.words import CAUTION, hours_text

LOWEST_DBA: Final = 0.0
HIGHEST_DBA: Final = 140.0

_ABOUT: Final = r"(?P<level>\d+(?:\.\d+)?)(?:(?:±|\+-|\+/-)(?P<plus>\d+(?:\.\d+)?))?"
_LEVEL: Final = re.compile(_ABOUT, re.ASCII)
_PART: Final = re.compile(
    _ABOUT + r":(?P<hours>\d+(?:\.\d+)?)(?::(?P<minutes>[0-5]?\d))?",
    re.ASCII,
)


def run(args: argparse.Namespace) -> int:
    """Work the exposure out and print it; 0.

    Raises
    ------
    UsageError
        A part or a level that cannot be meant, or more hours than the period has.
    """
    rule = RULES[args.rule]
    parts = [part_from(text) for text in args.parts]
    hours = math.fsum(part.hours for part in parts)
    if hours > rule.period_hours:
        raise UsageError(
            f"{hours:g} h came, but the rule {rule.key} is about {_a_period(rule)}, which has "
            f"{rule.period_hours:g} h; give the hours of one such period"
        )
    at = parts[-1] if args.at is None else Part(level_dba=_level(args.at, "--at"), hours=0.0)
    if args.json:
        say(as_line(as_object(rule, parts, at)), sys.stdout)
    else:
        say(block(rule, parts, at), sys.stdout)
    return 0


def part_from(text: str) -> Part:
    """A part from "97:4", "97:1:30" or "98+-3:4"; `UsageError` for anything else."""
    found = _PART.fullmatch(text.strip())
    if found is None:
        raise UsageError(
            f"{text} came; expected a level in dBA and hours, such as 97:4, 97:1:30 for one hour and a half, "
            "or 98+-3:4 for about 98 dBA"
        )
    minutes = found["minutes"]
    if minutes is not None and "." in found["hours"]:
        raise UsageError(f"{text} came; expected whole hours before the minutes, such as 97:1:30")
    return Part(
        level_dba=_level(found["level"], text),
        hours=float(found["hours"]) + (int(minutes) / 60.0 if minutes is not None else 0.0),
        uncertainty_db=float(found["plus"] or 0.0),
    )


def level_from(text: str) -> Part:
    """A level without a time from "92" or "92+-3"; `UsageError` for anything else."""
    found = _LEVEL.fullmatch(text.strip())
    if found is None:
        raise UsageError(f"{text} came; expected a level in dBA, such as 92, or 92+-3 for about 92 dBA")
    plus_db = float(found["plus"] or 0.0)
    return Part(level_dba=_level(found["level"], text), hours=0.0, uncertainty_db=plus_db)


def _level(text: str, where: str) -> float:
    try:
        level_dba = float(text)
    except ValueError:
        level_dba = math.nan
    if not LOWEST_DBA <= level_dba <= HIGHEST_DBA:
        raise UsageError(
            f"{where}: the level is {text} dBA, but {LOWEST_DBA:g} to {HIGHEST_DBA:g} dBA were expected"
        )
    return level_dba


def _a_period(rule: Rule) -> str:
    return rule.period if rule.period[0].isdigit() else f"a {rule.period}"


def _interval(parts: Sequence[Part]) -> list[list[Part]] | None:
    """The parts at both ends, where a level has an interval."""
    if not any(part.uncertainty_db for part in parts):
        return None
    return [[part.at(end) for part in parts] for end in (-1.0, 1.0)]


def _highest(parts: Sequence[Part], at: Part) -> tuple[list[Part], float]:
    """What time left is told from: the upper end of everything."""
    return [part.at(1.0) for part in parts], at.at(1.0).level_dba


# --- for programs


def as_object(rule: Rule, parts: Sequence[Part], at: Part) -> dict[str, Any]:
    """What was found, for programs; every dose is an estimate."""
    highest, level_dba = _highest(parts, at)
    left = rule.hours_left(highest, level_dba)
    level = rule.period_level_dba(parts)
    why: dict[str, str] = {}
    if not rule.has_dose:
        why["dose_pct"] = "does not apply"
    if math.isinf(left):
        why["hours_left"] = "does not apply"
    if math.isinf(level):
        why["level_dba"] = "silence"
    made: dict[str, Any] = {
        "type": "dose",
        "rule": rule.key,
        "document": rule.document,
        "period": rule.period,
        "is_estimate": True,
        "dose_pct": 100.0 * rule.dose(parts) if rule.has_dose else None,
        "level_dba": _finite(level),
        "at_dba": at.level_dba,
        "hours_left": _finite(left),
        "why_null": why,
    }
    if rule.steps_dba:
        made["hours_left_to_dba"] = {
            f"{step:g}": _finite(rule.hours_left(highest, level_dba, of_dba=step)) for step in rule.steps_dba
        }
    ends = _interval(parts)
    if ends is not None:
        made["level_interval_dba"] = [_finite(rule.period_level_dba(end)) for end in ends]
        if rule.has_dose:
            made["dose_interval_pct"] = [100.0 * rule.dose(end) for end in ends]
    made["above_ceiling"] = any(part.at(1.0).level_dba > rule.ceiling_dba for part in parts)
    return made


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


# --- for people


def block(rule: Rule, parts: Sequence[Part], at: Part) -> str:
    """What was found, for people."""
    lines = [f"{rule.title} ({rule.document}), {rule.period}"]
    lines += [f"    {_level_text(part)} for {hours_text(part.hours)}" for part in parts]
    lines.append(f"    {_exposure(rule, parts)}")
    ceiling = rule.ceiling_dba
    if any(part.at(1.0).level_dba > ceiling for part in parts):
        lines.append(f"    over {ceiling:g} dBA, above which the rule allows no time without protection")
    lines += [f"    {line}" for line in _left(rule, parts, at)]
    return "\n".join([*lines, "", *CAUTION])


def _level_text(part: Part) -> str:
    about = f" ± {part.uncertainty_db:g}" if part.uncertainty_db else ""
    return f"{part.level_dba:g}{about} dBA"


def _exposure(rule: Rule, parts: Sequence[Part]) -> str:
    ends = _interval(parts)
    level = rule.period_level_dba(parts)
    if math.isinf(level):
        return "together: nothing that this rule counts"
    mean = f"{level:.1f} dBA"
    if ends is not None:
        low, high = (rule.period_level_dba(end) for end in ends)
        mean += f", between {low:.1f} and {high:.1f}"
    if not rule.has_dose:
        name = "L_EX,8h" if rule.period == "day" else "mean L_EX,8h of five days"
        return f"together: {name} {mean}"
    dose = _percent(rule.dose(parts))
    if ends is not None:
        dose += ", between {} and {}".format(*(_percent(rule.dose(end)) for end in ends))
    return f"together: {dose} of the {rule.period} ({mean} over {rule.hours:g} h)"


def _percent(dose: float) -> str:
    pct = 100.0 * dose
    return f"{pct:.1f} %" if pct < 100.0 else f"{pct:.0f} %"


def _left(rule: Rule, parts: Sequence[Part], at: Part) -> list[str]:
    highest, level_dba = _highest(parts, at)
    about = "the upper end, " if at.uncertainty_db or any(part.uncertainty_db for part in parts) else ""
    if rule.has_dose:
        left = _time(rule.hours_left(highest, level_dba), "100 %", reached="100 % is used up")
        return [f"at {about}{level_dba:g} dBA: {left}"]
    names = ("lower action value", "upper action value", "limit value")
    return [
        f"at {about}{level_dba:g} dBA: "
        + _time(
            rule.hours_left(highest, level_dba, of_dba=step),
            f"{step:g} dB, the {name}",
            reached=f"{step:g} dB, the {name}, is reached",
        )
        for step, name in zip(rule.steps_dba, names, strict=True)
    ]


def _time(hours: float, what: str, *, reached: str) -> str:
    if math.isinf(hours):
        return f"this rule does not count so low a level towards {what}"
    return reached if hours <= 0.0 else f"{hours_text(hours)} to {what}"
