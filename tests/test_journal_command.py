"""`leadline journal` from its arguments to what it prints."""

import csv
import io
import json

import numpy as np
import pytest

from meter.cli import main
from meter.journal.opening import journal_path
from meter.journal.replay import findings_in, live_pass_of
from meter.journal.store import open_journal
from meter.passes import summarise
from meter.soundings import AFTER_GAP
from tests.journal.rows import heard_rows, start

LONG, SHORT = heard_rows(40.0), heard_rows(4.0, seed=2)


@pytest.fixture
def kept():
    """Two passes that have ended, the second one short, and one that was broken off."""
    with open_journal() as journal:
        for number, rows in enumerate((LONG, SHORT, LONG), 1):
            began = start(began_unix_s=1_700_000_000.0 + 600 * number, name="what the machine plays")
            journal.add_rows(journal.begin_pass(began), rows)
            if number < 3:
                live_pass = live_pass_of(journal, journal.kept_pass(number))
                journal.end_pass(number, live_pass.summary(), findings_in(live_pass))


def printed(capsys, *arguments, status=0):
    assert main(["journal", *arguments]) == status
    return capsys.readouterr().out


def objects(text):
    return [json.loads(line) for line in text.splitlines()]


def test_without_a_journal_it_says_what_will_be_there_and_makes_none(capsys):
    assert "nothing is in the journal yet; what the window and `leadline listen` hear live" in printed(capsys)
    assert not journal_path().exists()


@pytest.mark.usefixtures("kept")
def test_passes_are_listed_with_their_numbers_and_short_ones_only_when_asked_for(capsys):
    text = printed(capsys).splitlines()
    expected = summarise(LONG, rate_hz=8000, channels=2)
    assert text.pop() == f"kept in {journal_path()}, {journal_path().stat().st_size / 1e6:.1f} MB"
    assert [line.split()[0] for line in text[2:-1]] == ["1", "3"]
    for value in (expected.integrated_lufs, expected.loudest_30s_lufs):
        assert all(f"{value:.1f}" in line for line in text[2:-1])
    assert text[-1] == "there is one under 10 s more; `leadline journal list --all` lists them too"
    assert len(printed(capsys, "--all").splitlines()) == 6
    made = objects(printed(capsys, "--json"))
    assert [one["pass"] for one in made] == [1, 2, 3]
    assert made[0]["integrated_lufs"] == expected.integrated_lufs
    assert made[2]["integrated_lufs"] == expected.integrated_lufs
    assert made[0]["started"] == "2023-11-14T22:23:20+00:00"


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize("number", [1, 3])
def test_a_pass_is_shown_as_a_file_is_with_what_was_found(number, capsys):
    text = printed(capsys, "show", str(number), "--target", "club")
    assert text.startswith(f"pass {number}, 2023-11-1")
    assert "How loud?" in text
    assert "held against" in text
    assert "  What was found?\n    - " in text
    assert "are lost in mono" in text
    made = json.loads(printed(capsys, "show", str(number), "--json"))
    assert made["type"] == "summary"
    assert made["pass"] == number
    assert made["integrated_lufs"] == summarise(LONG, rate_hz=8000, channels=2).integrated_lufs
    found = made["findings"][0]
    assert found["text"] in " ".join(text.split())
    assert {"at_s", "until_s", "kind", "amount", "unit", "text"} <= found.keys()
    assert found["until_s"] > found["at_s"] >= 0.0
    assert found["unit"] == "dB"
    assert f"{abs(found['amount']):.1f} dB" in found["text"]


@pytest.mark.usefixtures("kept")
def test_an_export_has_every_sounding(capsys):
    made = objects(printed(capsys, "export", "2", "--json"))
    assert len(made) == len(SHORT)
    assert [one["at_s"] for one in made[:2]] == [0.1, 0.2]
    assert made[2]["momentary_lufs"] is None
    assert made[3]["momentary_lufs"] is not None
    assert made[28]["short_term_lufs"] is None
    power = SHORT["k_power"][5:35, :2].astype(float).sum(axis=1).mean()
    assert made[34]["short_term_lufs"] == pytest.approx(-0.691 + 10 * np.log10(power), abs=1e-3)
    peaks = 20 * np.log10(SHORT["true_peak"][7, :2].astype(float))
    assert made[7]["true_peak_dbtp"] == pytest.approx(peaks.tolist())
    table = list(csv.DictReader(io.StringIO(printed(capsys, "export", "2", "--csv"))))
    assert len(table) == len(SHORT)
    assert table[2]["momentary_lufs"] == ""
    for row, one in zip(table, made, strict=True):
        assert float(row["at_s"]) == one["at_s"]
        assert float(row["true_peak_dbtp.2"]) == pytest.approx(one["true_peak_dbtp"][1], abs=1e-3)
    lost = made[34]["fold_loss_3s_db"]["120-250"]
    assert float(table[34]["fold_loss_3s_db.120-250"]) == pytest.approx(lost, rel=1e-4)


def test_an_export_of_a_set_has_every_sounding_at_its_time_behind_a_gap_too(capsys):
    rows = heard_rows(12.0)
    rows["start_frame"][60:] += 8000 * 5
    rows["flags"][60] |= AFTER_GAP
    rows["overs"][60] = 3
    with open_journal() as journal:
        journal.add_rows(journal.begin_pass(start(is_set=True)), rows)
    made = objects(printed(capsys, "export", "1", "--json"))
    assert [made[at]["at_s"] for at in (59, 60, 119)] == pytest.approx([6.0, 11.1, 17.0])
    assert (made[59]["short_term_lufs"] is None, made[60]["short_term_lufs"]) == (False, None)
    assert [made[at]["overs"] for at in (59, 60, 61)] == [0, 3, 0]
    power = rows["k_power"][70:100, :2].astype(float).sum(axis=1).mean()
    assert made[99]["short_term_lufs"] == pytest.approx(-0.691 + 10 * np.log10(power), abs=1e-3)


@pytest.mark.usefixtures("kept")
def test_passes_are_deleted_and_brought_back(capsys):
    said = printed(capsys, "forget", "1", "3")
    assert said == "forgotten: passes 1, 3; for 7 days `leadline journal undo` brings it back\n"
    assert [one["pass"] for one in objects(printed(capsys, "--json"))] == [2]
    assert printed(capsys, "undo") == "back in the journal: passes 1, 3\n"
    assert printed(capsys, "undo") == "there is nothing to bring back\n"
    assert len(objects(printed(capsys, "--json"))) == 3


@pytest.mark.usefixtures("kept")
def test_what_is_deleted_for_good_makes_room_and_does_not_come_back(capsys):
    before = journal_path().stat().st_size
    printed(capsys, "forget", "1")
    assert printed(capsys, "forget", "1", "3", "--for-good") == "gone for good: passes 1, 3\n"
    assert journal_path().stat().st_size < before - 40_000
    printed(capsys, "undo")
    assert [one["pass"] for one in objects(printed(capsys, "--json"))] == [2]
    assert main(["journal", "forget", "2", "9", "--for-good"]) == 2
    assert [one["pass"] for one in objects(printed(capsys, "--json"))] == [2]


@pytest.mark.usefixtures("kept")
def test_what_was_deleted_for_good_does_not_stand_in_the_way_of_an_undo(capsys):
    for arguments in (["1"], ["2"], ["2", "--for-good"]):
        printed(capsys, "forget", *arguments)
    assert printed(capsys, "undo") == "back in the journal: pass 1\n"
    assert printed(capsys, "undo") == "there is nothing to bring back\n"


@pytest.mark.usefixtures("kept")
def test_a_damaged_pass_is_listed_and_can_be_deleted(capsys):
    with open_journal() as journal:
        journal.rows_of("UPDATE soundings SET data = x'00' WHERE pass = 3")
    made = objects(printed(capsys, "--json"))
    assert [one["integrated_lufs"] is None for one in made] == [False, False, True]
    assert "the soundings of pass 3 are damaged; delete the pass" in printed_error(capsys, "show", "3")
    printed(capsys, "forget", "3")
    assert len(objects(printed(capsys, "--json"))) == 2


@pytest.mark.usefixtures("kept")
def test_a_pass_is_put_on_the_shelf(capsys):
    assert "kept as 'opener'" in printed(capsys, "keep", "1", "--name", "opener")
    assert main(["shelf"]) == 0
    assert "heard live, no spectrum" in capsys.readouterr().out


@pytest.mark.usefixtures("kept")
def test_a_pass_is_compared_with_the_shelf(capsys):
    assert "there is no reference on the shelf" in printed_error(capsys, "compare", "1")
    printed(capsys, "keep", "1", "--name", "opener")
    assert 'pass 3 against "opener", equally loud' in printed(capsys, "compare", "3")
    made = json.loads(printed(capsys, "compare", "2", "--with", "opener", "--json"))
    assert made["bands"] == []
    assert abs(made["trim_db"]) < 1.0


def printed_error(capsys, *arguments):
    assert main(["journal", *arguments]) == 2
    return capsys.readouterr().err


def test_a_number_beyond_all_numbers_is_no_pass(capsys):
    for number in ("0", "99999999999999999999999"):
        assert f"there is no pass {number} in the journal" in printed_error(capsys, "show", number)


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    "arguments", [["show", "9"], ["forget", "1", "9"], ["export", "9", "--csv"], ["keep", "9"]]
)
def test_a_pass_that_is_not_there_is_one_sentence(arguments, capsys):
    assert main(["journal", *arguments]) == 2
    said = capsys.readouterr()
    assert said.err == "error: there is no pass 9 in the journal; `leadline journal list --all` lists them\n"
    assert main(["journal", "--json"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == 3


def test_what_was_set_aside_is_said(capsys):
    journal_path().write_bytes(b"what is this?" * 100)
    assert main(["journal"]) == 0
    said = capsys.readouterr()
    assert "cannot be read as a journal; it is kept as journal-set-aside-" in said.err
    assert "nothing is in the journal yet" in said.out


def test_help_says_what_is_kept_and_for_how_long(capsys):
    assert main(["journal", "--help"]) == 0
    said = capsys.readouterr().out
    assert "never audio" in said
    assert "7 days" in said
    assert "demo is not kept" in said
