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
    assert "+3.52 dB louder" in out
    assert "most taken off  6.0 dB at 0:0" in out


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
