"""The arrangement Hearing: what its lanes draw, what flies on them, what is said and reminded of."""

from __future__ import annotations

import math
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.exposure.calibration import Calibration, unknown
from meter.exposure.heard import Budget
from meter.exposure.lanes import (
    WORDS,
    Reminders,
    ear_values,
    hearing_flags,
    hearing_lanes,
    hearing_sentence,
)
from meter.exposure.live import Ear
from meter.exposure.planner import day_ends_s, plan, plan_text
from meter.exposure.rules import RULES, Part
from meter.slot_values import EAR_KEYS

PHONES = Calibration(
    setup="closed", feeds="headphones", kind="computed", full_scale_db=104.0, plus_db=3.0, date="2026-01-02"
)
NOON_S = time.mktime((2026, 2, 3, 12, 0, 0, 0, 0, -1))


def budget_of(rule_key: str, *parts: Part) -> Budget:
    rule = RULES[rule_key]
    ends = [[part.at(end) for part in parts] for end in (0.0, -1.0, 1.0)]
    return Budget(
        rule=rule,
        hours=math.fsum(part.hours for part in parts),
        dose=tuple(rule.dose(end) for end in ends),
        level_dba=tuple(rule.period_level_dba(end) for end in ends),
        unknown_hours=0.0,
    )


def ear_at(level_dba: float, found: Budget, **more) -> Ear:
    return Ear(
        calibration=PHONES, level_dba=(level_dba, level_dba - 3.0, level_dba + 3.0), budget=found, **more
    )


def test_time_left_by_the_clock_is_that_of_niosh_table_1_1():
    # NIOSH 98-126, table 1-1: 94 dBA for 1 h; from memory: the threshold of 80 dBA does not matter here.
    found = budget_of("niosh")
    made = plan(found, 94.0, 3.0, now_s=NOON_S)
    assert made.middle_s == pytest.approx(NOON_S + 3600.0, abs=30.0)
    assert made.soonest_s == pytest.approx(NOON_S + 1800.0, abs=30.0)
    assert made.latest_s == pytest.approx(NOON_S + 7200.0, abs=30.0)
    assert plan_text(made, found) == "100 % about 13:00, between 12:30 and 14:00"


def test_a_level_without_an_interval_is_used_up_at_one_moment():
    found = budget_of("niosh")
    assert plan_text(plan(found, 94.0, 0.0, now_s=NOON_S), found) == "100 % about 13:00"


def test_what_lies_behind_midnight_is_not_today():
    found = budget_of("niosh")
    late_s = NOON_S + 11.5 * 3600.0
    assert plan_text(plan(found, 94.0, 3.0, now_s=late_s), found) == "100 % not today, at this level"
    assert plan_text(plan(found, 97.0, 3.0, now_s=late_s), found) == "100 % from 23:45 on, or not today"
    assert plan_text(plan(found, 70.0, 3.0, now_s=NOON_S), found) == "100 % not today, at this level"
    used = budget_of("niosh", Part(level_dba=100.0, hours=1.0))
    assert plan_text(plan(used, 94.0, 3.0, now_s=NOON_S), used) == "100 % is reached"


@pytest.mark.parametrize(("month", "day", "hours"), [(3, 29, 23.0), (10, 25, 25.0), (6, 1, 24.0)])
def test_a_day_ends_at_midnight_where_it_is_short_or_long_too(monkeypatch, month, day, hours):
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        began_s = time.mktime((2026, month, day, 0, 0, 0, 0, 0, -1))
        for later_h in (0.0, 1.5, 12.0, hours - 0.1):
            assert day_ends_s(began_s + 3600.0 * later_h) == began_s + 3600.0 * hours
    finally:
        monkeypatch.undo()
        time.tzset()


def test_a_calibrated_setup_is_drawn_with_its_interval_and_c_beside_a():
    ear = ear_at(93.0, budget_of("who-adult"), c_minus_a_db=7.0)
    values = dict(zip(EAR_KEYS, ear_values(ear), strict=True))
    assert (values["ear_low_dba"], values["ear_dba"], values["ear_high_dba"]) == (90.0, 93.0, 96.0)
    assert values["ear_dbc"] == 100.0
    flags = hearing_flags(ear_at(93.0, budget_of("who-adult"), c_minus_a_db=12.0), RULES["who-adult"])
    assert [flag.text for flag in flags["ear"]] == ["about 93 dBA (90 to 96)", "by C 105 dBC much bass"]


def test_a_wide_setup_tells_a_range_and_no_dose():
    wide = unknown("small", "monitors", date="2026-01-02")
    ear = Ear(calibration=wide, level_dba=(96.0, 81.0, 111.0), budget=budget_of("who-adult"))
    values = dict(zip(EAR_KEYS, ear_values(ear), strict=True))
    assert (values["ear_low_dba"], values["ear_high_dba"]) == (81.0, 111.0)
    assert all(math.isnan(values[key]) for key in ("ear_dba", "ear_dbc", "ear_used", "ear_used_high"))
    flags = hearing_flags(ear, RULES["who-adult"])
    assert [flag.text for flag in flags["ear"]] == ["somewhere 81 to 111 dBA"]
    assert "%" not in flags["ear_used"][0].value_text
    said = hearing_sentence(ear, has_setups=True, now_s=NOON_S)
    assert "calibrate" in said and "%" not in said


@pytest.mark.parametrize("key", RULES)
def test_every_figure_of_exposure_names_its_rule_and_a_dose_is_never_made_of_decibels(key):
    rule, found = RULES[key], budget_of(key, Part(level_dba=90.0, hours=2.0, uncertainty_db=3.0))
    ear = ear_at(92.0, found)
    (flag,) = hearing_flags(ear, rule)["ear_used"]
    assert flag.name and ("%" in flag.unit) == rule.has_dose and ("dBA" in flag.unit) != rule.has_dose
    assert rule.title in hearing_sentence(ear, has_setups=True, now_s=NOON_S)
    assert hearing_lanes(rule)[1].series[0].label == rule.title
    assert hearing_lanes(rule)[1].unit == ("%" if rule.has_dose else "dBA")


def test_without_a_setup_it_is_said_how_to_make_one_and_a_source_that_feeds_nothing_counts_nothing():
    assert "leadline hearing" in hearing_sentence(None, has_setups=False, now_s=NOON_S)
    assert "Ctrl+E" in hearing_sentence(None, has_setups=True, now_s=NOON_S)
    assert hearing_flags(None, RULES["niosh"]) == {}
    assert all(math.isnan(value) for value in ear_values(None))
    nothing = Ear(calibration=unknown("desk", "nothing", date="2026-01-02"))
    assert "nothing is counted" in hearing_sentence(nothing, has_setups=True, now_s=NOON_S)


def test_no_word_promises_that_a_level_does_no_harm():
    words = WORDS.lower()
    assert "safe" not in words and "harmless" not in words
    for needed in ("estimate", "not a sound level meter to iec 61672", "not medical advice", "law", "stop"):
        assert needed in words


def test_each_mark_is_told_once_by_the_upper_end_and_not_those_of_before():
    told = Reminders()
    steps = [told.take(ear_at(94.0, budget_of("niosh", Part(level_dba=94.0, hours=h, uncertainty_db=3.0))))
             for h in (0.1, 0.2, 0.26, 0.3, 0.41, 0.49, 0.51, 0.9)]  # fmt: skip
    said = [text for text in steps if text]
    assert ["50 %" in said[0], "80 %" in said[1], "100 %" in said[2], len(said)] == [True, True, True, 3]
    assert "Stop" in said[2] and "estimate" in said[0]
    late = Reminders()  # what had passed before the program was started is not told again
    assert late.take(ear_at(94.0, budget_of("niosh", Part(level_dba=94.0, hours=1.0)))) is None


@given(steps=st.lists(st.floats(1.0, 600.0), min_size=1, max_size=60))
def test_a_break_is_told_once_for_each_hour_without_one(steps):
    told, sound_s, count = Reminders(break_min=60.0), 0.0, 0
    for step_s in steps:
        sound_s += step_s
        text = told.take(Ear(calibration=PHONES, unbroken_s=sound_s))
        count += text is not None
        assert text is None or "without a pause" in text
    assert sound_s / (3600.0 + max(steps)) - 1.0 <= count <= sound_s / 3600.0
    assert told.take(Ear(calibration=PHONES, unbroken_s=10.0)) is None
    assert Reminders(is_on=False).take(Ear(calibration=PHONES, unbroken_s=9e4)) is None
