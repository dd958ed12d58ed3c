"""The command line: arguments, exit statuses, what goes to which stream, and how it ends."""

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
from meter.console import ProgressLine, printable, say

ROOT = Path(__file__).resolve().parents[1]
RATE_HZ = 48_000

pytestmark = [
    pytest.mark.usefixtures("forked"),
    pytest.mark.filterwarnings("ignore:.*multi-threaded, use of fork:DeprecationWarning"),
]


@pytest.fixture
def tune(tmp_path):
    """Two seconds at -23 LUFS, far under the club target and right in EBU R 128."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    wave = 10.0 ** (-23.0 / 20.0) * np.sin(2.0 * np.pi * 997.0 * t)
    path = tmp_path / "tune.wav"
    soundfile.write(path, np.stack([wave, wave], axis=1), RATE_HZ, "PCM_16")
    return str(path)


@pytest.fixture
def gone(tmp_path):
    return str(tmp_path / "gone.wav")


def started(*arguments, **how):
    # Unbuffered output, where somebody asks for it, would hide what happens to unwritten text.
    env = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    return subprocess.Popen(
        [sys.executable, "-m", "meter", *arguments],
        cwd=ROOT,
        env=env,
        stdout=subprocess.PIPE,
        **{"stderr": subprocess.PIPE, "text": True, **how},
    )


def objects(text):
    return [json.loads(line) for line in text.splitlines()]


# --- help -----------------------------------------------------------------------------------


def test_without_a_command_it_prints_help(capsys):
    assert main([]) == 0
    said = capsys.readouterr()
    assert "leadline check tune.wav" in said.out
    assert not said.err


@pytest.mark.parametrize("command", [[], ["check"], ["prove"], ["demo"], ["listen"], ["sources"]])
def test_every_command_has_help(command, capsys):
    assert main([*command, "--help"]) == 0
    assert "usage: leadline" in capsys.readouterr().out


def test_the_help_of_check_shows_how_to_write_a_target(capsys):
    from meter.target_file import parse_targets

    main(["check", "--help"])
    said = capsys.readouterr().out
    example = said[said.index("  [mine]") : said.index("Files are measured side by side")]
    assert list(parse_targets(example, place="help")) == ["mine"]


def test_the_help_names_the_shipped_targets(capsys):
    from meter.target_file import shipped_targets

    main(["check", "--help"])
    assert f"targets that come with the program: {', '.join(shipped_targets())}." in capsys.readouterr().out


def test_it_knows_its_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("leadline ")


@pytest.mark.parametrize(
    "arguments", [["nonsense"], ["check"], ["check", "a.wav", "--targ", "club"], ["--what"]]
)
def test_arguments_that_make_no_sense_end_with_2(arguments, capsys):
    assert main(arguments) == 2
    assert "usage: leadline" in capsys.readouterr().err


def test_help_needs_no_numpy_and_holds_what_comes_later_to_one_thread():
    program = (
        "import os, sys; from meter.cli import main; main([]); "
        "assert 'numpy' not in sys.modules and os.environ['OPENBLAS_NUM_THREADS'] == '1'"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr


# --- check ----------------------------------------------------------------------------------


def test_a_file_is_checked(tune, capsys):
    assert main(["check", tune]) == 0
    said = capsys.readouterr()
    assert said.out.startswith(f"{tune}\n0:02.0 · stereo · 48 kHz · WAV, 16 bit\n")
    assert "integrated, all of it        -23.0 LUFS" in said.out
    assert not said.err


def test_a_missed_target_ends_with_1_only_when_strict(tune, capsys):
    assert main(["check", tune, "--target", "club"]) == 0
    assert main(["check", tune, "--target", "club", "--strict"]) == 1
    assert main(["check", tune, "--target", "ebu-r128", "--strict"]) == 0
    assert "Inside EBU R 128, in all it limits." in capsys.readouterr().out


def test_a_bad_file_ends_with_2_and_the_others_are_checked(tune, gone, capsys):
    assert main(["check", gone, tune, gone, tune, "--target", "club", "--strict"]) == 2
    said = capsys.readouterr()
    assert said.out.count("0:02.0") == 2
    assert said.err == f"error: {gone}: there is no such file\n" * 2
    assert "4 files; 0 inside Club, 2 not; 2 could not be read." in said.out


def test_json_is_one_object_a_line_and_nothing_else(tune, gone, capsys):
    assert main(["check", tune, gone, tune, "--json", "--target", "ebu-r128"]) == 2
    said = capsys.readouterr()
    made = objects(said.out)
    assert [one["type"] for one in made] == ["file", "error", "file"]
    assert made[0]["path"] == tune
    assert made[0]["integrated_lufs"] == pytest.approx(-23.0, abs=0.01)
    assert made[0]["verdicts"] == {"integrated_lufs": "inside", "true_peak_dbtp": "inside"}
    assert made[1] == {"type": "error", "path": gone, "message": f"{gone}: there is no such file"}
    assert not said.err


def test_with_json_a_note_goes_to_standard_error(tune, capsys):
    data = Path(tune).read_bytes()
    Path(tune).write_bytes(data[: len(data) // 2])
    assert main(["check", tune, "--json"]) == 0
    said = capsys.readouterr()
    assert objects(said.out)[0]["lost_frames"] > 0
    assert said.err.startswith(f"{tune}: the header promises 96000 frames")


def test_channels_and_crossover_reach_the_measure(tune, capsys):
    assert main(["check", tune, "--channels", "2,1", "--crossover", "90", "--one-thread"]) == 0
    said = capsys.readouterr().out
    assert "channels 2 and 1 of 2" in said
    assert "r below 90 Hz" in said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (
            ["--target", "clubb"],
            "there is no target 'clubb'; did you mean 'club'?; there are: club, ebu-r128",
        ),
        (["--strict"], "--strict needs something to be strict about: name a target with --target"),
        (["--channels", "3"], "--channels 3 came; expected two different channels counted from 1"),
        (["--crossover", "9000"], "--crossover 9000 came; expected a frequency of 40 to 300 Hz"),
    ],
)
@pytest.mark.parametrize("as_json", [False, True])
def test_what_cannot_be_meant_gets_one_sentence(tune, arguments, words, as_json, capsys):
    assert main(["check", tune, *arguments, *(["--json"] * as_json)]) == 2
    said = capsys.readouterr()
    assert said.err.startswith(f"error: {words}")
    assert said.err.count("\n") == 1
    if as_json:
        assert objects(said.out) == [
            {"type": "error", "path": None, "message": said.err[len("error: ") : -1]}
        ]
    else:
        assert not said.out


def test_a_target_of_the_users_own_is_found(tune, leadline_home, capsys):
    (leadline_home / "targets.toml").write_text("[mine]\nintegrated_lufs = { min = -23.1, max = -22.9 }\n")
    assert main(["check", tune, "--target", "mine", "--strict"]) == 0
    assert "Inside mine" in capsys.readouterr().out


def test_a_broken_targets_file_stops_nothing_and_is_left_alone(tune, leadline_home, capsys):
    file = leadline_home / "targets.toml"
    file.write_text("[mine]\nintegrated_luf = { min = -23.1 }\n")
    assert main(["check", tune, "--target", "ebu-r128", "--strict"]) == 0
    said = capsys.readouterr()
    assert said.err == (
        f"{file} is not used, it has 1 problem:\n"
        "  line 2: unknown key 'integrated_luf'; did you mean 'integrated_lufs'?\n"
    )
    assert "Inside EBU R 128" in said.out
    assert file.read_text() == "[mine]\nintegrated_luf = { min = -23.1 }\n"


def test_a_pattern_that_no_shell_replaced_is_replaced(tmp_path, tune, capsys):
    (tmp_path / "other.wav").write_bytes(Path(tune).read_bytes())
    assert main(["check", str(tmp_path / "*.wav"), "--json"]) == 0
    assert [Path(one["path"]).name for one in objects(capsys.readouterr().out)] == ["other.wav", "tune.wav"]
    assert main(["check", str(tmp_path / "x*.wav")]) == 2
    assert "x*.wav: there is no such file" in capsys.readouterr().err


def test_a_name_with_the_marks_of_a_pattern_is_a_name(tmp_path, tune, capsys):
    path = tmp_path / "what?*.wav"
    path.write_bytes(Path(tune).read_bytes())
    assert main(["check", str(path), "--json"]) == 0
    assert [one["path"] for one in objects(capsys.readouterr().out)] == [str(path)]


# --- the other commands ---------------------------------------------------------------------


@pytest.mark.parametrize("as_json", [False, True])
def test_prove_is_handed_on(as_json, monkeypatch):
    from meter import prove

    asked = []
    monkeypatch.setattr(prove, "run", lambda args_json: asked.append(args_json) or 1)
    assert main(["prove", *(["--json"] * as_json)]) == 1
    assert asked == [as_json]


def test_the_demo_reads_what_was_planted(capsys):
    assert main(["demo", "--at-once"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("demo\n2:3")
    assert "Not inside Club: the loudest 30 s is" in said
    assert said.count("✓ agrees") == 6
    assert "not measured by this version" not in said


# --- how it ends ----------------------------------------------------------------------------


def test_it_runs_as_a_module_and_ends_with_its_status(tune, gone):
    process = started("check", tune, gone)
    out, err = process.communicate()
    assert process.returncode == 2
    assert out.startswith(tune)
    assert err == f"error: {gone}: there is no such file\n"


def test_nobody_reading_on_is_no_error(tune):
    process = started("check", "--json", *[tune] * 40)
    assert json.loads(process.stdout.readline())["path"] == tune
    process.stdout.close()
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait() == cli.READER_GONE
    assert err == ""


def test_ctrl_c_ends_a_long_reading_with_one_line(tmp_path):
    path = tmp_path / "long.wav"
    soundfile.write(path, np.zeros((1, 2)), RATE_HZ, "PCM_16", format="RF64")
    frames = 20 * 3600 * RATE_HZ  # a hole that takes no room
    data = bytearray(path.read_bytes())
    data[28:36] = (4 * frames).to_bytes(8, "little")
    path.write_bytes(data)
    os.truncate(path, len(data) - 4 + 4 * frames)
    screen, end = pty.openpty()
    process = started("check", str(path), stderr=end)
    os.close(end)
    seen = os.read(screen, 1000)  # comes when it has been at work for a second
    assert b"of 20:00:00.0, " in seen
    process.send_signal(signal.SIGINT)
    try:
        while data := os.read(screen, 1000):
            seen += data
    except OSError:  # the other end is closed
        pass
    os.close(screen)
    assert process.wait() == cli.INTERRUPTED
    assert process.stdout.read() == ""
    process.stdout.close()
    assert b"Traceback" not in seen
    *_, wiped, last = seen.decode().removesuffix("\r\nstopped\r\n").split("\r")
    assert (wiped.strip(), last) == ("", "")


def test_ctrl_c_anywhere_ends_with_130(tune, monkeypatch, capsys):
    def interrupt(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("meter.check.check_file", interrupt)
    assert main(["check", tune]) == cli.INTERRUPTED
    assert capsys.readouterr().err == "\nstopped\n"


# --- the terminal ---------------------------------------------------------------------------


class Screen:
    """A stream that is a terminal, or is not."""

    def __init__(self, *, is_terminal=True, encoding="utf-8"):
        self.text = ""
        self.encoding = encoding
        self._is_terminal = is_terminal

    def isatty(self):
        return self._is_terminal

    def write(self, text):
        text.encode(self.encoding)
        self.text += text

    def flush(self):
        pass


def test_a_terminal_without_the_glyphs_gets_plain_ones():
    screen = Screen(encoding="ascii")
    say("4:00.0 · x ✓ inside ▲ over ▼ under … not yet -∞ 日", screen)
    assert screen.text == "4:00.0 - x + inside ^ over v under - not yet -inf \\u65e5\n"


def test_names_that_are_no_text_can_be_said():
    assert printable("k\udcff.wav", Screen()) == "k\\udcff.wav"
    assert printable("tür ✓", Screen()) == "tür ✓"


def test_progress_waits_a_second_and_is_wiped_away(monkeypatch):
    now_s = 100.0
    monkeypatch.setattr("meter.console.time.monotonic", lambda: now_s)
    screen = Screen()
    line = ProgressLine(screen)
    line.show("a.wav", 1.0, 100.0)
    assert screen.text == ""
    now_s = 101.0
    line.show("a.wav", 50.0, 100.0)
    line.show("a.wav", 51.0, 100.0)
    assert screen.text == "\ra.wav  0:50.0 of 1:40.0, 50 %"
    now_s = 101.3
    line.show("a.wav", 60.0, None)
    line.clear()
    line.clear()
    width = len("a.wav  0:50.0 of 1:40.0, 50 %")
    assert screen.text.split("\r")[2:] == ["a.wav  1:00.0".ljust(width), " " * len("a.wav  1:00.0"), ""]


def test_progress_stays_off_where_there_is_no_terminal(monkeypatch):
    screen = Screen(is_terminal=False)
    line = ProgressLine(screen)
    monkeypatch.setattr("meter.console.time.monotonic", lambda: 1e9)
    line.show("a.wav", 1.0, None)
    line.clear()
    assert screen.text == ""


@pytest.mark.parametrize("module", ["meter", "ui"])
def test_ctrl_c_while_it_is_still_starting_is_one_line_too(module, tmp_path):
    (tmp_path / "numpy.py").write_text("raise KeyboardInterrupt\n")
    root = Path(__file__).parents[1]
    env = os.environ | {"PYTHONPATH": f"{tmp_path}{os.pathsep}{root}"}
    command = [sys.executable, "-P", "-m", module, "check", "x.wav"]
    done = subprocess.run(command, env=env, capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (cli.INTERRUPTED, "", "\nstopped\n")
