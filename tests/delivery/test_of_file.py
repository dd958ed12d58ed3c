"""`check --encode`: what it says, writes, and never touches."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meter.check import Options
from meter.check_part import Part
from meter.check_run import RunProgress, check_all
from meter.cli import main
from meter.delivery.codecs import wishes_from
from meter.delivery.encoded import Encoded
from meter.delivery.of_file import encodes_of
from meter.delivery.tables import ceiling_text, encode_cells
from meter.delivery.words import encode_findings, encode_lines
from meter.files import open_audio
from meter.soundings import Over
from tests.delivery.test_encoded import loud

RATE_HZ = 48_000


@pytest.fixture
def master(tmp_path: Path) -> str:
    path = tmp_path / "master.wav"
    soundfile.write(path, loud(1.0, 4), RATE_HZ, subtype="PCM_24")
    return str(path)


def run(capsys, *arguments):
    status = main([*arguments])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def test_overs_are_told_with_their_places_and_the_trim(capsys, master):
    status, out, _ = run(capsys, "check", master, "--encode", "opus:128", "--json", "--no-low-end")
    made = json.loads(out)
    assert status == 0
    (one,) = made["encodes"]
    assert (one["codec"], one["kbps"]) == ("opus", 128)
    assert one["overs"] > 0
    assert one["true_peak_dbtp"] > 0.0
    assert one["trim_db"] > 0.0
    assert all(0.0 <= place["at_s"] <= 2.1 for place in one["places"])
    finding = next(each for each in made["findings"] if each["kind"] == "over once encoded")
    assert finding["unit"] == "dB"
    assert finding["amount"] == pytest.approx(one["true_peak_dbtp"], abs=0.001)
    status, out, _ = run(capsys, "check", master, "--encode", "opus:128", "--no-low-end")
    assert "Will it clip once encoded?" in out
    assert f"{one['trim_db']:.1f} dB lower keeps under it" in out
    assert "what a service does to a file is not known here" in out


def test_the_ceiling_is_that_of_the_target(capsys, master):
    arguments = ("check", master, "--encode", "opus:128", "--json", "--no-low-end", "--target", "ebu-r128")
    (one,) = json.loads(run(capsys, *arguments)[1])["encodes"]
    assert one["ceiling_dbtp"] == -1.0


def test_a_file_that_cannot_be_encoded_is_still_measured(capsys, tmp_path):
    path = tmp_path / "surround.wav"
    soundfile.write(path, np.zeros((RATE_HZ, 6)), RATE_HZ)
    status, out, _ = run(capsys, "check", str(path), "--encode", "aac:256,mp3:320", "--no-low-end")
    assert status == 0
    assert "there are 6 channels, but the encoders are tried with mono and stereo" in " ".join(out.split())


def test_two_encoders_side_by_side_say_the_same_as_one_after_the_other(capsys, master):
    arguments = ("check", master, "--encode", "aac:256,mp3:320,opus:128", "--json", "--no-low-end")
    beside, alone = (json.loads(run(capsys, *arguments, *more)[1]) for more in ((), ("--one-thread",)))
    assert beside["encodes"] == alone["encodes"]
    assert [one["codec"] for one in beside["encodes"]] == ["aac", "mp3", "opus"]


def test_places_are_those_of_the_file_also_of_a_part(capsys, tmp_path):
    path = str(tmp_path / "late.wav")
    soundfile.write(path, np.concatenate([loud(30.0, 4, clip=0.2), loud(2.0, 4)]), RATE_HZ)
    arguments = ("check", path, "--from", "29", "--encode", "opus:128", "--no-low-end")
    text = run(capsys, *arguments)[1]
    assert "highest at 0:3" in text
    (one,) = json.loads(run(capsys, *arguments, "--json")[1])["encodes"]
    assert all(30.0 <= place["at_s"] <= 32.1 for place in one["places"])


@pytest.mark.parametrize(
    ("seconds", "rate_hz", "channels", "said"),
    [(0.05, RATE_HZ, 2, "it is 0.05 s long"), (901.0, 8_000, 1, "it is 15:01 long"),
     (1.0, RATE_HZ, 6, "there are 6 channels")],
)  # fmt: skip
def test_what_is_not_tried_with_encoders_is_said_unread(tmp_path, seconds, rate_hz, channels, said):
    path = tmp_path / "odd.wav"
    soundfile.write(path, np.zeros((round(seconds * rate_hz), channels), np.int16), rate_hz)
    with open_audio(path) as audio:
        done, notes = encodes_of(
            audio, Part(), wishes_from("mp3:320,opus:128"), ceiling_dbtp=0.0, integrated_lufs=None
        )
        assert audio.frames_read == 0
    assert done == []
    (note,) = notes
    assert said in note


@pytest.mark.parametrize(("rate_hz", "channels"), [(96_000, 2), (44_100, 1)])
def test_high_rates_and_mono_are_encoded_at_a_rate_that_the_encoder_takes(tmp_path, rate_hz, channels):
    path = tmp_path / "odd.flac"
    soundfile.write(path, loud(1.0, 3, clip=0.5, rate_hz=rate_hz)[:, :channels], rate_hz)
    with open_audio(path) as audio:
        done, notes = encodes_of(
            audio, Part(), wishes_from("aac:256,opus:128"), ceiling_dbtp=0.0, integrated_lufs=None
        )
    assert notes == []
    assert [one.rate_hz for one in done] == [48_000 if rate_hz > 48_000 else rate_hz, 48_000]


def test_the_run_tells_which_encoders_are_at_work(master):
    told: list[RunProgress] = []
    options = Options(encodes=wishes_from("opus:128,mp3:320"))
    list(check_all([master], options, workers=0, progress=told.append))
    assert any("Opus 128 kb/s" in one.doing and "MP3 320 kb/s" in one.doing for one in told)
    shares = [one.share for one in told]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_of_many_files_each_is_told_under_its_name(capsys, master, tmp_path):
    quiet = str(tmp_path / "quiet.wav")
    soundfile.write(quiet, loud(1.0, 4, clip=0.2), RATE_HZ)
    status, out, _ = run(capsys, "check", master, quiet, "--encode", "opus:128", "--no-low-end")
    lines = out.splitlines()
    begin = lines.index("Will they clip once encoded?")
    assert (status, lines[begin + 1]) == (0, f"  {master}")
    assert "peak" in lines[begin + 2] and "lower keeps under it" in lines[begin + 3]
    assert lines[begin + 4] == f"  {quiet}"
    assert "under 0.0 dBTP" in lines[begin + 5]


def test_ctrl_c_ends_the_encoders(master):
    def stop(at: RunProgress) -> None:
        if at.doing:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(check_all([master], Options(encodes=wishes_from("opus:128,mp3:320")), workers=0, progress=stop))


def test_a_wish_that_cannot_be_meant_is_one_sentence(capsys, master):
    status, out, err = run(capsys, "check", master, "--encode", "tape:15")
    assert (status, out) == (2, "")
    assert "expected an encoder and kb/s" in err


def test_no_command_writes_into_the_user_s_audio_files(capsys, master, tmp_path):
    """A promise of the README."""
    other = str(tmp_path / "other.wav")
    soundfile.write(other, loud(1.0, 4, clip=0.7), RATE_HZ)

    def marks() -> list[tuple[str, int]]:
        return [
            (hashlib.sha256(Path(name).read_bytes()).hexdigest(), Path(name).stat().st_mtime_ns)
            for name in (master, other)
        ]

    before = marks()
    for arguments in (
        ["check", master, other, "--playback", "all"],
        ["check", master, "--encode", "opus:128"],
        ["report", master, "--to", str(tmp_path / "page.html"), "--encode", "opus:128", "--playback", "all"],
        ["check", str(tmp_path), "--csv", str(tmp_path / "table.csv")],
        ["compare", other, master],
        ["together", master, other],
        ["shelf", "add", master],
        ["shelf", "compare", other],
        ["listen", "--source", f"file:{master}", "--seconds", "1"],
        ["listen", "--source", f"file:{master}", "--set", "--seconds", "1"],
    ):
        assert main(arguments) in (0, 2), arguments
        assert marks() == before, arguments
    capsys.readouterr()


def test_a_little_over_is_never_said_as_none_and_a_ceiling_never_rounded():
    (wish,) = wishes_from("aac:256")
    over = Over(at_s=2.0, until_s=2.1, peak_dbtp=-0.476, channel=0)
    one = Encoded(
        wish=wish,
        rate_hz=RATE_HZ,
        ceiling_dbtp=-0.5,
        true_peak_dbtp=-0.476,
        overs=(over,),
        over_count=1,
        integrated_change_lu=0.0,
        trim_db=0.1,
        bytes_a_second=32_000.0,
    )
    (finding,) = encode_findings([one])
    assert "the true peak goes 0.02 dB over -0.5 dBTP at 0:02.0, once in all" in finding.text
    assert encode_cells([one])[0][1] == "-0.48 dBTP"
    assert ceiling_text(-0.55).startswith("Held against -0.55 dBTP;")
    assert any("-0.48 dBTP  1 peak above -0.5 dBTP" in line for line in encode_lines([one]))
