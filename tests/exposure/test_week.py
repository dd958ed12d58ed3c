"""Seven days beside each other: nothing falls between two of them, and what was entered is told apart."""

from __future__ import annotations

import math
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.exposure.heard import WEEK_S, Entry, budget, day_began_s
from meter.exposure.rules import RULES, Part
from meter.exposure.week import day_text, days_of, week_title
from tests.exposure.test_heard import NOON, hours, minute_at

DAY_S = 86_400.0


def gig(began_s: float, hours: float = 4.0, level_dba: float = 98.0) -> Entry:
    part = Part(level_dba=level_dba, hours=hours, uncertainty_db=3.0)
    return Entry(number=1, began_unix_s=began_s, part=part, note="gig")


@given(
    minutes=st.lists(st.floats(-7.0 * DAY_S, -60.0), max_size=30, unique_by=lambda at: int(at // 60)),
    gigs=st.lists(st.floats(-8.0 * DAY_S, -5.0 * 3600.0), max_size=4),
)
def test_the_days_of_a_rule_of_seven_days_come_to_what_the_seven_days_come_to(minutes, gigs):
    heard = [minute_at(NOON + at) for at in minutes]
    entries = [gig(NOON + at) for at in gigs]
    days = days_of(RULES["who-adult"], heard, entries, now_s=NOON)
    whole = budget(RULES["who-adult"], heard, entries, now_s=NOON)
    assert len(days) == 8
    assert math.fsum(day.both.hours for day in days) == pytest.approx(whole.hours)
    for end in range(3):
        assert math.fsum(day.both.dose[end] for day in days) == pytest.approx(whole.dose[end])


@pytest.mark.parametrize("key", ["niosh", "eu-day", "eu-week"])
def test_a_day_of_a_rule_for_days_is_what_it_was_on_that_day(key):
    yesterday = day_began_s(NOON) - 6 * 3600.0
    days = days_of(RULES[key], hours(2, yesterday, -10.0), [gig(NOON - 3600.0, 0.5)], now_s=NOON)
    assert len(days) == 7
    assert [day.both.hours for day in days] == pytest.approx([0, 0, 0, 0, 0, 2.0, 0.5])
    by = RULES["niosh" if key == "niosh" else "eu-day"]
    # 97 dBA for 2 h: NIOSH 98-126 table 1-1 gives 30 min for 97 dBA, so four days' dose. CALC for EU: 91.0.
    assert days[5].ends()[0] == pytest.approx(400.0 if by.has_dose else 90.98, rel=0.001)
    assert days[-1].both.dose == budget(by, [], [gig(NOON - 3600.0, 0.5)], now_s=NOON).dose
    assert by.title in week_title(RULES[key])
    assert "estimated" in week_title(RULES[key])


def test_what_was_entered_is_told_apart_from_what_was_heard():
    began = day_began_s(NOON)
    days = days_of(RULES["who-adult"], hours(1, began), [gig(began + 4 * 3600.0, 1.0, 90.0)], now_s=NOON)
    today = days[-1]
    assert today.entered_share() == pytest.approx(0.5)  # both 90 dBA for an hour
    assert today.notes == ("gig",)
    assert "of it entered: gig" in day_text(today)
    assert time.strftime("%a", time.localtime(NOON)) in day_text(today)
    assert day_text(days[0]).endswith("nothing counted")
    assert days[0].entered_share() == 0.0


def test_uncalibrated_sound_is_in_no_figure_of_a_day_but_told():
    rows = [minute_at(NOON - 3600.0, is_narrow=False)]
    today = days_of(RULES["niosh"], rows, [], now_s=NOON)[-1]
    assert day_text(today).endswith("nothing counted; 60 s uncalibrated")


def test_the_first_of_eight_days_has_only_the_hours_that_still_count():
    old = hours(24, NOON - WEEK_S - DAY_S / 2.0)
    days = days_of(RULES["who-adult"], old, [], now_s=NOON)
    assert days[0].both.hours == pytest.approx(12.0)
    assert days[1].both.hours == 0.0
    began = time.localtime(NOON - WEEK_S)
    assert days[0].name == time.strftime("%a %d from %H:%M", began)
    assert "from" not in days[1].name
