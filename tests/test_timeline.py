"""The timeline: the numbers of the engine at the places where they belong."""

import threading

import numpy as np
import pytest

from meter.capture.open import open_source
from meter.chain import Chain
from meter.engine import Engine
from meter.slot_values import KEYS
from meter.targets import Limit, Target
from meter.timeline import BREAK_S, SLOTS_A_SECOND, Timeline
from meter.units import amplitude_to_db
from tests.support.fake_source import FakeSource
from tests.support.session import RATE_HZ, Clock, Session, pass_of, said_by, shown_by, timeline_of
from tests.support.sound import noise, run, silence, tone

MOMENTARY = "momentary_lufs"


def assert_shows_what_was_said(session):
    assert session.said
    for slot, reading in session.said:
        shown = shown_by(session.timeline, slot)
        for key, said in said_by(reading).items():
            assert shown[key] == said or (np.isnan(said) and np.isnan(shown[key])), (slot, key)


def eventful(session):
    """All that can happen to a session."""
    session.hear(noise(4.03, seed=1))
    session.source.lose(70_000)
    session.hear(noise(4.0, seed=2))
    session.command("hold", True)
    session.hear(noise(1.5, seed=3))
    session.command("hold", False)
    session.hear(noise(3.77, seed=4))
    session.command("mark")
    session.hear(noise(4.0, seed=5))
    session.turn_to(FakeSource(rate_hz=44_100, channels=1, spec="device:other", name="another input"))
    session.hear(noise(4.0, seed=6, rate_hz=44_100, channels=1), hop=4410)
    session.finish()
    return session


# --- many at once


@pytest.fixture(scope="module")
def session():
    """One to which all that has happened; it is only looked at."""
    return eventful(Session())


def beginning_in_a_gap(session):
    """All that, behind a gap both of whose sides share a slot."""
    session.hear(noise(1.03, seed=7))
    session.source.lose(900)
    return eventful(session)


@pytest.fixture(scope="module")
def told_at_once():
    """Each sounding as it came."""
    return beginning_in_a_gap(Session()).timeline


@pytest.mark.parametrize("patience", [2, 7, 1000])
def test_soundings_that_wait_come_to_the_same_whatever_happens_meanwhile(patience, told_at_once):
    def history(timeline):
        runs = [(one.first_slot, one.stop_slot, one.first_row, one.pass_at_s, one.is_over)
                for one in timeline.runs]  # fmt: skip
        values = [timeline.values(key, 0, timeline.slots).tobytes() for key in KEYS]
        return timeline.slots, timeline.ended, timeline.events, runs, values

    later = Session()
    later.timeline.patience = patience
    beginning_in_a_gap(later)
    assert history(later.timeline) == history(told_at_once)


def test_soundings_wait_until_there_are_enough_or_they_are_wanted():
    session = Session()
    session.hear(noise(1.0, seed=1))
    before = session.timeline.slots
    session.timeline.patience = 5
    session.hear(noise(0.4, seed=2))
    assert session.timeline.slots == before
    session.hear(noise(0.1, seed=3))
    assert session.timeline.slots == before + 5
    session.hear(noise(0.3, seed=4))
    session.timeline.catch_up()
    assert session.timeline.slots == before + 8


# --- the numbers


@pytest.fixture(scope="module")
def demo():
    """The demo through a real engine as fast as it goes: the timeline, and what was read on the way."""
    timeline, said, has_ended = Timeline(), [], threading.Event()

    def take(rows):
        reading = engine.reading
        timeline.append(rows, engine.live_pass, reading)
        said.append((timeline.slots - 1, rows.copy(), reading))

    source = open_source("demo", as_fast=True)
    engine = Engine(source, on_soundings=take, on_end=lambda _: has_ended.set())
    engine.start()
    has_ended.wait()
    engine.stop()
    assert engine.failure is None
    return timeline, said


def test_every_number_of_the_demo_is_that_of_the_engines_reading(demo):
    timeline, said = demo
    assert len(said) == timeline.slots > 1500
    for slot, rows, reading in said:
        shown = shown_by(timeline, slot)
        expected = said_by(reading)
        np.testing.assert_array_equal([shown[key] for key in expected], list(expected.values()))
        if slot < timeline.slots - 1:  # the last one is cut short: its peak is not in the reading before it
            assert shown["true_peak_dbtp"] == np.float32(max(reading.true_peak_dbtp))
        assert shown["overs"] == rows["overs"].sum()
    assert timeline.values("overs", 0, timeline.slots).sum() == said[-1][2].overs


def test_a_pass_whose_rows_come_without_readings_shows_the_same(demo):
    timeline, _ = demo
    (live_pass, rows) = timeline.rows(0, timeline.slots)[0]
    again = Timeline(clock=Clock())
    again.append(rows, live_pass)
    whole = timeline.slots - 1  # the last is cut short: the reading knows half of its windows
    for key in KEYS:
        expected = timeline.values(key, 0, whole)
        np.testing.assert_allclose(again.values(key, 0, whole), expected, atol=4e-6, rtol=3e-7)


def test_the_numbers_are_those_that_were_said_over_gaps_holds_marks_and_other_sources(session):
    assert_shows_what_was_said(session)


def test_without_readings_they_are_the_same_but_for_rounding(session):
    exact, from_rows = session.timeline, eventful(Session(exactly=False)).timeline
    assert exact.slots == from_rows.slots
    whole = np.ones(exact.slots, np.bool_)
    for run_ in exact.runs:
        whole[run_.stop_slot - 1] = False  # rows cut short: the reading knows half of their windows
    for key in KEYS:
        found, expected = (one.values(key, 0, one.slots)[whole] for one in (from_rows, exact))
        np.testing.assert_allclose(found, expected, atol=4e-6, rtol=0)


def test_after_a_mark_windows_go_on_and_after_a_gap_they_begin_anew():
    session = Session()
    session.hear(noise(5.0, seed=1))
    session.command("mark")
    session.hear(noise(5.0, seed=2))
    session.source.lose(4800)
    session.hear(noise(5.0, seed=3))
    timeline = session.finish()
    momentary = timeline.values(MOMENTARY, 0, timeline.slots)
    nothing = np.flatnonzero(np.isnan(momentary))
    assert list(nothing) == [0, 1, 2, 100, 101, 102, 103]


def test_another_source_begins_anew_though_it_is_of_the_same_kind():
    session = Session(exactly=False)
    session.hear(noise(2.0, seed=1))
    session.turn_to(FakeSource())
    session.hear(noise(2.0, seed=2))
    timeline = session.finish()
    assert np.isnan(timeline.values(MOMENTARY, 20, 23)).all()
    assert [event.kind for event in timeline.events] == ["start", "source"]


def test_a_mark_goes_on_although_overs_are_counted_from_another_limit_behind_it():
    session = Session(exactly=False)
    session.hear(noise(2.0, seed=1))
    lower = Target(name="low", title="Low", source="made up", limits={"true_peak_dbtp": Limit(max=-6.0)})
    session.command("set_target", lower)
    session.command("mark")
    session.hear(noise(2.0, seed=2))
    timeline = session.finish()
    assert np.isfinite(timeline.values(MOMENTARY, 20, 23)).all()


def test_a_mark_on_the_dot_while_held_begins_anew():
    session = Session()
    session.hear(noise(1.0, seed=1))
    session.command("hold", True)
    session.command("mark")
    session.hear(noise(1.0, seed=2))
    session.command("hold", False)
    session.hear(noise(1.0, seed=3))
    timeline = session.finish()
    assert np.isnan(timeline.values(MOMENTARY, 10, 13)).all()
    assert_shows_what_was_said(session)


# --- the clock


def test_a_slot_is_a_tenth_of_a_second_and_every_sounding_has_its_own():
    timeline = timeline_of(noise(3.0, seed=1))
    assert (SLOTS_A_SECOND, timeline.slots) == (10, 30)
    assert timeline.at_s(25) == 2.5


def test_time_goes_on_over_what_was_lost_and_what_was_held():
    session = Session()
    session.hear(noise(1.0, seed=1))
    session.source.lose(2 * RATE_HZ)
    session.hear(noise(1.0, seed=2))
    session.command("hold", True)
    session.hear(noise(3.0, seed=3))
    session.command("hold", False)
    session.hear(noise(1.0, seed=4))
    timeline = session.finish()
    heard = np.isfinite(timeline.values("true_peak_dbtp", 0, timeline.slots))
    assert timeline.slots == 80
    assert list(np.flatnonzero(np.diff(heard.astype(int)))) == [9, 29, 39, 69]


def test_after_many_small_gaps_the_clock_is_still_right():
    session = Session()
    for k in range(40):
        session.hear(noise(0.53, seed=k), hop=1200)
        session.source.lose(480)
    session.hear(noise(1.0, seed=99))
    timeline = session.finish()
    last = timeline.runs[-1]
    assert abs(timeline.at_s(last.first_slot) - 40 * 0.54) <= 0.05 + 1e-9
    assert sum(len(rows) for _, rows in timeline.rows(0, timeline.slots)) == 40 * 6 + 10


def test_what_shares_a_slot_keeps_the_higher_peak_and_all_overs():
    session = Session()
    first, second = noise(0.52, seed=1), noise(0.5, seed=2)
    first[-500:-490] = 1.3
    session.hear(first)
    session.source.lose(48)
    session.hear(second)
    timeline = session.finish()
    assert (timeline.runs[0].stop_slot, timeline.runs[1].first_slot) == (6, 5)
    shown = shown_by(timeline, 5)
    assert shown["overs"] == 1
    assert shown["true_peak_dbtp"] > 2.0
    assert [len(rows) for _, rows in timeline.rows(5, 6)] == [1, 1]


def test_a_pass_that_begins_much_later_by_the_clock_on_the_wall_stands_later():
    session = Session()
    session.hear(noise(1.0, seed=1))
    session.clock.s += 60.0
    session.turn_to(FakeSource(spec="device:other"))
    session.hear(noise(1.0, seed=2))
    timeline = session.finish()
    assert timeline.runs[1].first_slot == 610
    assert timeline.slots == 620
    assert np.isnan(timeline.values(MOMENTARY, 10, 610)).all()


def test_what_buffers_make_of_the_clock_on_the_wall_leaves_no_hole():
    session = Session()
    session.hear(noise(1.0, seed=1))
    session.clock.s += BREAK_S - 0.2
    session.command("mark")
    session.hear(noise(1.0, seed=2))
    assert session.finish().slots == 20


def test_a_file_that_is_read_faster_than_time_stands_in_its_own_time():
    timeline, clock = Timeline(clock=(wall := Clock())), wall.s
    for number in (1, 2):
        chain = Chain(rate_hz=8000, channels=1)
        rows = run(chain, noise(2.0, seed=number, rate_hz=8000, channels=1))
        live_pass = pass_of(chain, number=number)
        live_pass.store.append(rows)
        timeline.append(rows, live_pass)
        wall.s = clock + 0.1 * number
    assert timeline.slots == 40
    assert timeline.began_unix_s == clock - 2.0


# --- events and rows


def test_events_tell_what_happened_and_where(session):
    timeline = session.timeline
    assert [(event.kind, event.slot, event.text) for event in timeline.events] == [
        ("start", 0, "a made-up input"),
        ("gap", 40, "1.5 s lost"),
        ("hold", 95, "1.5 s held"),
        ("mark", 147, "marked"),
        ("source", 188, "another input"),
    ]


def test_rows_come_back_with_their_pass_so_that_any_part_can_be_measured_again(session):
    timeline = session.timeline
    parts = timeline.rows(0, timeline.slots)
    assert [(live_pass.number, live_pass.rate_hz) for live_pass, _ in parts] == [
        (1, 48_000),
        (1, 48_000),
        (1, 48_000),
        (2, 48_000),
        (3, 44_100),
    ]
    (live_pass, rows) = timeline.rows(60, 70)[0]
    assert rows.tobytes() == live_pass.store.rows(46, 56).tobytes()
    assert rows["start_frame"][0] == pytest.approx(6.0 * RATE_HZ, abs=0.05 * RATE_HZ)
    assert timeline.rows(45, 50) == []
    assert timeline.rows(-5, 0) == timeline.rows(9000, 9999) == []


def test_a_slot_is_known_by_its_pass_and_the_time_in_it():
    session = Session()
    session.hear(noise(2.0, seed=1))
    session.command("mark")
    session.hear(noise(2.0, seed=2))
    timeline = session.finish()
    live_pass, at_s = timeline.place(25)
    assert (live_pass.number, at_s) == (2, pytest.approx(0.5))
    assert timeline.place(40) is timeline.place(-1) is None


def test_columns_are_made_of_the_values():
    timeline = timeline_of(tone(997.0, 20.0))
    columns = timeline.columns(MOMENTARY, slots_a_column=50, first_column=1, count=3)
    values = timeline.values(MOMENTARY, 50, 200).reshape(3, 50)
    np.testing.assert_array_equal(columns.low, values.min(axis=1))
    np.testing.assert_array_equal(columns.high, values.max(axis=1))
    np.testing.assert_allclose(columns.mean, values.mean(axis=1), rtol=1e-6)


def test_silence_is_kept_as_silence():
    timeline = timeline_of(silence(4.0))
    assert timeline.values("short_term_lufs", 35, 36)[0] == -np.inf
    assert timeline.values("true_peak_dbtp", 35, 36)[0] == -np.inf


def test_who_reads_while_it_grows_sees_whole_slots_only():
    chain = Chain(rate_hz=8000, channels=1)
    rows = run(chain, tone(997.0, 200.0, rate_hz=8000, phases_deg=(0.0,), gains=(1.0,)))
    live_pass, timeline, wrong = pass_of(chain), Timeline(clock=Clock()), []
    is_over = threading.Event()

    def read():
        while not is_over.is_set():
            slots = timeline.slots
            peaks = timeline.values("true_peak_dbtp", 0, slots)
            columns = timeline.columns("true_peak_dbtp", slots_a_column=37, first_column=0, count=slots // 37)
            if np.isnan(peaks).any() or np.isnan(columns.mean).any():
                wrong.append(slots)

    reader = threading.Thread(target=read)
    reader.start()
    for k in range(len(rows)):
        live_pass.store.append(rows[k : k + 1])
        timeline.append(rows[k : k + 1], live_pass)
    is_over.set()
    reader.join()
    assert wrong == []


def test_the_true_peak_is_the_highest_of_the_channels():
    samples = noise(1.0, seed=1)
    samples[:, 1] *= 0.5
    timeline = timeline_of(samples)
    rows = timeline.rows(4, 5)[0][1]
    peak_dbtp = amplitude_to_db(float(rows["true_peak"][0, 0]))
    assert timeline.values("true_peak_dbtp", 4, 5)[0] == pytest.approx(peak_dbtp, abs=1e-5)
