"""`leadline prove` as text, as JSON, and as an exit status."""

import io
import json
import math
import sys

import numpy as np
import pytest

from meter import prove
from meter.proof import Proof, judge, published_cases

CASES = {case.name: case for case in published_cases()}
INSIDE = judge(CASES["3341-12"], np.array([-22.9604, -22.9611]))
MISSED = judge(CASES["3341-16"], np.array([-6.9]))
SILENT = judge(CASES["2217 LFE alone (-24 file)"], np.array([-math.inf]))
NO_IDEAL = judge(CASES["3341-16 96 kHz"], np.array([-6.0]))
NOTHING = judge(CASES["3342-1"], np.array([math.nan]))


def made_of(*rows, reason=None):
    return Proof(rows=rows, seconds=1.25, no_second_opinion=reason)


def cells_of(text, name):
    """The cells of the one line that begins with the name of a row."""
    rows = [[cell.strip() for cell in line.split("  ") if cell.strip()] for line in text.splitlines()]
    (found,) = [cells for cells in rows if cells[:1] == [name]]
    return found


def test_the_table_has_a_line_a_row_under_the_name_of_its_document():
    lines = prove.render(made_of(INSIDE, MISSED, NOTHING)).splitlines()
    assert [line.split("  ")[0] for line in lines if line][:6] == [
        "case",
        "EBU Tech 3341 v4 (2023)",
        "3341-12",
        "3341-16",
        "EBU Tech 3342 v4 (2023)",
        "3342-1",
    ]


def test_a_line_says_what_is_expected_allowed_ideal_and_read():
    # The value read is the one of the two that lies further from the ideal.
    assert cells_of(prove.render(made_of(INSIDE)), "3341-12") == [
        "3341-12",
        "M at every look after 1 s",
        "-23.00",
        "-23.10 ... -22.90",
        "-22.960",
        "-22.961",
        "LUFS",
        "inside",
    ]


def test_a_miss_says_what_was_missed_and_the_last_lines_count_it():
    text = prove.render(made_of(INSIDE, MISSED))
    assert cells_of(text, "3341-16")[-3:] == ["-6.900", "dBTP", "missed: the limit"]
    assert "2 rows: 1 inside, 1 missed; 1.2 s." in text


def test_a_value_that_is_not_there_is_two_dashes_and_silence_is_written_out():
    text = prove.render(made_of(NOTHING, NO_IDEAL, SILENT))
    assert cells_of(text, "3342-1")[-4:] == ["10.000", "--", "LU", "missed: no reading"]
    assert cells_of(text, "3341-16 96 kHz")[-4:] == ["--", "-6.000", "dBTP", "inside"]
    assert cells_of(text, "2217 LFE alone (-24 file)").count("-inf") == 4


def test_an_empty_table_says_that_nothing_was_proved():
    assert "nothing was proved" in prove.render(made_of())


def test_a_second_opinion_that_was_not_run_is_said_under_the_table():
    text = prove.render(made_of(INSIDE, reason="pyloudnorm is not installed"))
    assert text.endswith("The second opinion was not run: pyloudnorm is not installed.")
    assert "second opinion" not in prove.render(made_of(INSIDE))


def test_a_json_row_carries_every_column_with_its_unit():
    first, last = prove.as_records(made_of(INSIDE))
    assert first == {
        "type": "proof",
        "case": "3341-12",
        "document": "EBU Tech 3341 v4 (2023)",
        "clause": "Table 1, case 12",
        "reads": "M at every look after 1 s",
        "sample_rate_hz": 48_000,
        "expected_lufs": -23.0,
        "limit_low_lufs": -23.1,
        "limit_high_lufs": -22.9,
        "ideal_lufs": -22.9604,
        "read_lufs": -22.9611,
        "read_lowest_lufs": -22.9611,
        "read_highest_lufs": -22.9604,
        "ideal_within_db": 0.02,
        "ideal_status": "CALC",
        "verdict": "inside",
        "missed": None,
        "why_null": {},
    }
    assert last == {
        "type": "proof_summary",
        "rows": 1,
        "missed": 0,
        "seconds": 1.25,
        "second_opinion_not_run": None,
    }


def test_a_null_in_json_has_its_reason():
    silent, no_ideal, nothing, _ = prove.as_records(made_of(SILENT, NO_IDEAL, NOTHING))
    assert silent["read_lufs"] is None
    assert set(silent["why_null"].values()) == {"silence"}
    assert no_ideal["why_null"] == {"ideal_dbtp": "does not apply"}
    assert nothing["why_null"] == dict.fromkeys(("read_lu", "read_lowest_lu", "read_highest_lu"), "not yet")


@pytest.mark.parametrize(
    ("made", "status"),
    [(made_of(INSIDE), 0), (made_of(INSIDE, MISSED), 1), (made_of(NOTHING), 1), (made_of(), 1)],
    ids=["inside", "a miss", "no reading", "no rows"],
)
@pytest.mark.parametrize("as_json", [False, True])
def test_the_exit_status_is_1_unless_there_are_rows_and_all_are_inside(
    monkeypatch, capsys, made, status, as_json
):
    monkeypatch.setattr(prove, "prove", lambda progress: made)
    assert prove.run(as_json) == status
    out, err = capsys.readouterr()
    assert err == ""
    if as_json:
        records = [json.loads(line) for line in out.splitlines()]
        assert [record["type"] for record in records] == ["proof"] * len(made.rows) + ["proof_summary"]
    else:
        assert out == prove.render(made) + "\n"


def test_progress_goes_to_a_terminal_only_and_is_wiped_away(monkeypatch, capsys):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    def proves(progress):
        progress(3, 80, "3341-2 M")
        return made_of(INSIDE)

    terminal = Terminal()
    monkeypatch.setattr(prove, "prove", proves)
    monkeypatch.setattr(sys, "stderr", terminal)
    assert prove.run(False) == 0
    assert "3 of 80: 3341-2 M" in terminal.getvalue()
    assert terminal.getvalue().endswith("\r\033[K")
    assert "3 of 80" not in capsys.readouterr().out
