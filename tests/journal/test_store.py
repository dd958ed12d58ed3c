"""What goes into the journal comes out of it, and what was deleted comes back."""

import math
import shutil
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.errors import JournalError, UsageError
from meter.journal.closing import end_abandoned
from meter.journal.opening import in_memory
from meter.journal.records import DAYS_TO_UNDO, KeptFinding
from meter.journal.replay import findings_in, live_pass_of, summary_of
from meter.journal.store import MINUTE_ROWS, Journal, open_journal
from meter.passes import summarise
from tests.journal.rows import Clock, any_rows, heard_rows, parts, rows_of, start


def journal_in_memory(clock=None):
    return Journal(in_memory(), "memory", clock=clock or Clock())


def everything_in(journal):
    """All tables but the note of what was deleted, row by row."""
    tables = [row[0] for row in journal.rows_of("SELECT name FROM sqlite_master WHERE type = 'table'")]
    tables = [name for name in tables if name not in ("deletions", "sqlite_sequence")]
    return {name: journal.rows_of(f"SELECT * FROM {name} ORDER BY 1, 2") for name in tables}


@settings(max_examples=25)
@given(seed=st.integers(0, 2**32 - 1), counts=parts)
def test_rows_come_out_bit_for_bit_in_whatever_parts_they_went_in(seed, counts):
    rows = any_rows(seed, sum(counts))
    with journal_in_memory() as journal:
        number = journal.begin_pass(start())
        for part in np.split(rows, np.cumsum(counts)[:-1]):
            journal.add_rows(number, part)
        assert journal.rows(number).tobytes() == rows.tobytes()
        kept = journal.kept_pass(number)
        assert kept.soundings == len(rows)
        assert kept.seconds == pytest.approx(rows["frames"].sum(dtype=np.int64) / kept.start.rate_hz)


def test_a_pass_keeps_all_that_was_known_when_it_began():
    begun = start(weights=(1.0, 1.41), crossover_hz=90.5, over_limit_dbtp=-0.3, name="Lïne \N{BELL}")
    with journal_in_memory() as journal:
        assert journal.kept_pass(journal.begin_pass(begun)).start == begun


def test_a_name_that_cannot_be_written_is_made_plain():
    with journal_in_memory() as journal:
        kept = journal.kept_pass(journal.begin_pass(start(spec="device:\udcff", name="a\udcffb")))
        assert (kept.start.spec, kept.start.name) == ("device:?", "a?b")


@settings(max_examples=25)
@given(share=st.floats(0.0, 1.0))
def test_after_a_kill_at_any_byte_a_pass_is_the_beginning_of_what_was_heard(share, killed_journal):
    folder, rows = killed_journal
    with tempfile.TemporaryDirectory() as name:
        shutil.copy(folder / "journal.db", name)
        log = (folder / "journal.db-wal").read_bytes()
        (Path(name) / "journal.db-wal").write_bytes(log[: round(share * len(log))])
        with open_journal(Path(name)) as journal:
            assert journal.notes == []
            for kept in journal.passes():
                there = journal.rows(kept.number)
                assert there.tobytes() == rows[: len(there)].tobytes()
                assert kept.soundings == len(there)
                assert share < 1.0 or len(there) == len(rows)


@pytest.fixture(scope="module")
def killed_journal(tmp_path_factory):
    """The files of a journal to which was written, second by second, and that was never closed; what was."""
    folder, killed = tmp_path_factory.mktemp("running"), tmp_path_factory.mktemp("killed")
    open_journal(folder).close()
    rows = any_rows(5, 700)
    with open_journal(folder) as journal:
        number = journal.begin_pass(start())
        for at in range(0, 700, 10):
            journal.add_rows(number, rows[at : at + 10])
        for path in folder.iterdir():
            shutil.copy(path, killed)
    assert (killed / "journal.db-wal").stat().st_size > 1e5
    return killed, rows


def test_seconds_are_joined_to_minutes():
    rows = heard_rows(130.0)
    with journal_in_memory() as journal:
        number = journal.begin_pass(start())
        for part in np.split(rows, range(10, len(rows), 10)):
            journal.add_rows(number, part)
            lengths = [row[0] for row in journal.rows_of("SELECT rows FROM soundings")]
            assert sum(length < MINUTE_ROWS for length in lengths) < 60
        journal.end_pass(number, summary_of(journal, journal.kept_pass(number)))
        lengths = [row[0] for row in journal.rows_of("SELECT rows FROM soundings ORDER BY first_row")]
        assert lengths == [600, 600, len(rows) - 1200]
        assert journal.rows(number).tobytes() == rows.tobytes()


def test_a_kept_pass_has_the_numbers_of_its_soundings():
    rows = heard_rows(40.0)
    expected = summarise(rows, rate_hz=8000, channels=2)
    with journal_in_memory() as journal:
        number = journal.begin_pass(start())
        journal.add_rows(number, rows, withheld_rows=7)
        kept = journal.kept_pass(number)
        assert summary_of(journal, kept) == expected
        assert kept.integrated_lufs is None
        journal.end_pass(number, expected)
        kept = journal.kept_pass(number)
        assert (kept.integrated_lufs, kept.loudest_30s_lufs, kept.true_peak_dbtp) == (
            expected.integrated_lufs,
            expected.loudest_30s_lufs,
            expected.true_peak_dbtp,
        )
        assert live_pass_of(journal, kept).withheld_rows == 7


def test_silence_stays_silence_and_not_yet_stays_not_yet():
    with journal_in_memory() as journal:
        for rows in (rows_of(np.zeros((8000, 2))), heard_rows(0.2)):
            number = journal.begin_pass(start())
            journal.add_rows(number, rows)
            journal.end_pass(number, summary_of(journal, journal.kept_pass(number)))
        silent, short = journal.passes()
        assert silent.integrated_lufs == -math.inf
        assert short.integrated_lufs is None


def test_findings_come_out_in_their_order():
    found = [
        KeptFinding(kind="over", at_s=3.5, severity=0.25, text="2 overs", until_s=4.0, amount=0.5, unit="dB"),
        KeptFinding(kind="silence", at_s=1.0, severity=2.0, text="silence"),
    ]
    with journal_in_memory() as journal:
        number = journal.begin_pass(start())
        journal.end_pass(number, summarise(heard_rows(1.0), rate_hz=8000, channels=2), found)
        assert list(journal.findings(number)) == found


def test_what_is_wrong_in_a_pass_is_found_again_and_has_ended():
    sound = np.random.default_rng(3).standard_normal((8000 * 12, 1)) * 0.1
    from scipy import signal

    low = signal.sosfilt(signal.butter(4, 100, fs=8000, output="sos"), sound, axis=0)
    rows = rows_of(np.hstack([sound + 3 * low, sound - 3 * low]))
    with journal_in_memory() as journal:
        number = journal.begin_pass(start())
        journal.add_rows(number, rows)
        found = findings_in(live_pass_of(journal, journal.kept_pass(number)))
    assert [one.kind for one in found] == ["lost in mono"]
    assert "from 0:00.0 to 0:12" in found[0].text
    assert "so far" not in found[0].text


# --- deleting


def test_what_was_deleted_comes_back_exactly_last_first():
    clock = Clock()
    with journal_in_memory(clock) as journal:
        for seed in range(4):
            number = journal.begin_pass(start(began_unix_s=float(seed)))
            journal.add_rows(number, heard_rows(3.0, seed=seed))
            journal.end_pass(number, summary_of(journal, journal.kept_pass(number)))
        before, listed = everything_in(journal), journal.passes()
        journal.delete([2, 3])
        journal.delete([1])
        assert [kept.number for kept in journal.passes()] == [4]
        assert journal.undo() == [1]
        assert [kept.number for kept in journal.passes()] == [1, 4]
        assert journal.undo() == [2, 3]
        assert journal.undo() == []
        assert journal.passes() == listed
        assert everything_in(journal) == before


@settings(max_examples=20)
@given(chosen=st.lists(st.sets(st.integers(1, 5), min_size=1), max_size=4))
def test_as_many_undos_as_deletions_bring_back_everything(chosen):
    with journal_in_memory() as journal:
        for seed in range(5):
            journal.add_rows(journal.begin_pass(start()), any_rows(seed, 12))
        before, done = everything_in(journal), 0
        for numbers in chosen:
            there = {kept.number for kept in journal.passes()}
            if numbers <= there:
                journal.delete(sorted(numbers))
                done += 1
            else:
                with pytest.raises(UsageError, match="there is no pass"):
                    journal.delete(sorted(numbers))
                assert {kept.number for kept in journal.passes()} == there
        for _ in range(done):
            assert journal.undo()
        assert everything_in(journal) == before


def test_after_a_week_what_was_deleted_is_gone_and_the_rest_is_not(tmp_path):
    clock = Clock()
    with open_journal(tmp_path, clock=clock) as journal:
        for seed in range(2):
            journal.add_rows(journal.begin_pass(start()), any_rows(seed, 600))
        journal.delete([1])
    clock.now_s += DAYS_TO_UNDO * 86_400 - 1
    with open_journal(tmp_path, clock=clock) as journal:
        assert journal.undo() == [1]
        journal.delete([1])
        clock.now_s += DAYS_TO_UNDO * 86_400 + 1
        pages = journal.rows_of("PRAGMA page_count")[0][0]
        assert journal.undo() == []
    with open_journal(tmp_path, clock=clock) as journal:
        assert journal.rows_of("SELECT id FROM passes") == [(2,)]
        assert {row[0] for row in journal.rows_of("SELECT pass FROM soundings")} == {2}
        assert journal.rows_of("PRAGMA page_count")[0][0] < pages - 10
        assert journal.rows_of("PRAGMA freelist_count") == [(0,)]
        assert journal.begin_pass(start()) == 3


def test_a_number_is_never_given_twice():
    with journal_in_memory(clock := Clock()) as journal:
        journal.begin_pass(start())
        journal.delete([1])
        clock.now_s += (DAYS_TO_UNDO + 1) * 86_400
        journal.tidy()
        assert journal.begin_pass(start()) == 2


# --- broken off


def test_a_pass_that_was_broken_off_gets_its_numbers_and_one_that_is_heard_does_not():
    clock, rows = Clock(), heard_rows(5.0)
    with journal_in_memory(clock) as journal:
        journal.add_rows(journal.begin_pass(start()), rows)
        clock.now_s += 60.0
        journal.add_rows(journal.begin_pass(start()), rows)
        assert [journal.is_still_heard(kept) for kept in journal.passes()] == [False, True]
        assert end_abandoned(journal) == [
            "pass 1 was broken off; it is closed with the 0:00:05 that were written until then"
        ]
        first, second = journal.passes()
        assert first.is_ended
        assert first.is_broken_off
        assert first.integrated_lufs == summarise(rows, rate_hz=8000, channels=2).integrated_lufs
        assert not second.is_ended


def test_a_pass_that_was_broken_off_before_its_first_sounding_is_no_trouble():
    clock = Clock()
    with journal_in_memory(clock) as journal:
        journal.begin_pass(start())
        clock.now_s += 60.0
        assert len(end_abandoned(journal)) == 1
        (kept,) = journal.passes()
        assert (kept.is_ended, kept.seconds, kept.integrated_lufs) == (True, 0.0, None)


def test_damaged_soundings_are_one_sentence():
    with journal_in_memory() as journal:
        number = journal.begin_pass(start())
        journal.add_rows(number, any_rows(1, 30))
        journal.rows_of("UPDATE soundings SET data = x'00ff'")
        with pytest.raises(JournalError, match="the soundings of pass 1 are damaged; delete the pass"):
            journal.rows(number)
