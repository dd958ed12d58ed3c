"""Many files: the table, the trims, and the table for a spreadsheet."""

import csv
import errno
import json
import math
import os

import pytest

from meter.check import Checked, Failed, Options
from meter.check_csv import CsvFile
from meter.check_json import file_object
from meter.check_table import median_loudest_lufs, table, trim_db
from meter.errors import OutputError
from meter.target_file import shipped_targets
from meter.targets import judge
from tests.support.summaries import a_summary

CLUB = shipped_targets()["club"]


def checked(name="night.wav", target=None, notes=(), **changed):
    summary = a_summary(**changed)
    return Checked(
        name=name,
        kind="WAV, 16 bit",
        channels_text="stereo",
        summary=summary,
        options=Options(target=target),
        verdicts={} if target is None else judge(target, summary),
        notes=notes,
    )


def crate(target=None):
    """Loudest 30 s of -6.5, -9.0, silence, -7.25 and too short; one file cannot be read."""
    return [
        checked("crate/a.wav", target),
        checked("crate/in/b.flac", target, loudest_30s_lufs=-9.0, notes=("it was found in a drawer",)),
        checked("crate/c.wav", target, loudest_30s_lufs=-math.inf),
        Failed(name="crate/d.wav", message="crate/d.wav: gone"),
        checked("crate/e.wav", target, loudest_30s_lufs=-7.25, true_peak_dbtp=0.04),
        checked("crate/f.wav", target, loudest_30s_lufs=None, loudness_range_lu=None),
    ]


def test_the_trim_brings_each_to_the_median():
    """Median of -6.5, -9.0, -7.25: -7.25. A file without a loudest 30 s has no trim, and no say in it."""
    results = crate()
    assert median_loudest_lufs(results) == -7.25
    assert [trim_db(result, -7.25) for result in results] == [-0.75, 1.75, None, None, 0.0, None]
    assert median_loudest_lufs([results[2], results[3]]) is None


def test_a_mono_file_is_trimmed_as_it_is_heard_on_two_speakers():
    """Both speakers play it: twice the power, +3.01 LU. ITU-R BS.1770-5, Annex 1; CALC."""
    results = [
        checked("a.wav", loudest_30s_lufs=-9.0),
        checked("b.wav", loudest_30s_lufs=-12.0103, channels=1, correlation=None),
        checked("c.wav", loudest_30s_lufs=-9.0),
    ]
    assert trim_db(results[1], median_loudest_lufs(results)) == pytest.approx(0.0, abs=1e-4)
    assert "mono files: trimmed as played on two speakers, 3.01 LU louder than shown" in table(results)
    assert "two speakers" not in table(results[::2])


def test_a_table_has_a_line_for_each_file_that_was_read():
    assert table(crate()) == (
        "in crate/\n"
        "                    loudest               all loudness     true  peak to  lost in\n"
        "                       30 s     trim    of it    range     peak loudness     mono\n"
        "            length     LUFS       dB     LUFS       LU     dBTP       LU       dB\n"
        "a.wav       4:00.0     -6.5     -0.8     -8.4      6.1     -0.3      8.1     -0.4\n"
        "in/b.flac   4:00.0     -9.0     +1.8     -8.4      6.1     -0.3      8.1     -0.4\n"
        "c.wav       4:00.0       -∞       --     -8.4      6.1     -0.3      8.1     -0.4\n"
        "e.wav       4:00.0     -7.2      0.0     -8.4      6.1      0.0      8.1     -0.4\n"
        "f.wav       4:00.0    short       --     -8.4    short     -0.3      8.1     -0.4\n"
        "\n"
        "trim: the gain that brings the loudest 30 s to -7.2 LUFS, the median of these files; "
        "peaks rise with it\n"
        "lost in mono: below 120 Hz\n"
        "Note on in/b.flac: it was found in a drawer."
    )


def test_with_a_target_each_line_ends_with_what_it_misses():
    lines = table(crate(CLUB)).splitlines()
    assert lines[3].endswith("  Club")
    assert lines[4].endswith("  ✓ inside")
    assert lines[5].endswith("  ▼ not inside: the loudest 30 s is 1.0 LU under")
    assert lines[7].endswith("  +0.04      8.1     -0.4  ▲ not inside: the true peak is 0.04 dB over")


@pytest.mark.parametrize("columns", [76, 80, 90, 100])
def test_in_a_terminal_of_80_columns_no_line_breaks_and_no_number_is_missing(columns):
    results = [checked("x" * 40 + "1.wav"), *crate(CLUB), checked("y" * 40 + "2.wav")]
    wide, narrow = table(results).splitlines(), table(results, columns=columns).splitlines()
    assert max(len(line) for line in narrow) <= columns
    numbers = [word for line in wide for word in line.split() if word[-1].isdigit()]
    assert [word for line in narrow for word in line.split() if word[-1].isdigit()] == numbers
    assert "the loudest 30 s is 1.0 LU under" in " ".join(narrow)
    assert sum(line.split()[0].endswith(("1.wav", "2.wav")) for line in narrow if line) == 2


def test_long_names_keep_their_ends():
    names = ["x" * 60 + "1.wav", "y" * 60 + "2.wav"]
    first, second = table([checked(name) for name in names]).splitlines()[3:5]
    assert first.startswith("…xxx")
    assert second[:34].endswith("yy2.wav")
    assert len(first) == len(second) == 34 + 8 * 9


# --- the table for a spreadsheet ------------------------------------------------------------


def rows_of(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_spreadsheet_holds_the_numbers_of_the_json_unrounded(tmp_path):
    results = crate(CLUB)
    CsvFile(str(tmp_path / "a.csv")).write(results)
    rows = rows_of(tmp_path / "a.csv")
    assert [row["path"] for row in rows] == [result.name for result in results]
    assert rows[3] | {"type": "error", "message": "crate/d.wav: gone"} == rows[3]
    made = file_object(results[1])
    for key, value in made.items():
        if isinstance(value, dict) and key != "why_null":
            for inner, one in value.items():
                assert rows[1][f"{key}.{inner}"] == ("" if one is None else str(one))
        elif isinstance(value, float):
            assert float(rows[1][key]) == value
    assert rows[1]["loudness_range_stable"] == "true"
    assert [row["trim_to_median_db"] for row in rows] == ["-0.75", "1.75", "", "", "0.0", ""]
    assert json.loads(rows[2]["why_null"])["loudest_30s_lufs"] == "silence"
    heading = (tmp_path / "a.csv").read_text().splitlines()[0].split(",")
    assert heading[:7] == list(made)[:7]
    assert heading[-1] == "message"


def test_any_name_can_stand_in_it(tmp_path):
    names = ['a,"b"\n.wav', "k\udcff.wav", "tür.wav"]
    CsvFile(str(tmp_path / "a.csv")).write([checked(name) for name in names])
    assert [row["path"] for row in rows_of(tmp_path / "a.csv")] == [names[0], "k\\udcff.wav", names[2]]


def test_the_file_appears_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_text("what was there before")
    file = CsvFile(str(path))

    def full(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"a\.csv: the table cannot be written.*\(No space left on dev"):
        file.write([checked()])
    assert path.read_text() == "what was there before"
    assert os.listdir(tmp_path) == ["a.csv"]


def test_nothing_is_left_behind_when_nothing_is_written(tmp_path):
    CsvFile(str(tmp_path / "a.csv")).discard()
    assert os.listdir(tmp_path) == []


def test_it_may_be_read_by_those_who_may_read_any_new_file(tmp_path):
    (tmp_path / "other").touch()
    CsvFile(str(tmp_path / "a.csv")).write([checked()])
    assert (tmp_path / "a.csv").stat().st_mode == (tmp_path / "other").stat().st_mode


def test_a_place_that_cannot_be_written_is_known_before_anything_is_measured(tmp_path, monkeypatch):
    def read_only(**_how):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    with pytest.raises(OutputError, match="this is a folder; name a file"):
        CsvFile(str(tmp_path))
    with pytest.raises(OutputError, match=r"\(No such file or directory\); choose another place with --csv"):
        CsvFile(str(tmp_path / "no" / "a.csv"))
    monkeypatch.setattr("tempfile.mkstemp", read_only)
    with pytest.raises(OutputError, match=r"\(Read-only file system\); choose another place with --csv"):
        CsvFile(str(tmp_path / "a.csv"))
