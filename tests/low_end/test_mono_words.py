"""What is said, written and found of mono: from a checked file with faults whose place is known."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from meter.cli import main

RATE_HZ = 48_000


@pytest.fixture
def checked(tmp_path: Path, capsys):
    """Writes left and right, and gives the text and the JSON of `check`."""

    def check(left: np.ndarray, right: np.ndarray, *options: str):
        path = tmp_path / "tune.wav"
        soundfile.write(path, np.stack([left, right], axis=1), RATE_HZ, subtype="FLOAT")
        assert main(["check", str(path), "--json", *options]) == 0
        made = json.loads(capsys.readouterr().out)
        assert main(["check", str(path), *options]) == 0
        return capsys.readouterr().out, made

    return check


def noise(seconds: float) -> np.ndarray:
    rng = np.random.default_rng(2)
    smooth = np.convolve(rng.standard_normal(round(seconds * RATE_HZ)), np.ones(300) / 300.0, "same")
    return 0.2 * smooth / np.abs(smooth).max()


def test_a_channel_upside_down_and_late_is_found_with_what_to_do(checked):
    left = noise(15.0)
    text, made = checked(left, -np.roll(left, 48))
    assert made["mono"]["delay_ms"] == pytest.approx(1.0, abs=0.1)
    # Where 1 ms is an eighth of a period r is -0.7.
    assert made["mono"]["flipped_below_hz"] == pytest.approx(125.0, rel=0.13)
    kinds = {one["kind"]: one for one in made["findings"]}
    assert kinds["later"]["amount"] == pytest.approx(1.0, abs=0.1)
    assert kinds["later"]["unit"] == "ms"
    assert "the right channel comes" in kinds["later"]["text"]
    assert "flip the polarity" in kinds["upside down"]["text"]
    assert "What does a mono club lose?" in text
    assert "upside down" in text


def test_a_tune_in_mono_loses_nothing_and_nothing_is_found(checked):
    left = noise(15.0)
    text, made = checked(left, left)
    assert "summed below 80 to 150 Hz: nothing" in text
    assert [one["lost_db"] for one in made["mono"]["if_summed"]] == [0.0] * 4
    assert made["mono"]["worst"] == []
    assert not {"later", "upside down", "lost in mono"} & {one["kind"] for one in made["findings"]}


def test_the_worst_place_is_told_below_the_user_s_crossover(checked):
    left = noise(30.0)
    right = left.copy()
    right[10 * RATE_HZ : 15 * RATE_HZ] *= -0.9
    text, made = checked(left, right, "--crossover", "80")
    assert made["mono"]["worst"][0]["at_s"] == pytest.approx(11.0, abs=1.5)
    assert "most is lost at 0:1" in text


def test_too_short_a_file_says_why_there_is_no_value(checked):
    _, made = checked(noise(0.2), noise(0.2))
    assert made["mono"] is None
    assert made["why_null"]["mono"] == "not yet"
