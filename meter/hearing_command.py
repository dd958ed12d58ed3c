"""`leadline hearing`: setups and their calibration, what ears have had, and what was heard elsewhere."""

from __future__ import annotations

import argparse
import dataclasses
import math
import re
import sys
import time
from collections.abc import Callable
from typing import Any, Final

from meter.check_json import as_line
from meter.console import say
from meter.dose_command import level_from, part_from
from meter.errors import UsageError
from meter.exposure.calibration import computed, headphone_full_scale_db, measured, unknown
from meter.exposure.ear_text import budget_text, calibration_text, lines_of
from meter.exposure.heard import WEEK_S, Budget, budget, period_began_s
from meter.exposure.planner import Plan, plan, plan_text
from meter.exposure.rules import RULES, Part, Rule
from meter.exposure.store import ExposureStore
from meter.exposure.week import day_text, days_of, week_title
from meter.exposure.words import CAUTION, hours_text
from meter.journal.store import open_journal, read_journal

DAY_S: Final = 86_400.0


def run(args: argparse.Namespace) -> int:
    """Do what was asked for; 0.

    Raises
    ------
    MeterError
        Arguments that cannot be meant, or a journal that cannot be used.
    """
    if args.action in _READERS:
        with read_journal() as journal:
            _READERS[args.action](ExposureStore(journal), args)
        return 0
    with open_journal() as journal:
        for note in journal.notes:
            say(note, sys.stderr)
        _ACTIONS[args.action](ExposureStore(journal), args)
    return 0


# --- setups


def _today() -> str:
    return time.strftime("%Y-%m-%d")


def _setup(store: ExposureStore, args: argparse.Namespace) -> None:
    made = unknown(args.name, args.feeds, date=_today(), source=args.source)
    store.save(made)
    say(calibration_text(made), sys.stdout)


def _headphones(store: ExposureStore, args: argparse.Namespace) -> None:
    full_scale_db = headphone_full_scale_db(
        args.sensitivity,
        args.per,
        impedance_ohm=args.impedance,
        volts=args.volts,
        is_open=args.open,
        output_ohm=args.output_impedance,
        volume_db=args.volume,
    )
    made = computed(args.name, full_scale_db=full_scale_db, date=_today(), source=args.source)
    store.save(made)
    say(calibration_text(made), sys.stdout)


def _calibrate(store: ExposureStore, args: argparse.Namespace) -> None:
    from meter.exposure.noise import pink_noise_dba, play_after_asking

    read_dba = args.read
    if read_dba is None:
        read_dba = play_after_asking(args.level, feeds=args.feeds)
    made = measured(
        args.name,
        args.feeds,
        read_dba=read_dba,
        signal_dba=pink_noise_dba(args.level),
        meter_plus_db=args.plus,
        date=_today(),
        source=args.source,
    )
    store.save(made)
    say(calibration_text(made), sys.stdout)


def _use(store: ExposureStore, args: argparse.Namespace) -> None:
    store.use(args.name)
    say(f"the setup is {args.name}", sys.stdout)


def _rule(store: ExposureStore, args: argparse.Namespace) -> None:
    store.choose_rule(args.key)
    rule = RULES[args.key]
    say(f"counted by {rule.title} ({rule.document}), {rule.period}", sys.stdout)


# --- entries


def _add(store: ExposureStore, args: argparse.Namespace) -> None:
    part = part_from(args.part)
    if not 0.0 < part.hours <= 24.0:
        raise UsageError(f"{args.part} came; expected more than 0 and at most 24 hours in one entry")
    ended_s = time.time() if args.ended is None else _today_at(args.ended)
    entry = store.add(part, began_unix_s=ended_s - 3600.0 * part.hours, note=args.note)
    say(f"entry {entry.number}: {_entry_text(entry)}; `leadline hearing undo` takes it back", sys.stdout)


def _today_at(text: str) -> float:
    found = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text, re.ASCII)
    if found is None:
        raise UsageError(f"--ended {text} came; expected a time of today, such as 23:30")
    now = time.localtime()
    at_s = time.mktime((now.tm_year, now.tm_mon, now.tm_mday, int(found[1]), int(found[2]), 0, 0, 0, -1))
    if at_s > time.time():
        raise UsageError(f"--ended {text} is still to come; enter it when it is over")
    return at_s


def _remove(store: ExposureStore, args: argparse.Namespace) -> None:
    store.remove(args.number)
    say(f"entry {args.number} is out; `leadline hearing undo` brings it back", sys.stdout)


def _undo(store: ExposureStore, args: argparse.Namespace) -> None:
    say(store.undo() or "there is nothing to undo", sys.stdout)


_ACTIONS: Final[dict[str, Callable[[ExposureStore, argparse.Namespace], None]]] = {
    "setup": _setup,
    "headphones": _headphones,
    "calibrate": _calibrate,
    "use": _use,
    "rule": _rule,
    "add": _add,
    "remove": _remove,
    "undo": _undo,
}


# --- what is known


def _shown_rules(chosen: Rule) -> list[Rule]:
    """The chosen one first; every other one for its own figure, never mixed."""
    return [chosen, *(rule for rule in RULES.values() if rule is not chosen)]


def _budgets(store: ExposureStore, now_s: float) -> list[Budget]:
    entries = store.entries()
    chosen = store.rule()
    oldest = min(now_s - WEEK_S, *(period_began_s(rule, now_s) for rule in RULES.values()))
    minutes = store.minutes(oldest, now_s)
    return [budget(rule, minutes, entries, now_s=now_s) for rule in _shown_rules(chosen)]


def _plan(store: ExposureStore, args: argparse.Namespace) -> None:
    at, now_s = level_from(args.level), time.time()
    made = [
        (one, plan(one, at.level_dba, at.uncertainty_db, now_s=now_s)) for one in _budgets(store, now_s)
    ]
    if args.json:
        say(as_line(_plan_object(at, made)), sys.stdout)
        return
    plus = f" ± {at.uncertainty_db:g}" if at.uncertainty_db else ""
    lines = [f"Going on at about {at.level_dba:g}{plus} dBA from now, estimated"]
    for index, (one, when) in enumerate(made):
        lines.append(f"  {' ' if index else '>'} {one.rule.title}: {plan_text(when, one)}")
    say("\n".join([*lines, "", *CAUTION]), sys.stdout)


def _plan_object(at: Part, made: list[tuple[Budget, Plan]]) -> dict[str, Any]:
    return {
        "type": "plan",
        "is_estimate": True,
        "level_dba": at.level_dba,
        "plus_db": at.uncertainty_db,
        "plans": [
            {
                "rule": one.rule.key,
                "text": plan_text(when, one),
                "is_reached": when.is_reached,
                "soonest_unix_s": when.soonest_s,
                "middle_unix_s": when.middle_s,
                "latest_unix_s": when.latest_s,
            }
            for one, when in made
        ],
    }


def _show(store: ExposureStore, args: argparse.Namespace) -> None:
    now_s = time.time()
    found = _budgets(store, now_s)
    if args.json:
        say(as_line(_as_object(store, found)), sys.stdout)
        return
    current = store.calibration()
    lines = ["Setups"]
    for setup in store.calibrations():
        lines.append(f"  {'>' if current == setup else ' '} {calibration_text(setup)}")
    if not store.calibrations():
        lines.append("    none yet; `leadline hearing setup NAME --feeds headphones` names one")
    lines += ["What your ears have had, estimated"]
    for index, one in enumerate(found):
        mark = ">" if index == 0 else " "
        lines += [f"  {mark if k == 0 else ' '} {text}" for k, text in enumerate(lines_of(one))]
    entries = store.entries()
    lines.append(week_title(found[0].rule))
    days = days_of(found[0].rule, store.minutes(now_s - WEEK_S - DAY_S, now_s), entries, now_s=now_s)
    lines += [f"    {day_text(day)}" for day in days]
    if entries:
        lines.append("Entered")
        lines += [f"    {entry.number}: {_entry_text(entry)}" for entry in entries]
    say("\n".join([*lines, "", *CAUTION]), sys.stdout)


def _entry_text(entry: Any) -> str:
    part = entry.part
    plus = f" ± {part.uncertainty_db:g}" if part.uncertainty_db else ""
    when = time.strftime("%Y-%m-%d %H:%M", time.localtime(entry.began_unix_s))
    return f"{entry.note}, {when}, {hours_text(part.hours)} at {part.level_dba:g}{plus} dBA"


def _as_object(store: ExposureStore, found: list[Budget]) -> dict[str, Any]:
    return {
        "type": "hearing",
        "is_estimate": True,
        "rule": found[0].rule.key,
        "setups": [dataclasses.asdict(one) for one in store.calibrations()],
        "budgets": [_budget_object(one) for one in found],
        "entries": [
            {
                "entry": entry.number,
                "began_unix_s": entry.began_unix_s,
                "hours": entry.part.hours,
                "level_dba": entry.part.level_dba,
                "plus_db": entry.part.uncertainty_db,
                "note": entry.note,
            }
            for entry in store.entries()
        ],
    }


def _budget_object(one: Budget) -> dict[str, Any]:
    doses = [100.0 * dose for dose in one.dose] if one.rule.has_dose else None
    levels = [level if math.isfinite(level) else None for level in one.level_dba]
    return {
        "rule": one.rule.key,
        "document": one.rule.document,
        "period": one.rule.period,
        "text": budget_text(one),
        "hours": one.hours,
        "uncalibrated_hours": one.unknown_hours,
        "dose_pct": None if doses is None else doses[0],
        "dose_interval_pct": None if doses is None else doses[1:],
        "level_dba": levels[0],
        "level_interval_dba": levels[1:],
    }


_READERS: Final = {"show": _show, "plan": _plan}
