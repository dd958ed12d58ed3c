"""`leadline compare BEFORE AFTER`."""

import json

import numpy as np
import pytest
import soundfile

from meter.cli import main
from tests.support.tune import RATE_HZ, section


@pytest.fixture
def files(tmp_path):
    before = section("drop")[: 6 * RATE_HZ]
    before = 0.8 * before / np.abs(before).max()
    paths = [tmp_path / "before.wav", tmp_path / "after.wav"]
    soundfile.write(paths[0], before, RATE_HZ, subtype="FLOAT")
    soundfile.write(paths[1], np.clip(before, -0.4, 0.4) * 1.5, RATE_HZ, subtype="FLOAT")
    return [str(path) for path in paths]


def test_it_says_what_was_taken_off_and_where(files, capsys):
    assert main(["compare", *files]) == 0
    out = capsys.readouterr().out
    assert "both begin together; 3.52 dB louder where nothing was taken off" in out
    assert "gain change: at most 6.0 dB down, at 0:0" in out
    assert "highest sample: 6.0 dB lower, at the same level" in out
    assert " under it" in out and "inf" not in out and "-0.0" not in out


def test_two_copies_are_said_to_be_the_same(files, capsys):
    assert main(["compare", files[0], files[0]]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == [
        "    both begin together; as loud where nothing was taken off",
        "    apart from that the two are the same, sample by sample",
    ]


def test_what_is_later_and_quieter_is_said_so(files, tmp_path, capsys):
    samples, _ = soundfile.read(files[1])
    late = tmp_path / "late.wav"
    soundfile.write(late, np.concatenate([np.zeros((480, 2)), samples / 2.0]), RATE_HZ, subtype="FLOAT")
    assert main(["compare", files[0], str(late)]) == 0
    lag_ms = 480_000 / RATE_HZ
    said = f"the second is {lag_ms:.2f} ms (480.00 samples) later; 2.50 dB quieter where"
    assert said in capsys.readouterr().out


@pytest.mark.parametrize("frames", [1, 100])
def test_a_file_too_short_to_compare_is_refused(frames, files, tmp_path, capsys):
    short = str(tmp_path / "short.wav")
    soundfile.write(short, np.full((frames, 2), 0.5), RATE_HZ)
    for pair in ([short, files[0]], [files[0], short]):
        assert main(["compare", *pair]) == 2
        assert "but 10 ms of the same music were expected in both; render a longer passage" in (
            capsys.readouterr().err
        )


def test_its_object_holds_the_gain_over_time(files, capsys):
    assert main(["compare", *files, "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["gain_change_db"]["most"] == pytest.approx(6.02, abs=0.2)
    assert len(made["gain_db"]) == pytest.approx(600, abs=60)


def test_files_of_different_rates_are_refused(files, tmp_path, capsys):
    other = str(tmp_path / "other.wav")
    soundfile.write(other, np.zeros((8000, 2)), 8000)
    assert main(["compare", files[0], other]) == 2
    assert "but one rate was expected" in capsys.readouterr().err
