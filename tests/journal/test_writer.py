"""What is heard live goes into the journal, whatever happens to it meanwhile."""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from meter.engine import Engine
from meter.journal import store, writer
from meter.journal.opening import journal_path
from meter.journal.replay import live_pass_of, summary_of
from meter.journal.store import open_journal, read_journal
from meter.journal.writer import JournalWriter
from meter.passes import summarise
from tests.journal.rows import RATE_HZ, heard_rows, live_pass, rows_of
from tests.support.fake_source import FakeSource

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def quickly(monkeypatch):
    """A commit every 20 ms, and little patience."""
    monkeypatch.setattr(writer, "COMMIT_S", 0.02)
    monkeypatch.setattr(writer, "PATIENCE_S", 0.02)
    monkeypatch.setattr(writer, "LAST_TRIES_S", 0.3)


@pytest.fixture
def said():
    return []


@pytest.fixture
def started(quickly, said):
    one = JournalWriter(on_problem=said.append)
    one.start()
    yield one
    if one._thread.is_alive():
        one.stop()


def hear(to, rows, one=None):
    """Hand rows on as the engine does."""
    one = one or live_pass()
    one.add(rows, is_withheld=False)
    to.take(rows, one)
    return one


def until(true, seconds=10.0):
    end_s = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.005)


def everything_kept():
    with read_journal() as journal:
        return [journal.rows(kept.number) for kept in journal.passes()]


def test_what_an_engine_hears_is_in_the_journal_to_the_last_frame():
    source = FakeSource(spec="system", name="what the machine plays")
    sound = np.random.default_rng(0).standard_normal((48_000 * 4 + 1000, 2)) * 0.1
    source.bring(sound)
    keeper = JournalWriter()
    engine = Engine(
        source, on_soundings=lambda rows: keeper.take(rows, engine.live_pass), on_pass=keeper.end_pass
    )
    keeper.start()
    with engine:
        made = engine.live_pass
        source.end()
        until(lambda: engine.now.has_ended)
    assert keeper.stop() is None
    with read_journal() as journal:
        (kept,) = journal.passes()
        assert journal.rows(kept.number).tobytes() == made.store.rows().tobytes()
        assert summary_of(journal, kept) == made.summary()
        assert kept.integrated_lufs == made.summary().integrated_lufs
        assert kept.is_ended
        assert kept.start.name == "what the machine plays"
        assert kept.start.began_unix_s == made.began_unix_s


def test_time_counts_from_the_beginning_of_each_pass(started):
    loud = np.random.default_rng(1).standard_normal((RATE_HZ * 3, 2)) * 0.1
    silent = np.zeros((RATE_HZ * 8, 2))
    rows = rows_of(np.concatenate([silent, loud, silent, loud]))
    one = hear(started, rows)
    started.end_pass(one)
    assert started.stop() is None
    with read_journal() as journal:
        first, second = journal.passes()
        assert first.start.began_unix_s - one.began_unix_s == pytest.approx(7.7, abs=0.11)
        assert second.start.began_unix_s - one.began_unix_s == pytest.approx(18.7, abs=0.11)
        # M holds 0.3 s before and, but for the end of all, as long behind.
        for kept, seconds in ((first, 3.65), (second, 3.3)):
            part = journal.rows(kept.number)
            assert part["start_frame"][0] == 0
            assert kept.seconds == pytest.approx(seconds, abs=0.06)
            assert kept.is_ended
            assert kept.integrated_lufs == pytest.approx(
                summarise(rows_of(loud), rate_hz=RATE_HZ, channels=2).integrated_lufs, abs=1.0
            )


def test_a_pass_that_has_ended_is_ended_in_the_journal_though_nothing_more_comes(started):
    one = hear(started, heard_rows(3.0))
    started.end_pass(one)
    until(lambda: len(everything_kept()) == 1)
    with read_journal() as journal:
        until(lambda: journal.kept_pass(1).is_ended)


def test_a_set_is_one_pass_over_silence_and_gaps_and_says_what_was_lost(quickly):
    loud, silent = (
        np.random.default_rng(1).standard_normal((RATE_HZ * 3, 2)) * 0.1,
        np.zeros((RATE_HZ * 8, 2)),
    )
    source = FakeSource(spec="system", rate_hz=RATE_HZ, seconds=60.0)
    keeper = JournalWriter(is_set=True)
    engine = Engine(
        source, on_soundings=lambda rows: keeper.take(rows, engine.live_pass), on_pass=keeper.end_pass
    )
    keeper.start()
    source.bring(np.concatenate([silent, loud, silent]))
    source.lose(RATE_HZ * 2)
    source.bring(np.concatenate([silent, loud]))
    with engine:
        made = engine.live_pass
        until(lambda: len(made.store) >= 285)
        engine.hold(True)
        until(lambda: engine.now.is_held)
        source.bring(loud)
        until(lambda: engine._worker.reader.behind_frames == 0)
        engine.hold(False)
        until(lambda: not engine.now.is_held)
        source.bring(loud)
        source.end()
        until(lambda: engine.now.has_ended)
    assert keeper.stop() is None
    with read_journal() as journal:
        (kept,) = journal.passes()
        assert kept.start.is_set
        rows, whole = journal.rows(kept.number), made.store.rows()
        assert rows["k_power"].tobytes() == whole["k_power"][len(whole) - len(rows) :].tobytes()
        assert kept.seconds == pytest.approx(25.3, abs=0.2)
        lost, held = journal.gaps(kept.number)
        assert (lost.kind, lost.frames, held.kind, held.frames) == ("lost", 16_000, "held", 24_000)
        assert lost.at_s == pytest.approx(11.3, abs=0.2)
        assert held.at_s == pytest.approx(24.3, abs=0.2)
        summary = summary_of(journal, kept)
        assert summary.lost_frames == 16_000
        assert summary.integrated_lufs == pytest.approx(made.summary().integrated_lufs, abs=0.01)
        assert live_pass_of(journal, kept).holds


def test_a_pass_becomes_a_set_in_the_journal_too(started):
    rows = np.concatenate([heard_rows(3.0), rows_of(np.zeros((RATE_HZ * 8, 2)))])
    one = hear(started, rows[:25])
    until(lambda: len(everything_kept()) == 1)
    started.make_set(True)
    hear(started, rows[25:], one)
    started.end_pass(one)
    assert started.stop() is None
    with read_journal() as journal:
        (kept,) = journal.passes()
        assert (kept.start.is_set, kept.soundings) == (True, len(rows))


def test_a_set_to_which_nothing_comes_is_not_taken_for_one_that_was_broken_off(started, monkeypatch):
    monkeypatch.setattr(writer, "TOUCH_S", 0.02)
    hear(started, heard_rows(3.0))
    until(lambda: len(everything_kept()) == 1)
    with read_journal() as journal:
        first_s = journal.kept_pass(1).touched_unix_s
        until(lambda: journal.kept_pass(1).touched_unix_s > first_s + 0.1)
        assert journal.is_still_heard(journal.kept_pass(1))


@pytest.mark.parametrize("spec", ["demo", "file:/tunes/one.wav"])
def test_the_demo_and_files_are_not_kept(started, spec):
    one = hear(started, heard_rows(3.0), live_pass(spec=spec))
    started.end_pass(one)
    assert started.stop() is None
    assert everything_kept() == []


def test_nobody_waits_for_a_journal_that_is_locked(started, said):
    until(lambda: journal_path().exists() and started._journal is not None)
    rows = heard_rows(3.0)
    with closing(sqlite3.connect(journal_path(), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        one = hear(started, rows[:10])
        until(lambda: said)
        assert "another program is writing into the journal" in started.problem
        hear(started, rows[10:], one)
        other.execute("ROLLBACK")
    until(lambda: started.problem is None)
    started.end_pass(one)
    assert started.stop() is None
    assert [kept.tobytes() for kept in everything_kept()] == [rows.tobytes()]
    assert said[-1] == "the journal is written again; what was heard meanwhile is in it"
    assert len(said) == 2


def test_a_full_disk_is_said_once_and_what_waited_is_written_when_there_is_room(quickly, said, monkeypatch):
    rows = heard_rows(70.0)
    most_pages = [20]  # a disk of 80 kB
    connect = store.opening.connect

    def connect_on_small_disk(path, **how):
        connection, notes = connect(path, **how)
        connection.execute(f"PRAGMA max_page_count = {most_pages[0]}")
        return connection, notes

    monkeypatch.setattr(store.opening, "connect", connect_on_small_disk)
    started = JournalWriter(on_problem=said.append)
    started.start()
    one = hear(started, rows[:20])
    until(lambda: [len(kept) for kept in everything_kept()] == [20])
    hear(started, rows[20:], one)
    until(lambda: said)
    assert "the disk that holds the journal is full" in said[0]
    assert started.unwritten_rows == len(rows) - 20
    most_pages[0] = 100_000
    until(lambda: started.problem is None)
    started.end_pass(one)
    assert started.stop() is None
    assert [kept.tobytes() for kept in everything_kept()] == [rows.tobytes()]
    assert len(said) == 2


def test_what_could_not_be_written_at_all_is_said_at_the_end(quickly, said, tmp_path):
    (tmp_path / "file").write_text("")
    keeper = JournalWriter(tmp_path / "file" / "in", on_problem=said.append)
    keeper.start()
    one = hear(keeper, heard_rows(3.0))
    keeper.end_pass(one)
    sentence = keeper.stop()
    assert sentence.startswith("3.0 s of what was heard are not in the journal: ")
    assert "the journal cannot be opened" in sentence
    assert len(said) == 1


def test_a_journal_that_is_damaged_while_it_is_written_is_set_aside_and_the_pass_goes_on(
    started, said, monkeypatch
):
    one = hear(started, heard_rows(3.0))
    until(lambda: [len(rows) for rows in everything_kept()] == [30])
    add_rows, failures = store.Journal.add_rows, iter([sqlite3.SQLITE_CORRUPT])

    def fail_once(journal, *values, **more):
        for code in failures:
            damage = sqlite3.DatabaseError("database disk image is malformed")
            damage.sqlite_errorcode = code
            raise damage
        add_rows(journal, *values, **more)

    monkeypatch.setattr(store.Journal, "add_rows", fail_once)
    more = heard_rows(3.0, seed=2)
    more["start_frame"] += 24_000
    hear(started, more, one)
    until(lambda: len(said) == 3)
    (aside,) = journal_path().parent.glob("journal-set-aside-*.db")
    assert aside.name in said[1]
    started.end_pass(one)
    assert started.stop() is None
    assert [kept.tobytes() for kept in everything_kept()] == [more.tobytes()]
    with closing(sqlite3.connect(aside)) as kept:
        assert kept.execute("SELECT rows FROM passes").fetchall() == [(30,)]


def test_what_cannot_be_found_because_of_a_mistake_does_not_stop_the_journal(started, monkeypatch, caplog):
    def fail(live_pass, target):
        raise ZeroDivisionError

    monkeypatch.setattr(writer, "findings_in", fail)
    rows = heard_rows(3.0)
    started.end_pass(hear(started, rows))
    assert started.stop() is None
    assert [kept.tobytes() for kept in everything_kept()] == [rows.tobytes()]
    assert "please report this: the findings of pass 1 are missing" in caplog.text


def test_a_mistake_in_the_writer_is_said_and_what_is_missing_too(started, said, monkeypatch, caplog):
    def fail(*values, **more):
        raise ZeroDivisionError("a mistake")

    monkeypatch.setattr(store.Journal, "add_rows", fail)
    one = hear(started, heard_rows(3.0))
    until(lambda: said)
    hear(started, heard_rows(1.0), one)
    assert said == ["the journal is not written any more (a mistake); please report it with the log"]
    assert started.stop() == f"some of what was heard is not in the journal: {said[0]}"


def test_a_home_that_is_no_folder_is_told_as_what_it_is_and_is_no_mistake_of_the_program(
    quickly, said, tmp_path, monkeypatch
):
    home = tmp_path / "a file"
    home.write_text("")
    monkeypatch.setenv("LEADLINE_HOME", str(home))
    one = JournalWriter(on_problem=said.append)
    one.start()
    one.end_pass(hear(one, heard_rows(3.0)))
    until(lambda: said)
    why = f"LEADLINE_HOME names {home}, which is no folder; name a folder or unset it"
    assert said == [why]
    assert one.stop() == f"3.0 s of what was heard are not in the journal: {why}"


def test_a_pass_that_is_deleted_while_it_is_heard_can_come_back_whole(started):
    rows = heard_rows(4.0)
    one = hear(started, rows[:20])
    until(lambda: len(everything_kept()) == 1)
    with open_journal() as journal:
        journal.delete([1])
    hear(started, rows[20:], one)
    started.end_pass(one)
    assert started.stop() is None
    with open_journal() as journal:
        assert journal.passes() == []
        assert journal.undo() == [1]
        assert journal.rows(1).tobytes() == rows.tobytes()
        assert journal.kept_pass(1).is_ended


def test_more_than_memory_should_hold_is_counted_as_not_written(quickly, said, tmp_path, monkeypatch):
    monkeypatch.setattr(writer, "MOST_WAITING_ROWS", 25)
    (tmp_path / "file").write_text("")
    keeper = JournalWriter(tmp_path / "file" / "in", on_problem=said.append)
    keeper.start()
    one, rows = live_pass(), heard_rows(6.0)
    for at in range(0, 60, 10):
        hear(keeper, rows[at : at + 10], one)
        time.sleep(0.03)
    assert keeper.stop().startswith("6.0 s of what was heard are not in the journal")
    assert 0 < sum(len(part) for waiting in keeper._waiting for part in waiting.parts) <= 25


def test_the_engine_never_waits(quickly, monkeypatch, said):
    held, opened = threading.Event(), threading.Event()

    def open_slowly(*values, **more):
        opened.set()
        held.wait()
        return open_journal(*values, **more)

    monkeypatch.setattr(writer, "open_journal", open_slowly)
    keeper = JournalWriter(on_problem=said.append)
    keeper.start()
    opened.wait()
    rows = heard_rows(3.0)
    one = hear(keeper, rows)  # returns although the disk does not answer
    keeper.end_pass(one)
    held.set()
    assert keeper.stop() is None
    assert [kept.tobytes() for kept in everything_kept()] == [rows.tobytes()]


def test_a_disk_that_does_not_answer_holds_nobody_up_at_the_end(quickly, monkeypatch, caplog):
    held, opened = threading.Event(), threading.Event()

    def open_slowly(*values, **more):
        opened.set()
        held.wait()
        return open_journal(*values, **more)

    monkeypatch.setattr(writer, "open_journal", open_slowly)
    monkeypatch.setattr(writer, "STOP_WAIT_S", 0.05)
    keeper = JournalWriter()
    keeper.start()
    opened.wait()
    hear(keeper, heard_rows(3.0))
    assert "the disk does not answer; the end may be missing there" in keeper.stop()
    held.set()
    keeper._thread.join()


# --- other programs

CHILD = """
import sys, time
import numpy as np
from meter.capture.records import SourceInfo
from meter.journal.writer import JournalWriter
from meter.live_pass import LivePass
rows = np.load(sys.argv[1])
info = SourceInfo(spec="system", name="what the machine plays")
one = LivePass(number=1, info=info, rate_hz=8000, channels=2, weights=(1.0, 1.0), crossover_hz=120.0,
               over_limit_dbtp=0.0)
keeper = JournalWriter()
keeper.start()
pace = float(sys.argv[2])
for at in range(len(rows)):
    one.add(rows[at : at + 1], is_withheld=False)
    keeper.take(rows[at : at + 1], one)
    print(at + 1, flush=True)
    time.sleep(pace)
keeper.end_pass(one)
print(keeper.stop(), file=sys.stderr)
"""

PACE_S = 0.02
"""Five times as fast as it sounds, so that in 2 s come 100 soundings."""


@pytest.fixture
def child(tmp_path):
    """Starts a program that hears two minutes of noise with a seed."""

    def begin(seed, pace, **how):
        path = tmp_path / f"{seed}.npy"
        np.save(path, heard_rows(120.0, seed=seed))
        command = [sys.executable, "-c", CHILD, str(path), str(pace)]
        return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, **how)

    return begin


def kept_after_kills(child, points):
    """Kill one child after each of these counts of soundings; how many were handed on, by seed."""
    programs = {seed: child(seed, PACE_S) for seed, _ in enumerate(points, 1)}
    handed_on = {}
    for (seed, program), after in zip(programs.items(), points, strict=True):
        for line in program.stdout:
            if int(line) >= after:
                break
        os.kill(program.pid, signal.SIGKILL)
        program.wait()
        handed_on[seed] = int(line) + sum(1 for _ in program.stdout)
        program.stdout.close()
    return handed_on


def check_kills(child, points):
    handed_on = kept_after_kills(child, points)
    expected = {seed: heard_rows(120.0, seed=seed) for seed in handed_on}
    with read_journal() as journal:
        assert len(journal.passes()) == len(points)
        for kept in journal.passes():
            rows = journal.rows(kept.number)
            (seed,) = (s for s, whole in expected.items() if whole[: len(rows)].tobytes() == rows.tobytes())
            assert 0 <= handed_on[seed] - len(rows) <= 2.0 / PACE_S
            assert not kept.is_ended


@pytest.mark.long
@pytest.mark.parametrize("first", range(60, 1000, 47))
def test_a_kill_at_any_point_loses_at_most_two_seconds(child, first):
    check_kills(child, [first, first + 13])


def test_two_programs_write_one_journal_at_once(child):
    programs = [child(seed, 0.0005, stderr=subprocess.PIPE) for seed in (3, 4)]
    said = [program.communicate()[1] for program in programs]
    assert said == ["None\n", "None\n"]
    expected = {heard_rows(120.0, seed=seed).tobytes() for seed in (3, 4)}
    with read_journal() as journal:
        assert {journal.rows(kept.number).tobytes() for kept in journal.passes()} == expected
        assert all(kept.is_ended for kept in journal.passes())
