"""Tunes as the user puts them right, kept in the journal, and as they are said."""

import json

import numpy as np
import pytest

from meter.cli import main
from meter.errors import UsageError
from meter.journal.store import open_journal
from meter.passes import weighted_powers
from meter.readings import LONG_ROWS
from meter.soundings import AFTER_GAP, SOUNDING
from meter.timeline import Timeline
from meter.tunes import listed
from meter.tunes.listed import Tune
from meter.tunes.loudness import short_term_by_second
from meter.tunes.store import PassTunes
from tests.journal.rows import heard_rows, live_pass, start

LUFS = np.concatenate([np.full(200, -8.0), np.full(200, -5.0), np.full(200, -5.2)])


def rows_at(lufs, rate_hz=8000):
    """Soundings, ten a second, of so much loudness."""
    rows = np.zeros(10 * len(lufs), SOUNDING)
    rows["frames"] = rate_hz // 10
    rows["start_frame"] = np.arange(len(rows)) * (rate_hz // 10)
    rows["k_power"][:, 0] = np.repeat(10 ** ((np.asarray(lufs) + 0.691) / 10), 10)
    return rows


def test_s_by_the_second_is_that_of_the_timeline_also_next_to_gaps():
    rows = heard_rows(40.0)
    rows["flags"][200] |= AFTER_GAP
    rows["start_frame"][200:] += 8000 * 7
    one = live_pass()
    one.add(rows, is_withheld=False)
    timeline = Timeline()
    timeline.append(rows, one)
    expected = timeline.values("short_term_lufs", 0, timeline.slots)[9::10]
    found = short_term_by_second(rows, rate_hz=8000, weights=(1.0, 1.0))
    assert len(found) == 47
    assert np.isnan(found[20:29]).all(), "seven seconds that were lost, and the first window behind them"
    np.testing.assert_allclose(found, expected[:47], atol=1e-3)
    assert len(weighted_powers(rows, (1.0, 1.0))) == len(rows) > LONG_ROWS


def test_a_tune_is_found_with_its_level_its_step_and_a_trim():
    tunes = listed.listed(listed.found_in(LUFS), LUFS, seconds=600.0)
    assert [(one.number, one.name, one.is_jump) for one in tunes] == [(1, "", False), (2, "", True)]
    first, second = tunes
    assert (first.start_s, first.stop_s, second.stop_s) == (0.0, second.start_s, 600.0)
    assert (first.level_lufs, first.size_db, first.trim_db) == (-8.0, None, None)
    assert second.start_s == pytest.approx(198.5, abs=1.0)
    assert second.level_lufs == pytest.approx(-5.0)
    assert second.size_db == pytest.approx(3.0)
    assert second.trim_db == pytest.approx(-3.0)


def test_a_stretch_that_is_a_breakdown_has_the_level_of_what_is_heard_of_it():
    lufs = LUFS.copy()
    lufs[80:120] = -17.0
    tunes = [Tune(start_s=0.0), Tune(start_s=84.0), Tune(start_s=110.0)]
    found = listed.listed(tunes, lufs, seconds=600.0)
    assert [one.level_lufs for one in found] == [-8.0, -17.0, pytest.approx(-5.0)]
    assert found[1].size_db is None


def test_tunes_are_named_moved_merged_and_split():
    tunes = (Tune(start_s=0.0), Tune(start_s=100.0, name="b"), Tune(start_s=200.0))
    assert listed.named(tunes, 3, "c")[2].name == "c"
    assert [one.start_s for one in listed.moved(tunes, 2, 150.0, seconds=300.0)] == [0.0, 150.0, 200.0]
    assert listed.merged(tunes, 1) == (Tune(start_s=0.0, name="b"), tunes[2])
    assert listed.merged(tunes, 2) == (tunes[0], tunes[1])
    assert listed.split(tunes, 250.0, seconds=300.0) == (*tunes, Tune(start_s=250.0))
    assert listed.split(tunes, 50.0, seconds=300.0)[1] == Tune(start_s=50.0)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda tunes: listed.named(tunes, 4, "x"), "tune 4 came, but there are 3 tunes"),
        (lambda tunes: listed.named(tunes[:1], 0, "x"), "tune 0 came, but there is one tune"),
        (lambda tunes: listed.moved(tunes, 1, 5.0, seconds=300.0), "tune 1 begins where the set does"),
        (lambda tunes: listed.moved(tunes, 2, 200.0, seconds=300.0), "between 0:00.0 and 3:20.0"),
        (lambda tunes: listed.merged(tunes, 3), "tune 3 is the last one"),
        (lambda tunes: listed.split(tunes, 300.0, seconds=300.0), "5:00.0 came; expected a moment between"),
        (lambda tunes: listed.split(tunes, 100.0, seconds=300.0), "a tune begins at 1:40.0 already"),
    ],
)
def test_what_cannot_be_is_one_sentence(change, sentence):
    tunes = (Tune(start_s=0.0), Tune(start_s=100.0, name="b"), Tune(start_s=200.0))
    with pytest.raises(UsageError, match=sentence):
        change(tunes)


@pytest.fixture
def kept():
    with open_journal() as journal:
        number = journal.begin_pass(start(is_set=True))
        journal.add_rows(number, rows_at(LUFS))
        journal.mark_ended(number)


def said(capsys, *arguments, status=0):
    assert main(["journal", "tunes", "1", *arguments]) == status
    captured = capsys.readouterr()
    return captured.out if status == 0 else captured.err


@pytest.mark.usefixtures("kept")
def test_the_command_lists_tunes_and_jumps_and_takes_each_change_back(capsys):
    found = said(capsys)
    assert found.splitlines()[0].split() == ["tune", "begins", "length", "level", "step", "name"]
    assert found.splitlines()[-1].startswith(
        "3:20  tune 2 comes in 3.0 dB louder than the one before ended: trim it down by 3.0 dB"
    )
    named = said(capsys, "name", "2", "deep end")
    assert "tune 2 (deep end) comes in 3.0 dB louder" in named
    assert len(said(capsys, "split", "6:40").splitlines()) == len(found.splitlines()) + 1
    assert " 6:41 " in said(capsys, "move", "3", "401")
    merged = said(capsys, "merge", "1")
    assert "deep end" in merged
    assert "comes in" not in merged
    for _ in range(3):
        said(capsys, "undo")
    assert said(capsys) == named
    assert said(capsys, "undo") == found
    assert said(capsys, "undo") == "there is nothing to take back: the tunes are as they were found\n"
    (first, second) = [json.loads(line) for line in said(capsys, "--json").splitlines()]
    assert first == {
        "type": "tune",
        "tune": 1,
        "start_s": 0.0,
        "stop_s": second["start_s"],
        "name": "",
        "level_lufs": pytest.approx(-8.0, abs=1e-3),
        "step_db": None,
        "is_jump": False,
        "trim_db": None,
    }
    assert second["trim_db"] == pytest.approx(-3.0, abs=1e-3)


@pytest.mark.usefixtures("kept")
def test_a_change_that_cannot_be_changes_nothing(capsys):
    assert "tune 7 came, but there are 2 tunes" in said(capsys, "name", "7", "x", status=2)
    assert "the time 1:99 came; expected minutes and seconds" in said(capsys, "split", "1:99", status=2)
    with open_journal() as journal:
        assert journal.rows_of("SELECT * FROM tunes") == []


def test_a_pass_of_nothing_is_one_tune(capsys):
    with open_journal() as journal:
        journal.begin_pass(start())
        tunes = PassTunes(journal, journal.kept_pass(1)).listed()
    assert [(one.start_s, one.stop_s, one.level_lufs) for one in tunes] == [(0.0, 0.0, None)]
    assert "--" in said(capsys)
