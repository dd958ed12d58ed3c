"""Minutes, days and weeks: nothing is lost and nothing counted twice, whatever clocks do."""

from __future__ import annotations

import calendar
import os
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.exposure.calibration import computed
from meter.exposure.heard import WEEK_S, Entry, HeardMinute, budget, day_began_s
from meter.exposure.live import MinuteSums
from meter.exposure.rules import RULES, Part
from meter.exposure.same_time import once
from meter.exposure.sound_levels import HeardSecond
from meter.exposure.store import ExposureStore
from meter.journal.store import open_journal, read_journal

ADULT, NIOSH = RULES["who-adult"], RULES["niosh"]
NOON = calendar.timegm((2026, 3, 20, 12, 0, 0))
MADE = computed("closed", full_scale_db=107.0, date="2026-01-02")


@pytest.fixture
def zone():
    """Sets the time zone of the process."""
    before = os.environ.get("TZ")

    def set_zone(name: str) -> None:
        os.environ["TZ"] = name
        time.tzset()

    yield set_zone
    if before is None:
        del os.environ["TZ"]
    else:
        os.environ["TZ"] = before
    time.tzset()


def second(level_db: float = -17.0, seconds: float = 1.0) -> HeardSecond:
    power = 10.0 ** (level_db / 10.0)
    return HeardSecond(
        seconds=seconds,
        a_power=(power, power / 2.0),
        c_power=(2.0 * power, power),
        a_fast=power,
        a_slow=power,
        c_peak=0.5,
    )


def minute_at(unix_s: float, level_db: float = -17.0, seconds: float = 60.0, **change) -> HeardMinute:
    values = {
        "minute": int(unix_s // 60),
        "setup": "closed",
        "seconds": seconds,
        "a_power": 10.0 ** (level_db / 10.0),
        "c_power": 0.1,
        "c_peak": 0.5,
        "full_scale_db": 107.0,
        "plus_db": 6.0,
        "is_narrow": True,
    }
    return HeardMinute(**(values | change))


def hours(count: float, from_s: float, level_db: float = -17.0) -> list[HeardMinute]:
    return [minute_at(from_s + 60.0 * k, level_db) for k in range(round(60 * count))]


def test_four_hours_at_90_dba_are_the_week_s_sound():
    """ITU-T H.870: 90 dBA for 4 h is 100 %. CALC."""
    found = budget(ADULT, hours(4, NOON - 5 * 3600), [], now_s=NOON)
    assert found.hours == pytest.approx(4.0)
    assert found.dose[0] == pytest.approx(1.0)
    assert found.dose[1] == pytest.approx(10.0**-0.6)
    assert found.dose[2] == pytest.approx(10.0**0.6)


def test_time_left_goes_by_the_upper_end():
    found = budget(ADULT, hours(0.5, NOON - 3600), [], now_s=NOON)
    middle, soonest, latest = found.hours_left(90.0, 6.0)
    assert soonest < middle < latest
    assert middle == pytest.approx(3.5)
    assert soonest == pytest.approx(ADULT.hours_left([Part(level_dba=96.0, hours=0.5)], 96.0))


def test_what_is_older_than_the_period_has_gone_and_nothing_else():
    old = hours(1, NOON - WEEK_S - 3600.0)
    within = hours(1, NOON - WEEK_S + 60.0)
    assert budget(ADULT, old, [], now_s=NOON).hours == 0.0
    assert budget(ADULT, [*old, *within], [], now_s=NOON).hours == pytest.approx(1.0)
    # After eight days without a minute nothing is left, and a new one counts alone.
    later = NOON + 8 * 86_400.0
    assert budget(ADULT, within, [], now_s=later).hours == 0.0
    assert budget(ADULT, [*within, *hours(1, later - 3600)], [], now_s=later).hours == pytest.approx(1.0)


def test_a_day_ends_at_midnight_on_the_wall(zone):
    zone("Europe/Berlin")
    midnight = day_began_s(NOON)
    assert time.localtime(midnight)[3:6] == (0, 0, 0)
    late = hours(1, midnight - 3600.0)
    early = hours(2, midnight)
    assert budget(NIOSH, [*late, *early], [], now_s=midnight + 3 * 3600).hours == pytest.approx(2.0)
    assert budget(NIOSH, [*late, *early], [], now_s=midnight - 1.0).hours == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("day", "length_h"), [((2026, 3, 29), 23), ((2026, 10, 25), 25)], ids=["to summer time", "and back"]
)
def test_no_minute_is_lost_or_twice_when_summer_time_begins_and_ends(zone, day, length_h):
    zone("Europe/Berlin")
    noon = time.mktime((*day, 12, 0, 0, 0, 0, -1))
    began = day_began_s(noon)
    next_began = day_began_s(noon + 86_400.0)
    assert next_began - began == length_h * 3600
    all_day = hours(length_h, began)
    assert len({one.minute for one in all_day}) == length_h * 60
    assert budget(NIOSH, all_day, [], now_s=next_began - 0.5).hours == pytest.approx(length_h)


def test_seconds_fall_into_the_minute_in_which_they_were_heard():
    sums = MinuteSums(MADE)
    begin = 1000 * 60
    for k in range(150):
        sums.add(second(), unix_s=begin + 30.0 + k + 1.0)
    assert [(one.minute, one.seconds) for one in sums.minutes()] == [(1000, 30.0), (1001, 60.0), (1002, 60.0)]
    assert all(one.a_power == pytest.approx(10.0**-1.7) for one in sums.minutes())
    assert [one.marks for one in sums.minutes(1001)] == [marks((0, 60))] * 2
    sums.let_go(1002)
    assert [one.minute for one in sums.minutes()] == [1002]


def test_silence_is_no_time():
    sums = MinuteSums(MADE)
    sums.add(second(-120.0), unix_s=NOON)
    assert sums.minutes() == []


def test_a_clock_that_is_set_back_loses_nothing():
    sums = MinuteSums(MADE)
    for at_s in [*range(60), *range(60)]:
        sums.add(second(), unix_s=600.0 + at_s + 1.0)
    assert sum(one.seconds for one in sums.minutes()) == 120.0


def test_what_changed_is_to_be_written_also_when_the_clock_went_back():
    sums = MinuteSums(MADE)
    for at_s in range(90):
        sums.add(second(), unix_s=6000.0 + at_s + 1.0)
    assert [one.minute for one in sums.changed()] == [100, 101]
    sums.written()
    assert sums.changed() == []
    sums.add(second(), unix_s=2400.5)
    assert [one.minute for one in sums.changed()] == [40]


def test_a_minute_that_is_written_again_is_counted_once_and_runs_are_added_up():
    with open_journal(clock=lambda: NOON) as journal:
        store = ExposureStore(journal)
        for seconds in (10.0, 20.0, 60.0):
            store.write("one run", [minute_at(NOON - 600, seconds=seconds)])
        store.write("another", [minute_at(NOON - 600, seconds=5.0)])
        kept = store.minutes(NOON - 3600, NOON)
        assert sorted(one.seconds for one in kept) == [5.0, 60.0]
        assert kept[0] in (minute_at(NOON - 600, seconds=60.0), minute_at(NOON - 600, seconds=5.0))


def marks(*spans: tuple[int, int]) -> int:
    return sum(1 << k for first, end in spans for k in range(first, end))


def kept_of(*rows: dict) -> list[HeardMinute]:
    """Rows of as many runs in one minute, as the journal tells them."""
    with open_journal(clock=lambda: NOON) as journal:
        store = ExposureStore(journal)
        for number, row in enumerate(rows):
            store.write(f"run {number}", [minute_at(NOON - 600, **row)])
        return store.minutes(NOON - 3600, NOON)


def test_what_two_programs_heard_side_by_side_counts_once_to_the_second():
    first = {"marks": marks((0, 40)), "seconds": 40.0, "clock_s": 5.0}
    beside = {"marks": marks((30, 60)), "seconds": 30.0, "clock_s": 5.1}
    assert sum(one.seconds for one in kept_of(first, beside)) == pytest.approx(60.0)
    after = {"marks": marks((40, 60)), "seconds": 20.0, "clock_s": 5.1}
    assert [one.seconds for one in kept_of(first, after)] == pytest.approx([40.0, 20.0])
    assert len(kept_of(first, {**first, "seconds": 39.5})) == 1


def test_under_two_setups_each_second_counts_once_with_the_louder_level():
    both = {"marks": marks((0, 60)), "clock_s": 5.0}
    kept = kept_of({**both, "setup": "open", "full_scale_db": 100.0}, {**both, "full_scale_db": 107.0})
    assert [(one.setup, one.seconds) for one in kept] == [("closed", 60.0)]
    kept = kept_of({**both, "setup": "wide", "full_scale_db": 120.0, "is_narrow": False}, both)
    assert [one.is_narrow for one in kept] == [True]


def test_a_second_that_fell_between_two_readings_of_the_clock_is_not_counted_beside():
    holed = marks((0, 20), (21, 60))
    assert len(kept_of({"marks": holed, "clock_s": 5.0}, {"marks": marks((0, 60)), "clock_s": 5.0})) == 1
    paused = {"marks": marks((0, 20), (25, 60)), "seconds": 55.0, "clock_s": 5.0, "a_power": 1.0}
    kept = kept_of(paused, {"marks": marks((0, 60)), "clock_s": 5.0})
    assert sum(one.seconds for one in kept) == pytest.approx(60.0)


def test_a_minute_that_came_again_because_the_clock_was_set_counts_again():
    row = {"marks": marks((0, 60))}
    assert sum(one.seconds for one in kept_of({**row, "clock_s": 5.0}, {**row, "clock_s": -3595.0})) == 120.0


@given(
    first=st.integers(1, (1 << 60) - 1), other=st.integers(1, (1 << 60) - 1), louder_db=st.floats(-20.0, 20.0)
)
def test_together_they_are_never_more_than_the_seconds_that_passed_nor_less_than_one_of_them(
    first, other, louder_db
):
    rows = [
        minute_at(NOON, seconds=float(first.bit_count()), marks=first),
        minute_at(NOON, -17.0 + louder_db, seconds=float(other.bit_count()), marks=other),
    ]
    found = once(rows)
    total_s = sum(one.seconds for one in found)
    assert max(one.seconds for one in rows) - 1e-9 <= total_s + 30.0  # holes of one second are filled
    assert total_s <= (first | other).bit_count() + 1e-9
    energy = sum(one.seconds * one.a_power for one in found)
    loudest = max(rows, key=lambda one: one.a_power)
    assert energy >= loudest.seconds * loudest.a_power * (1.0 - 1e-9)


def test_a_later_calibration_does_not_change_what_was_heard():
    with open_journal() as journal:
        store = ExposureStore(journal)
        store.save(MADE)
        store.write("run", [minute_at(NOON - 600)])
        store.save(computed("closed", full_scale_db=80.0, date="2026-02-03"))
        assert store.calibration("closed").full_scale_db == 80.0
        assert store.minutes(NOON - 3600, NOON)[0].full_scale_db == 107.0
        assert len(store.calibrations()) == 1


def test_what_is_uncalibrated_is_in_no_figure_but_told():
    wide = [minute_at(NOON - 600 + 60 * k, is_narrow=False) for k in range(5)]
    found = budget(ADULT, wide, [], now_s=NOON)
    assert found.dose[0] == 0.0
    assert found.unknown_hours == pytest.approx(5 / 60)


def test_entries_count_as_far_as_they_lie_in_the_period():
    part = Part(level_dba=98.0, hours=4.0, uncertainty_db=3.0)
    over_edge = Entry(number=1, began_unix_s=NOON - WEEK_S - 3 * 3600.0, part=part, note="gig")
    found = budget(ADULT, [], [over_edge], now_s=NOON)
    assert found.hours == pytest.approx(1.0)
    assert found.dose[2] / found.dose[0] == pytest.approx(10.0**0.3)
    still_on = Entry(number=2, began_unix_s=NOON - 3600.0, part=part, note="gig")
    assert budget(ADULT, [], [still_on], now_s=NOON).hours == pytest.approx(1.0)


def test_entries_and_removals_are_undone_in_turn():
    clock = iter(range(1000, 2000))
    with open_journal(clock=lambda: float(next(clock))) as journal:
        store = ExposureStore(journal)
        part = Part(level_dba=98.0, hours=4.0)
        first = store.add(part, began_unix_s=10.0, note="first")
        store.add(part, began_unix_s=20.0, note="second")
        store.remove(first.number)
        assert [one.note for one in store.entries()] == ["second"]
        assert "first" in store.undo()
        assert [one.note for one in store.entries()] == ["first", "second"]
        assert "second" in store.undo()
        assert [one.note for one in store.entries()] == ["first"]
        assert "first" in store.undo()
        assert store.undo() is None


def test_rule_and_setup_are_remembered():
    with open_journal() as journal:
        store = ExposureStore(journal)
        assert store.rule().key == "who-adult"
        store.choose_rule("niosh")
        store.save(MADE)
    with read_journal() as journal:
        assert ExposureStore(journal).rule().key == "niosh"
        assert ExposureStore(journal).calibration().setup == "closed"
