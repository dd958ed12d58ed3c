"""`check --encode`: what it says, writes, and never touches."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meter.cli import main
from tests.delivery.test_encoded import loud

RATE_HZ = 48_000


@pytest.fixture
def master(tmp_path: Path) -> str:
    path = tmp_path / "master.wav"
    soundfile.write(path, loud(2.0, 4), RATE_HZ, subtype="PCM_24")
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


def test_a_wish_that_cannot_be_meant_is_one_sentence(capsys, master):
    status, out, err = run(capsys, "check", master, "--encode", "tape:15")
    assert (status, out) == (2, "")
    assert "expected an encoder and kb/s" in err


def test_no_command_writes_into_the_user_s_audio_files(capsys, master, tmp_path):
    """A promise of the README."""
    other = str(tmp_path / "other.wav")
    soundfile.write(other, loud(2.0, 4, clip=0.7), RATE_HZ)

    def marks() -> list[tuple[str, int]]:
        return [
            (hashlib.sha256(Path(name).read_bytes()).hexdigest(), Path(name).stat().st_mtime_ns)
            for name in (master, other)
        ]

    before = marks()
    for arguments in (
        ["check", master, other, "--playback", "all"],
        ["check", master, "--encode", "opus:128"],
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
