"""The level at the ear and what it comes to, in words; every sentence says that it is an estimate."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from typing import Any, Final

from meter.exposure.calibration import Calibration
from meter.exposure.heard import Budget
from meter.exposure.live import Ear
from meter.exposure.planner import plan, plan_text
from meter.exposure.words import CAUTION, hours_text

Ends = tuple[float, float, float]

MUCH_BASS_DB: Final = 10.0


def ear_line(ear: Ear) -> str:
    """One line for a terminal."""
    calibration = ear.calibration
    if calibration.feeds == "nothing":
        return "at the ear: this source feeds nothing that is heard"
    if ear.level_dba is None:
        return "at the ear: no sound"
    middle, low, high = ear.level_dba
    if not calibration.is_narrow:
        return f"at the ear: somewhere from {low:.0f} to {high:.0f} dBA; calibrate to get a time"
    parts = [f"at the ear about {middle:.0f} dBA ({low:.0f} to {high:.0f}), estimated"]
    if ear.budget is not None:
        parts.append(budget_text(ear.budget))
        parts.append(left_text(ear.budget, middle, calibration.plus_db))
    return "; ".join(parts)


def end_text(ear: Ear) -> str:
    """What the ears have had since the start, and the caution."""
    lines = ["At the ear, estimated"]
    calibration = ear.calibration
    if ear.session_dba is None:
        lines.append("    no sound was heard")
    else:
        middle, low, high = ear.session_dba
        about = f"about {middle:.0f} dBA, " if calibration.is_narrow else ""
        lines.append(f"    while there was sound {about}from {low:.0f} to {high:.0f} dBA")
    if ear.budget is not None and calibration.is_narrow:
        lines += [f"    {text}" for text in lines_of(ear.budget)]
        if ear.session_dba is not None:
            made = plan(ear.budget, ear.session_dba[0], calibration.plus_db, now_s=time.time())
            lines.append(f"    going on at this level: {plan_text(made, ear.budget)}")
    elif not calibration.is_narrow:
        lines.append("    the interval is too wide for a dose: calibrate with `leadline hearing`")
    return "\n".join([*lines, "", *CAUTION])


def ear_object(ear: Ear) -> dict[str, Any]:
    """The same for programs."""
    calibration, found = ear.calibration, ear.budget if ear.calibration.is_narrow else None
    return {
        "type": "ear",
        "is_estimate": True,
        "setup": calibration.setup,
        "feeds": calibration.feeds,
        "calibration": calibration.kind,
        "plus_db": calibration.plus_db,
        "session_dba": _rounded(ear.session_dba),
        "quarter_hour_dba": _rounded(ear.quarter_dba),
        "peak_dbc": _rounded(ear.peak_dbc),
        "rule": None if found is None else found.rule.key,
        "dose_pct": None if found is None or not found.rule.has_dose else 100.0 * found.dose[0],
    }


def _rounded(ends: Ends | None) -> list[float] | None:
    """As it is, lowest, highest."""
    return None if ends is None else [round(end, 2) for end in ends]


def budget_text(found: Budget) -> str:
    """What the period has come to, with its rule."""
    rule = found.rule
    if not rule.has_dose:
        middle, low, high = found.level_dba
        if math.isinf(middle):
            return f"{rule.title}: nothing yet"
        return f"{rule.title}: {middle:.1f} dBA ({low:.1f} to {high:.1f})"
    middle, low, high = (100.0 * dose for dose in found.dose)
    return f"{rule.title}: {middle:.0f} % of the {rule.period} ({low:.0f} to {high:.0f} %)"


def left_text(found: Budget, level_dba: float, plus_db: float) -> str:
    """How long is left at this level, by the upper end, which is the one to go by."""
    _, soonest, latest = found.hours_left(level_dba, plus_db)
    end = "100 %" if found.rule.has_dose else f"{found.rule.level_dba:g} dBA"
    if soonest <= 0.0:
        return f"{end} is reached"
    if math.isinf(soonest):
        return "so low a level does not count by this rule"
    upper = f" (at most {hours_text(latest)})" if math.isfinite(latest) and latest > soonest * 1.05 else ""
    return f"{hours_text(soonest)} to {end}{upper}"


def calibration_text(one: Calibration) -> str:
    """A setup, on one line."""
    if one.feeds == "nothing":
        return f"{one.setup}: feeds nothing that is heard"
    how = {"measured": "measured", "computed": "from headphone data", "unknown": "not calibrated"}[one.kind]
    level = f"full scale is about {one.full_scale_db:.0f} ± {one.plus_db:.0f} dB at the ear"
    source = f", for {one.source}" if one.source else ""
    return f"{one.setup}: {one.feeds}, {how} {one.date}, {level}{source}"


def lines_of(found: Budget) -> Iterator[str]:
    """A period, with what it leaves out."""
    yield f"{budget_text(found)}, from {hours_text(found.hours) or 'no time'} of sound"
    if found.unknown_hours > 0.0:
        yield f"  {hours_text(found.unknown_hours)} more were heard uncalibrated: in no figure"
