"""Passes of the journal as the window draws them again."""

from __future__ import annotations

import numpy as np
import pytest

from meter import earlier
from meter.chain import Chain
from meter.errors import UsageError
from meter.journal.coarser import make_coarser
from meter.journal.records import PassStart
from meter.journal.replay import findings_in, known_findings, live_pass_of
from meter.journal.store import open_journal
from meter.passes import summarise
from meter.target_file import shipped_targets
from tests.support.sound import noise

CLUB = shipped_targets()["club"]


def keep(seconds: float = 20.0, *, began_unix_s: float = 1e9, level_dbfs: float = -20.0, **change) -> int:
    """A pass in the journal; its number."""
    chain = Chain(rate_hz=48_000, channels=2)
    sound = noise(seconds, seed=2, level_dbfs=level_dbfs)
    rows = np.concatenate([chain.process(sound), chain.flush()])
    start = PassStart(
        began_unix_s=began_unix_s,
        spec="system",
        name="what the system plays",
        rate_hz=48_000,
        channels=2,
        weights=(1.0, 1.0),
        crossover_hz=120.0,
        over_limit_dbtp=-1.0,
        **change,
    )
    with open_journal() as journal:
        number = journal.begin_pass(start)
        journal.add_rows(number, rows)
        summary = summarise(rows, rate_hz=48_000, channels=2, weights=(1.0, 1.0))
        journal.end_pass(number, summary)
    return number


def test_they_are_listed_newest_first_without_those_of_this_session_and_without_short_ones():
    first, second = keep(began_unix_s=1e9), keep(began_unix_s=2e9)
    keep(5.0, began_unix_s=1.5e9)
    assert [one.number for one in earlier.lines()] == [second, first]
    assert [one.number for one in earlier.lines(besides_from_s=1.9e9)] == [first]
    (line,) = earlier.lines(besides_from_s=1.9e9)
    assert line.numbers.startswith("0:20  I -")
    assert line.source == "what the system plays"


def test_drawn_again_it_has_the_numbers_the_timeline_and_the_findings_it_had():
    number = keep(level_dbfs=-3.0)
    file = earlier.drawn_again(number, CLUB)
    chain = Chain(rate_hz=48_000, channels=2)
    rows = np.concatenate([chain.process(noise(20.0, seed=2, level_dbfs=-3.0)), chain.flush()])
    again = summarise(rows, rate_hz=48_000, channels=2, weights=(1.0, 1.0))
    assert file.checked.summary.integrated_lufs == pytest.approx(again.integrated_lufs, abs=1e-4)
    assert file.checked.summary.true_peak_dbtp == pytest.approx(again.true_peak_dbtp, abs=1e-4)
    assert file.timeline.slots == 200
    assert file.findings, "it is far over the target's ceiling"
    assert "what the system plays" in file.title
    assert {one.pass_number for one in file.findings} == {1}
    without = file.against(None)
    assert without.checked.verdicts == {}
    assert without.against(CLUB).checked.verdicts == file.checked.verdicts
    assert [one.text for one in without.against(CLUB).findings] == [one.text for one in file.findings]


def test_one_that_is_not_there_is_one_sentence_and_what_was_forgotten_comes_back():
    number = keep()
    earlier.forget([number])
    assert earlier.lines() == []
    with pytest.raises(UsageError, match=f"{number}"):
        earlier.drawn_again(number, None)
    earlier.bring_back(number)
    assert [one.number for one in earlier.lines()] == [number]


def test_of_a_coarser_pass_what_was_found_when_it_was_heard_is_shown_whatever_the_target():
    number = keep(level_dbfs=-3.0)
    with open_journal() as journal:
        kept = journal.kept_pass(number)
        live_pass = live_pass_of(journal, kept)
        found = findings_in(live_pass, CLUB)
        journal.end_pass(number, live_pass.summary(), found)
        assert known_findings(journal, kept, live_pass, None) == findings_in(live_pass) != found
        assert earlier.drawn_again(number, None).findings != ()
        assert make_coarser(journal, kept)
        kept = journal.kept_pass(number)
        live_pass = live_pass_of(journal, kept)
        assert findings_in(live_pass, CLUB) != found, "in coarser rows it is found otherwise"
        assert known_findings(journal, kept, live_pass, None) == found
    file = earlier.drawn_again(number, None)
    for one in (file, file.against(CLUB)):
        assert [(f.kind, f.at_s, f.text, f.amount) for f in one.findings] == [
            (f.kind, f.at_s, f.text, f.amount) for f in sorted(found, key=lambda f: f.at_s)
        ]
    assert file.against(CLUB).checked.verdicts != {}
    assert all(0 <= f.first_slot < f.last_slot <= 200 for f in file.findings)
    (line,) = earlier.lines()
    assert line.note == "one row a second"


def test_what_is_brought_back_is_that_pass_whatever_was_deleted_since():
    first, second = keep(), keep(began_unix_s=1.1e9)
    earlier.forget([first])
    earlier.forget([second])
    earlier.bring_back(first)
    assert [one.number for one in earlier.lines()] == [first]
    earlier.bring_back(first)  # is there already
    assert [one.number for one in earlier.lines()] == [first]
