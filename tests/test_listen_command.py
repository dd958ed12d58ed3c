"""`leadline listen` as a program: arguments, a terminal, signals, a pipe that is closed."""

import fcntl
import io
import json
import os
import pty
import re
import signal
import struct
import subprocess
import sys
import termios
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meter import listen_command
from meter.check import Options as CheckOptions
from meter.check import check_file
from meter.cli import main

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def tune(tmp_path_factory):
    """Twenty seconds of noise."""
    path = tmp_path_factory.mktemp("tunes") / "tune.wav"
    sound = np.random.default_rng(1).standard_normal((20 * 48_000, 2)) * 0.1
    soundfile.write(path, sound, 48_000, subtype="FLOAT")
    return str(path)


def started(*arguments, **how):
    how = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True} | how
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", "TERM": "xterm"}
    return subprocess.Popen([sys.executable, "-m", "meter", *arguments], cwd=ROOT, env=environment, **how)


# --- arguments


def test_a_file_is_heard_and_measured_as_check_measures_it(tmp_path, capsys):
    path = tmp_path / "short.wav"
    soundfile.write(
        path, np.random.default_rng(2).standard_normal((48_000, 2)) * 0.05, 48_000, subtype="FLOAT"
    )
    assert main(["listen", "--source", f"file:{path}", "--target", "club", "--json"]) == 0
    summary = json.loads(capsys.readouterr().out.splitlines()[-1])
    expected = check_file(str(path), CheckOptions()).summary
    assert summary["type"] == "summary"
    assert summary["path"] == str(path)
    assert summary["integrated_lufs"] == expected.integrated_lufs
    assert summary["true_peak_dbtp"] == expected.true_peak_dbtp
    assert summary["target"] == "club"


def test_a_pair_and_a_crossover_are_handed_on(tmp_path, capsys):
    sound = np.zeros((24_000, 4))
    sound[:, 2:] = np.random.default_rng(2).standard_normal((24_000, 2)) * 0.05
    path = tmp_path / "four.wav"
    soundfile.write(path, sound, 48_000)
    arguments = ["--channels", "3,4", "--crossover", "90", "--seconds", "0.4"]
    assert main(["listen", "--source", f"file:{path}", *arguments]) == 0
    said = capsys.readouterr().out
    assert "0:00.4 · channels 3 and 4 · 48 kHz · played" in said
    assert "below 90 Hz" in said


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--seconds", "0"], "--seconds 0 came; expected a number above 0, such as --seconds 30"),
        (["--seconds", "nan"], "--seconds nan came; expected a number above 0"),
        (["--seconds", "inf"], "--seconds inf came; expected a number above 0"),
        (["--seconds", "ten"], "--seconds ten came; expected a number above 0"),
        (["--target", "clubb"], "clubb"),
        (["--crossover", "1"], "--crossover 1 came; expected a frequency of 40 to 300 Hz"),
        (["--channels", "1"], "--channels 1 came; expected two different channels"),
        (
            ["--source", "speakers"],
            '"speakers" came as the source; expected system, device:NAME, file:PATH or demo',
        ),
        (["--source", "file:gone.wav"], "gone.wav"),
        (["--mixer-zero", "-18"], "--mixer-zero came without --set"),
        (["--set", "--mixer-zero", "-50"], "--mixer-zero -50 came; expected -40 to 0 dBFS, such as"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence_and_status_2(arguments, message, capsys):
    assert main(["listen", *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert message in said.err
    assert said.err.startswith("error: ") and said.err.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "arguments", "zero_dbfs"),
    [
        (None, [], -18.0),
        ("mixer_zero_dbfs = -15.5\n", [], -15.5),
        ("mixer_zero_dbfs = -15.5\n", ["--mixer-zero", "-20"], -20.0),
        *((text, [], -18.0) for text in ("mixer_zero_dbfs = 3\n", "mixer_zero_dbfs = false\n", "no toml")),
    ],
)
def test_the_mixers_zero_is_that_of_the_window_unless_it_is_set(
    monkeypatch, leadline_home, text, arguments, zero_dbfs
):
    if text is not None:
        (leadline_home / "window.toml").write_text(text)
    asked = []
    monkeypatch.setattr(listen_command, "_listen", lambda spec, **how: asked.append(how["of_set"]) or 0)
    assert main(["listen", "--set", *arguments]) == 0
    assert [settings.mixer_zero_dbfs for settings in asked] == [zero_dbfs]


def test_a_problem_is_an_object_where_objects_are_asked_for(capsys):
    assert main(["listen", "--source", "file:gone.wav", "--json"]) == 2
    (only,) = capsys.readouterr().out.splitlines()
    assert json.loads(only)["type"] == "error"


def test_its_help_tells_the_sources_and_the_end(capsys):
    assert main(["listen", "--help"]) == 0
    said = capsys.readouterr().out
    assert "device:NAME" in said and "Ctrl-C ends it" in said and "exit status" in said


# --- the demo without a screen


def test_the_demo_is_listened_to_against_the_target_for_clubs(monkeypatch):
    asked = []
    monkeypatch.setattr(listen_command, "_listen", lambda spec, **how: asked.append((spec, how)) or 0)
    assert main(["demo", "--seconds", "3", "--json"]) == 0
    ((spec, how),) = asked
    assert spec == "demo" and how["target"].name == "club"
    assert (how["seconds"], how["as_json"]) == (3.0, True)


def test_the_demo_is_heard_live_and_summed_up(capsys):
    assert main(["demo", "--seconds", "0.5", "--json"]) == 0
    *soundings, summary = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["type"] for line in soundings] == ["sounding"] * 5
    assert (summary["type"], summary["seconds"], summary["target"]) == ("summary", 0.5, "club")


def test_the_demo_at_once_says_what_was_planted(monkeypatch, capsys):
    from meter import demo

    monkeypatch.setattr(demo, "run", lambda: 1)
    assert main(["demo", "--at-once"]) == 1
    assert main(["demo", "--at-once", "--json"]) == 2
    assert "--at-once came with --json or --seconds" in capsys.readouterr().err


# --- how it ends


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_who_stops_it_gets_the_summary_and_status_0(tune, number):
    process = started("listen", "--source", f"file:{tune}", "--json")
    first = json.loads(process.stdout.readline())
    process.send_signal(number)
    out, err = process.communicate()
    assert process.returncode == 0, err
    assert first["type"] == "sounding"
    summary = json.loads(out.splitlines()[-1])
    assert summary["type"] == "summary" and 0.1 <= summary["seconds"] < 20.0
    assert err == ""


def test_nobody_reading_on_ends_it_without_a_complaint(tune):
    process = started("listen", "--source", f"file:{tune}", "--json")
    process.stdout.readline()
    process.stdout.close()
    with process.stderr:
        assert process.stderr.read() == ""
    assert process.wait() == 141


# --- a terminal


def on_a_terminal(*arguments, columns=80, rows=24):
    """All that a program writes to a terminal of this size, until it ends."""
    mine, its = pty.openpty()
    fcntl.ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    process = started(*arguments, stdout=its, text=False)
    os.close(its)
    written = io.BytesIO()
    try:
        while piece := os.read(mine, 65_536):
            written.write(piece)
    except OSError:  # the other end is closed
        pass
    os.close(mine)
    assert process.wait() == 0, process.stderr.read()
    process.stderr.close()
    return written.getvalue().decode().replace("\r\n", "\n")


def test_on_a_terminal_the_block_is_drawn_in_place_and_the_summary_below(tune):
    written = on_a_terminal("listen", "--source", f"file:{tune}", "--target", "club", "--seconds", "4")
    drawn, _, summary = written.partition(" · played")
    frames = drawn.split("\x1b[12A")
    assert len(frames) > 3
    assert all(frame.count("\n") == 12 for frame in frames[:-1])
    assert "tune.wav · 48 kHz · stereo" in frames[-1] and "held against Club" in frames[-1]
    assert "How loud?         ~~~~" in frames[-1]
    assert "Not inside Club" in summary
    text = re.sub(r"\x1b\[\d*[AKJ]", "", drawn)
    assert "\x1b" not in text  # no colours, no other tricks
    assert max(len(line) for line in text.splitlines()) < 80


def test_a_low_terminal_shows_what_matters_most(tune):
    written = on_a_terminal("listen", "--source", f"file:{tune}", "--seconds", "2", rows=10)
    drawn = written.partition(" · played")[0]
    assert "\x1b[3A" in drawn and "\x1b[12A" not in drawn
    assert "> listening" in drawn
