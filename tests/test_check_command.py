"""`leadline check` over many files, from its arguments to what it prints and its exit status."""

import csv
import json
import os
import pty
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meter import cli
from meter.cli import main

ROOT = Path(__file__).resolve().parents[1]
RATE_HZ = 8_000

pytestmark = [
    pytest.mark.usefixtures("forked"),
    pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning"),
]


@pytest.fixture
def crate(tmp_path):
    """Three tunes of one second, 6 dB apart, a text that is none, and a picture."""
    folder = tmp_path / "crate"
    folder.mkdir()
    noise = np.random.default_rng(2).standard_normal((RATE_HZ, 2))
    for name, gain in (("a.wav", 0.02), ("b.wav", 0.04), ("c.wav", 0.08)):
        soundfile.write(folder / name, gain * noise, RATE_HZ, "FLOAT")
    (folder / "bad.wav").write_text("only words\n" * 9)
    (folder / "cover.jpg").touch()
    return folder


def test_a_folder_gives_a_table_with_trims(crate, capsys):
    assert main(["check", str(crate)]) == 2
    said = capsys.readouterr()
    rows = [line.split() for line in said.out.splitlines() if line.startswith(("a.", "b.", "c."))]
    assert [(row[0], row[3]) for row in rows] == [("a.wav", "+6.0"), ("b.wav", "0.0"), ("c.wav", "-6.0")]
    assert said.out.startswith(f"in {crate}{os.sep}\n")
    assert said.out.endswith("\n4 files; 1 could not be read.\n")
    assert said.err.splitlines()[0] == f"{crate}: left out 1 that are no audio"
    assert said.err.splitlines()[1].startswith(f"error: {crate / 'bad.wav'}: this is no audio file")


def test_all_numbers_go_to_a_spreadsheet_as_well(crate, tmp_path, capsys):
    assert main(["check", str(crate), "--json", "--csv", str(tmp_path / "a.csv")]) == 2
    made = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    with open(tmp_path / "a.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["path"] for row in rows] == [one["path"] for one in made]
    assert [row["integrated_lufs"] for row in rows] == [str(one.get("integrated_lufs", "")) for one in made]


def test_a_spreadsheet_alone_goes_to_standard_output(crate, capsys):
    assert main(["check", str(crate), "--csv", "-"]) == 2
    said = capsys.readouterr()
    rows = list(csv.DictReader(said.out.splitlines()))
    assert [Path(row["path"]).name for row in rows] == ["a.wav", "b.wav", "bad.wav", "c.wav"]
    assert [row["trim_to_median_db"][:4] for row in rows] == ["6.02", "0.0", "", "-6.0"]
    assert "error: " in said.err
    assert main(["check", str(crate), "--csv", "-", "--json"]) == 2
    (made,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert made["message"] == "--json and --csv - both go to standard output; name a file for the table"


def test_a_spreadsheet_that_cannot_be_written_is_one_sentence(crate, tmp_path, capsys):
    path = tmp_path / "no" / "a.csv"
    assert main(["check", str(crate), "--csv", str(path)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines()[-1].startswith(f"error: {path}: the table cannot be written")


def test_a_folder_without_audio_is_one_sentence(tmp_path, capsys):
    assert main(["check", str(tmp_path)]) == 2
    sentence = f"error: no audio file in {tmp_path}; name files, or a folder that has some\n"
    assert capsys.readouterr().err.endswith(sentence)


def test_a_part_is_taken_of_every_file(crate, capsys):
    names = [str(crate / name) for name in ("a.wav", "b.wav")]
    assert main(["check", *names, "--json", "--from", "0:00.25", "--to", "0.75"]) == 0
    made = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [(one["seconds"], one["from_s"], one["to_s"]) for one in made] == [(0.5, 0.25, 0.75)] * 2
    assert main(["check", *names, "--from", "2"]) == 2
    assert capsys.readouterr().err.count("--from 0:02.000 lies outside the file, which ends at 0:01.000") == 2
    assert main(["check", *names, "--from", "2", "--to", "1"]) == 2
    assert "expected an end behind the beginning" in capsys.readouterr().err


def test_one_thread_gives_the_same(crate, capsys):
    main(["check", str(crate)])
    expected = capsys.readouterr()
    main(["check", str(crate), "--one-thread"])
    assert capsys.readouterr() == expected


def test_ctrl_c_prints_what_is_done(crate, tmp_path):
    path = tmp_path / "long.wav"
    soundfile.write(path, np.zeros((1, 2)), 48_000, "PCM_16", format="RF64")
    data = bytearray(path.read_bytes())
    frames = 20 * 3600 * 48_000  # a hole that takes no room
    data[28:36] = (4 * frames).to_bytes(8, "little")
    path.write_bytes(data)
    os.truncate(path, len(data) - 4 + 4 * frames)
    screen, end = pty.openpty()
    names = [str(crate / "a.wav"), str(crate / "b.wav"), str(path)]
    process = subprocess.Popen(
        [sys.executable, "-m", "meter", "check", *names, "--csv", str(tmp_path / "a.csv")],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=end,
        text=True,
    )
    os.close(end)
    seen = b""
    while b"2 of 3 files" not in seen:
        seen += os.read(screen, 1000)
    process.send_signal(signal.SIGINT)
    out = process.stdout.read()
    try:
        while data := os.read(screen, 1000):
            seen += data
    except OSError:  # the other end is closed
        pass
    os.close(screen)
    process.stdout.close()
    assert process.wait() == cli.INTERRUPTED
    assert "stopped: 2 of 3 files were done.\n2 files." in out
    assert "\na.wav" in out
    assert b"Traceback" not in seen
    assert len((tmp_path / "a.csv").read_text().splitlines()) == 3


def test_a_downbeat_without_a_tempo_is_refused(capsys):
    assert main(["check", "a.wav", "--downbeat", "3"]) == 2
    assert "--downbeat 3 came without a tempo, but bars need one; name it too, such as --bpm 174" in (
        capsys.readouterr().err
    )


def test_a_wave_that_is_flat_just_under_full_scale_has_no_negative_zero(tmp_path, capsys):
    wave = np.clip(2.0 * np.sin(2 * np.pi * 50 / 48_000 * np.arange(96_000)), -0.9999, 0.9999)
    soundfile.write(tmp_path / "flat.wav", wave, 48_000, "FLOAT")
    assert main(["check", str(tmp_path / "flat.wav"), "--no-low-end"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "samples long, up to 0.0 dBFS" in text
