"""The level at the ear beside an engine: what is shown, kept, and withheld."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

import meter.exposure.heard as heard_module
from meter.engine import Engine
from meter.exposure.calibration import computed, unknown
from meter.exposure.ear_text import ear_line, end_text
from meter.exposure.heard import HeardMinute
from meter.exposure.live import LiveEar
from meter.exposure.rules import RULES, Part
from meter.exposure.store import ExposureStore
from meter.journal.store import open_journal, read_journal
from tests.support.fake_source import PacedSource

RATE_HZ = 48_000
TONE = 0.1 * np.sin(2.0 * np.pi * 1000.0 * np.arange(10 * RATE_HZ) / RATE_HZ)


LOUD = HeardMinute(
    minute=0,
    setup="closed",
    seconds=60.0,
    a_power=0.02,
    c_power=0.02,
    c_peak=0.3,
    full_scale_db=107.0,
    plus_db=6.0,
    is_narrow=True,
)


def heard(calibration, *, frames=None, seconds=2.6, rule="who-adult", **options):
    """What is known after a while, and the minutes that were kept."""
    both = np.stack([TONE, 0.5 * TONE], axis=1).astype(np.float32) if frames is None else frames
    engine = Engine(PacedSource(both))
    engine.start()
    ear = LiveEar(engine, calibration, RULES[rule], **options)
    ear.start()
    time.sleep(seconds)
    engine.stop()
    ear.stop()
    ear.stop()
    now_s = time.time()
    with read_journal() as journal:
        return ear.now, ExposureStore(journal).minutes(now_s - 600.0, now_s + 60.0)


MADE = computed("closed", full_scale_db=107.0, date="2026-01-02")


def test_the_louder_ear_is_told_with_its_interval_and_kept_by_the_minute():
    ear, minutes = heard(MADE)
    assert ear.level_dba == pytest.approx((87.0, 87.0 - MADE.plus_db, 87.0 + MADE.plus_db), abs=0.1)
    assert ear.session_dba == pytest.approx(ear.level_dba, abs=0.1)
    assert ear.peak_dbc[0] == pytest.approx(87.0, abs=0.3)
    kept_s = sum(one.seconds for one in minutes)
    assert 1.9 < kept_s < 3.5
    assert ear.budget.hours == pytest.approx(kept_s / 3600.0, rel=0.3)
    line = ear_line(ear)
    assert "about 87 dBA (81 to 93), estimated" in line
    assert "WHO-ITU, adults" in line
    assert "to 100 %" in line


def test_uncalibrated_it_is_a_range_and_no_dose():
    ear, minutes = heard(unknown("new", "headphones", date="2026-01-02"))
    assert ear_line(ear) == "at the ear: somewhere from 75 to 105 dBA; calibrate to get a time"
    assert ear.budget.dose == (0.0, 0.0, 0.0)
    assert minutes
    assert not any(one.is_narrow for one in minutes)
    assert "too wide for a dose" in end_text(ear)


def test_another_source_than_the_one_it_was_made_for_asks_for_a_calibration_again():
    other = computed("closed", full_scale_db=107.0, date="2026-01-02", source="device:Another one")
    ear, minutes = heard(other)
    assert "calibrate to get a time" in ear_line(ear)
    assert not any(one.is_narrow for one in minutes)


def test_what_feeds_nothing_is_not_counted():
    ear, minutes = heard(unknown("deck", "nothing", date="2026-01-02"))
    assert minutes == []
    assert "feeds nothing that is heard" in ear_line(ear)


def test_silence_is_no_time_at_all():
    ear, minutes = heard(MADE, frames=np.zeros((10 * RATE_HZ, 2), np.float32))
    assert minutes == []
    assert ear.level_dba is None
    assert ear_line(ear) == "at the ear: no sound"
    assert "no sound was heard" in end_text(ear)


def test_without_the_journal_nothing_is_kept_and_the_session_still_counts():
    ear, minutes = heard(MADE, keeps=False)
    assert minutes == []
    assert ear.budget.hours > 0.0


def test_a_journal_that_cannot_be_used_is_told_once_and_measuring_goes_on(tmp_path):
    place = tmp_path / "a file"
    place.write_text("no folder")
    said: list[str] = []
    ear, _ = heard(MADE, journal_folder=place, on_problem=said.append)
    assert ear.level_dba is not None
    assert len(said) == 1
    assert said[0].startswith("what your ears get is not kept: ")


def test_what_was_heard_before_counts_in_the_week():
    heard(MADE)
    ear, minutes = heard(MADE)
    assert ear.budget.hours * 3600.0 == pytest.approx(sum(one.seconds for one in minutes), rel=0.2)
    assert sum(one.seconds for one in minutes) > 3.8


@pytest.mark.parametrize("made", [MADE, unknown("x", "monitors", date="2026-01-02")])
def test_every_word_is_that_of_an_estimate(made):
    ear, _ = heard(made, seconds=1.4)
    text = end_text(ear)
    for word in ("estimate", "sound level meter", "medical", "law", "stop"):
        assert word in text
    assert "safe" not in text.lower()


def test_two_programs_side_by_side_count_what_they_hear_once():
    """The window and `listen --setup` on the same machine, under two setups."""
    both = np.stack([TONE, 0.5 * TONE], axis=1).astype(np.float32)
    engine = Engine(PacedSource(both))
    engine.start()
    ears = [
        LiveEar(engine, made, RULES["who-adult"])
        for made in (MADE, computed("open", full_scale_db=100.0, date="2026-01-02"))
    ]
    began_s = time.time()
    for ear in ears:
        ear.start()
    time.sleep(3.2)
    passed_s = time.time() - began_s
    engine.stop()
    for ear in ears:
        ear.stop()
    with read_journal() as journal:
        minutes = ExposureStore(journal).minutes(began_s - 60.0, time.time() + 60.0)
    heard_s = sum(one.seconds for one in minutes)
    assert 1.9 < heard_s <= passed_s + 1.1  # the ring was full of what came before
    assert sum(one.seconds for one in minutes if one.setup == "closed") > 0.6 * heard_s


def test_what_another_program_enters_meanwhile_is_taken_into_account(monkeypatch):
    monkeypatch.setattr("meter.exposure.live.LOOK_S", 0.5)
    both = np.stack([TONE, TONE], axis=1).astype(np.float32)
    engine = Engine(PacedSource(both))
    engine.start()
    ear = LiveEar(engine, MADE, RULES["who-adult"])
    ear.start()
    time.sleep(1.2)
    with open_journal() as journal:
        part = Part(level_dba=98.0, hours=0.25, uncertainty_db=3.0)
        ExposureStore(journal).add(part, began_unix_s=time.time() - 1200.0, note="gig")
    time.sleep(2.2)
    engine.stop()
    ear.stop()
    assert 0.25 < ear.now.budget.hours < 0.26


def test_the_cost_of_a_second_does_not_grow_with_the_week(monkeypatch):
    """All but the newest minutes are added up once a minute."""
    now_s = time.time()
    minute = int(now_s // 60.0)
    rows = [replace(LOUD, minute=minute - 10 - k) for k in range(3000)]
    with open_journal() as journal:
        ExposureStore(journal).write("before", rows)
    taken: list[int] = []
    original = heard_module.budget

    def counted(rule, minutes, entries, *, now_s):
        minutes = list(minutes)
        taken.append(len(minutes))
        return original(rule, minutes, entries, now_s=now_s)

    monkeypatch.setattr("meter.exposure.live.budget", counted)
    ear, _ = heard(MADE, seconds=3.4)
    assert taken[0] == 3000
    assert len(taken) >= 3
    assert max(taken[1:]) <= 3
    assert ear.budget.hours == pytest.approx(50.0, abs=0.01)
