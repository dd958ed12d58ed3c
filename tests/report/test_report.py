"""A report holds what was measured, nothing from elsewhere, and writes over nothing else."""

from __future__ import annotations

import csv
import io
import json
import re
import time
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meter.chain import Chain
from meter.check import Options, check_file
from meter.cli import main
from meter.delivery.tables import CLIPS, PLAYS
from meter.file_pass import file_pass_of
from meter.journal.records import PassStart
from meter.journal.store import open_journal
from meter.report.drawing import _overs
from meter.report.material import material_of
from meter.report.page import page
from meter.report.rows import TITLES, in_short, number_rows, spoken, title_of
from meter.report.series import curves_of
from meter.set_lanes import file_set_flags
from meter.soundings import as_text_time
from meter.targets import MEASURES, Limit, Target
from meter.tunes.words import clock

RATE_HZ = 48_000


class Page(HTMLParser):
    """Tags that were opened and closed rightly, and all text."""

    VOID = ("meta", "path", "rect")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, text):
        if self.open[-1:] != ["style"]:
            self.words.append(text)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def music(seconds: float, *, opposite_from_s: float | None = None) -> np.ndarray:
    rng = np.random.default_rng(1)
    at_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    left = 0.3 * np.sin(2 * np.pi * 50 * at_s) + 0.05 * rng.standard_normal(len(at_s))
    right = left.copy()
    if opposite_from_s is not None:
        right[round(opposite_from_s * RATE_HZ) :] *= -1.0
    return np.stack([left, right], axis=1).astype(np.float32)


@pytest.fixture
def tune(tmp_path: Path) -> str:
    path = tmp_path / "a <tune> & more.wav"
    frames = music(12.0, opposite_from_s=6.0)
    frames[5 * RATE_HZ : 5 * RATE_HZ + 40] = 1.3
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    return str(path)


def written(to: Path, *arguments: str) -> str:
    assert main(["report", *arguments, "--to", str(to)]) == 0
    return to.read_text("utf-8")


def test_the_page_of_a_file_holds_its_numbers_verdicts_and_findings(tune, tmp_path, capsys):
    read = Page(written(tmp_path / "r.html", tune, "--target", "club"))
    checked = check_file(tune, Options(target=material_of(tune, target=None).target))
    assert "a <tune> & more.wav" in read.text
    assert f"{checked.summary.integrated_lufs:.1f} LUFS" in read.text
    assert "Held against Club: " in read.text
    assert "true peak over" in read.text
    assert "over" in read.text
    for finding in checked.findings[:1]:
        assert finding.text[:40] in read.text
    for word in ("not at anybody's ears", "law", "Ringing", "stop"):
        assert word in read.text
    assert "safe" not in read.text.lower()
    assert "r.html" in capsys.readouterr().out


def test_the_page_needs_nothing_from_elsewhere_and_runs_no_script(tune):
    text = page(material_of(tune, target=None))
    read = Page(text)
    assert not {"script", "link", "img", "iframe", "object", "embed"} & {tag for tag, _ in read.tags}
    addresses = [value for _, names in read.tags for name, value in names.items() if name in ("src", "href")]
    assert addresses == []
    assert "url(" not in text
    assert "@import" not in text
    assert not any(name.startswith("on") for _, names in read.tags for name in names)
    assert '<meta name="viewport" content="width=device-width' in text
    assert "prefers-color-scheme: dark" in text
    assert "@media print" in text


def test_every_lane_is_drawn_where_it_was_heard(tune):
    material = material_of(tune, target=None)
    curves = curves_of(material, columns=12)
    # From 9 s on every window of 3 s is opposite; up to 6 s none is.
    assert curves.correlation.low[3:6] == pytest.approx([1.0] * 3, abs=1e-3)
    assert curves.correlation.high[9:] == pytest.approx([-1.0] * 3, abs=1e-3)
    assert curves.lost_db.low[3:6] == pytest.approx([0.0] * 3, abs=0.01)
    assert curves.lost_db.high[9:] == pytest.approx([-60.0] * 3)
    assert curves.over_columns == (5,)
    assert np.nanargmax(curves.true_peak_dbtp.high) == 5
    assert curves.short_term_lufs.high[8] == pytest.approx(
        material.summary.short_term_max_lufs, abs=1.0
    )
    assert np.isnan(curves.short_term_lufs.high[:2]).all()  # no window of 3 s yet
    text = page(material)
    assert text.count('class="curve') == 4
    assert 'class="over"' in text


def test_the_table_has_a_line_a_second(tune, tmp_path):
    rows = list(csv.DictReader(io.StringIO(written(tmp_path / "r.csv", tune))))
    assert [row["at_s"] for row in rows] == [str(k) for k in range(12)]
    assert float(rows[10]["correlation"]) == pytest.approx(-1.0, abs=0.01)
    assert rows[0]["short_term_lufs"] == ""


def test_the_object_has_the_numbers_of_check(tune, tmp_path):
    made = json.loads(written(tmp_path / "r.json", tune, "--target", "club"))
    summary = check_file(tune, Options()).summary
    assert made["type"] == "report"
    assert made["integrated_lufs"] == pytest.approx(summary.integrated_lufs)
    assert made["overs"] == summary.overs > 0
    assert made["seconds_over"] >= 1
    assert made["findings"]


def test_time_over_and_peaks_are_written_as_the_window_writes_them(tmp_path):
    path = tmp_path / "short.wav"
    frames = music(2.5)
    frames[RATE_HZ : RATE_HZ + 40] = 1.3
    soundfile.write(path, frames, RATE_HZ, subtype="FLOAT")
    checked = check_file(str(path), Options(keep_soundings=True))
    of_window = file_set_flags(file_pass_of(checked).live_pass)["time_over"][0]
    shown = dict(number_rows(material_of(str(path), target=None)))
    assert shown["seconds with an over or a clipped wave"] == f"1 ({of_window.value_text} %)" == "1 (33 %)"
    assert shown["true peak"].startswith("+") and shown["sample peak"].startswith("+")


def kept_pass(
    *,
    is_set: bool,
    steps_db=(0.0,),
    seconds: float = 40.0,
    is_ended: bool = True,
    withheld_rows: int = 0,
    clock=lambda: 1_600_010_000.0,
) -> int:
    """A pass in the journal; of a set, with tunes of these levels."""
    with open_journal(clock=clock) as journal:
        start = PassStart(
            began_unix_s=1_600_000_000.0,
            spec="system",
            name="the desk",
            rate_hz=RATE_HZ,
            channels=2,
            weights=(1.0, 1.0),
            crossover_hz=120.0,
            over_limit_dbtp=0.0,
            is_set=is_set,
        )
        number = journal.begin_pass(start)
        chain = Chain(rate_hz=RATE_HZ, channels=2)
        parts = [10.0 ** (step / 20.0) * music(seconds) for step in steps_db]
        rows = [chain.process(part.astype(np.float32)) for part in parts]
        rows.append(chain.flush())
        journal.add_rows(number, np.concatenate(rows), withheld_rows=withheld_rows)
        if is_ended:
            journal.mark_ended(number)
    return number


def test_a_set_of_the_journal_has_its_tunes(tmp_path):
    number = kept_pass(is_set=True, steps_db=(-6.0, 0.0), seconds=100.0)
    read = Page(written(tmp_path / "set.html", str(number)))
    assert f"Set {number}" in read.text
    assert "Tunes" in read.text
    assert re.search(r"\+[56]\.\d", read.text), "the step between both"
    made = json.loads(written(tmp_path / "set.json", str(number)))
    assert len(made["tunes"]) == 2
    assert made["tunes"][1]["start_s"] == pytest.approx(100.0, abs=10.0)


def test_a_pass_of_the_journal_has_its_place_and_time(tmp_path):
    number = kept_pass(is_set=False, seconds=8.0)
    read = Page(written(tmp_path / "pass.html", str(number)))
    assert f"Pass {number}" in read.text
    assert "the desk" in read.text
    assert "2020-09-1" in read.text


def test_only_a_report_is_written_over(tune, tmp_path, capsys):
    for ending in ("html", "csv", "json"):
        to = tmp_path / f"r.{ending}"
        written(to, tune)
        written(to, tune)  # its own
        to.write_text("my own notes")
        assert main(["report", tune, "--to", str(to)]) == 2
        assert "is there and no report" in capsys.readouterr().err
        assert to.read_text() == "my own notes"
        assert main(["report", tune, "--to", str(to), "--force"]) == 0
    assert not [path for path in tmp_path.iterdir() if path.name.endswith(".new")]


@pytest.mark.parametrize(
    ("what", "to", "said"),
    [
        ("99", "r.html", "99"),
        ("nowhere.wav", "r.html", "is neither the number of a pass nor a file"),
        ("TUNE", "r.pdf", "expected a name that ends in .html, .json, .csv"),
        ("TUNE", "no/such/folder/r.html", "cannot be written"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence(tune, tmp_path, capsys, monkeypatch, what, to, said):
    monkeypatch.chdir(tmp_path)
    assert main(["report", tune if what == "TUNE" else what, "--to", to]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert said in captured.err
    assert len(captured.err.strip().splitlines()) == 1


def test_mono_and_silence_are_told_too(tmp_path):
    said = {}
    for name, frames in (("mono", music(4.0)[:, :1]), ("silent", np.zeros((RATE_HZ, 2), np.float32))):
        path = tmp_path / f"{name}.wav"
        soundfile.write(path, frames, RATE_HZ)
        said[name] = Page(written(tmp_path / f"{name}.html", str(path))).text
        assert "What was found" in said[name]
    assert "in mono" not in said["mono"]
    assert "correlation" not in said["mono"]
    assert "Nothing was over" in said["mono"]
    assert "All of it is silent." in said["silent"]


def test_encoders_and_playback_stand_on_the_page_when_they_are_asked_for(tmp_path):
    tune = str(tmp_path / "short.wav")
    frames = music(3.0, opposite_from_s=1.5)
    frames[RATE_HZ : RATE_HZ + 40] = 1.3
    soundfile.write(tune, frames, RATE_HZ, subtype="FLOAT")
    plain = Page(written(tmp_path / "plain.html", tune))
    assert CLIPS not in plain.text
    assert PLAYS not in plain.text
    arguments = ("--encode", "opus:128", "--playback", "all,-14")
    read = Page(written(tmp_path / "r.html", tune, *arguments))
    made = json.loads(written(tmp_path / "r.json", tune, *arguments))
    assert CLIPS in read.text
    assert [one["codec"] for one in made["encodes"]] == ["opus"]
    for one in made["encodes"]:
        assert f"{one['true_peak_dbtp']:+.1f} dBTP" in read.text
        assert f"{one['trim_db']:.1f} dB lower" in read.text
    assert "with these encoders at these rates" in read.text
    assert re.search(r"encoded as Opus 128 kb/s the true peak goes", read.text)
    assert sum("encoded as" in one["text"] for one in made["findings"]) == 1
    places = [one["at_s"] for one in made["findings"]]
    assert places == sorted(places)
    assert PLAYS in read.text
    assert [one["level"] for one in made["playback"]] == ["aes", "ebu", "replaygain", "-14"]
    for one in made["playback"]:
        assert f"{one['gain_db']:.1f} dB" in read.text
    assert "not levelled" in read.text


def test_what_could_not_be_tried_stands_on_the_page(tmp_path):
    path = tmp_path / "surround.wav"
    soundfile.write(path, np.zeros((RATE_HZ, 6)), RATE_HZ)
    arguments = (str(path), "--encode", "mp3:320", "--playback", "aes", "--no-turning-up")
    read = Page(written(tmp_path / "r.html", *arguments))
    assert "there are 6 channels, but the encoders are tried with mono and stereo" in read.text
    assert "could not be tried with any of the encoders" in read.text
    assert "It is silent, or too short to have a loudness" in read.text
    made = json.loads(written(tmp_path / "r.json", *arguments))
    assert (made["encodes"], made["playback"]) == ([], [])
    assert len(made["notes"]) == 1


def test_of_a_pass_of_the_journal_playback_is_told_and_encoders_are_refused(tmp_path, capsys):
    number = str(kept_pass(is_set=False, seconds=8.0))
    read = Page(written(tmp_path / "r.html", number, "--playback", "aes"))
    assert PLAYS in read.text
    assert "-16.0 LUFS" in read.text
    assert main(["report", number, "--to", str(tmp_path / "no.html"), "--encode", "mp3:320"]) == 2
    assert "of what was heard live no sound is kept" in capsys.readouterr().err
    assert not (tmp_path / "no.html").exists()


def test_wishes_that_cannot_be_meant_are_refused_before_anything_is_measured(tmp_path, tune, capsys):
    assert main(["report", tune, "--to", str(tmp_path / "no.html"), "--encode", "tape:15"]) == 2
    assert "expected an encoder and kb/s" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({"true_peak_dbtp": Limit(max=9.0)}, "Held against Own: every limit is kept."),
        ({"fold_loss_db.20-60": Limit(min=-0.1)}, "Held against Own: lost in mono, 20-60 Hz under."),
        ({"short_term_max_lufs": Limit(max=0.0)}, "Held against Own: highest short-term, 3 s not yet."),
    ],
)
def test_a_limit_of_any_measure_is_told_and_none_that_is_unknown_is_kept(tmp_path, limits, said):
    path = tmp_path / "short.wav"
    soundfile.write(path, music(2.0, opposite_from_s=0.0), RATE_HZ)
    target = Target(name="own", title="Own", source="made up", limits=limits)
    material = material_of(str(path), target=target)
    assert next(in_short(material)) == said
    (key,) = limits
    assert title_of(key) in dict(number_rows(material))
    assert set(map(title_of, MEASURES)) >= set(TITLES.values())


@pytest.mark.parametrize("seconds", [4.0, 30.0])
def test_the_line_of_a_short_pass_is_no_row_of_dots(tmp_path, seconds):
    """A column without a sounding would part it."""
    path = tmp_path / "short.wav"
    soundfile.write(path, music(seconds), RATE_HZ)
    (path_data,) = re.findall(r'class="curve b" d="([^"]*)"', written(tmp_path / "short.html", str(path)))
    assert path_data.count("M") == 1
    assert path_data.count("L") == round(10 * seconds) - 1


def test_overs_that_lie_close_are_one_bar():
    assert _overs([10.0]).count("M") == 1
    assert _overs([10.0, 12.0, 14.0, 30.0]).count("M") == 2
    assert 'M0.0 0H332.0' not in _overs([0.0, 330.0])
    assert _overs([]) == ""


def test_a_pass_that_goes_on_or_was_broken_off_says_so(tmp_path):
    """Nobody has to close it before."""
    going = kept_pass(is_set=True, is_ended=False, clock=time.time)
    broken = kept_pass(is_set=True, is_ended=False)
    read = Page(written(tmp_path / "a.html", str(going), "--target", "club"))
    assert "It is still being heard" in read.text
    assert "loudest 30 s not yet" in read.text, "it may become louder"
    read = Page(written(tmp_path / "b.html", str(broken)))
    assert "It was broken off, as by a crash" in read.text
    assert "still" not in read.text
    assert json.loads(written(tmp_path / "b.json", str(broken)))["broken_off"] is True


def test_through_a_system_volume_there_is_no_verdict_and_it_says_why(tmp_path):
    number = kept_pass(is_set=False, seconds=20.0, withheld_rows=75)
    read = Page(written(tmp_path / "r.html", str(number), "--target", "club"))
    assert "The system volume was not 0 dB for 8 s of it" in read.text
    assert json.loads(written(tmp_path / "r.json", str(number)))["withheld_s"] == 7.5
    assert "· inside" not in read.text
    assert "Held against" not in read.text


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.4, "0 s"), (59.4, "59 s"), (60.0, "1 min"), (200.0, "3 min 20 s"), (3720.0, "1 h 2 min")],
)
def test_durations_are_said_in_few_words(seconds, said):
    assert spoken(seconds) == said


def test_a_moment_after_an_hour_is_said_with_hours_in_the_table_and_in_sentences():
    assert [as_text_time(at_s) for at_s in (0.04, 59.96, 3599.94, 3599.96, 8034.5)] == [
        "0:00.0", "1:00.0", "59:59.9", "1:00:00.0", "2:13:54.5",
    ]  # fmt: skip
    assert clock(8034.5) == "2:13:54"
