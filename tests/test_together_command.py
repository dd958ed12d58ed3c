"""`leadline together KICK SUB`."""

import json

import numpy as np
import pytest
import soundfile

from demo_signals.pattern import RATE_HZ
from meter.cli import main
from tests.support.drum_patterns import swept_kick
from tests.test_kick_and_sub import TIMES_S, body_of, stem, sub_notes


@pytest.fixture
def stems():
    kick = 0.5 * stem(swept_kick(55.0))
    return kick, -body_of(kick)


def written(path, *channels, rate_hz=RATE_HZ):
    soundfile.write(path, np.stack(channels, axis=1), rate_hz, subtype="FLOAT")
    return str(path)


def test_two_files_and_what_would_help(stems, tmp_path, capsys):
    kick, sub = stems
    names = written(tmp_path / "kick.wav", kick), written(tmp_path / "sub.wav", sub, sub)
    assert main(["together", *names]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == f"{names[0]} with {names[1]}"
    assert lines[1] == "    8 hits have a sub under them"
    assert lines[2].startswith("    as they are: they cancel, 1")
    best = "the sub's polarity turned, not moved, +2.9 dB; it serves 100 % of the hits"
    assert lines[3] == f"    best for all of them: {best}"
    assert lines[4].startswith("    try: turn the sub's polarity; that gains 1")


def test_hits_that_are_all_alike_have_no_range(stems, tmp_path, capsys):
    kick = written(tmp_path / "kick.wav", stems[0])
    assert main(["together", kick, kick]) == 0
    line = capsys.readouterr().out.splitlines()[2]
    assert line.endswith("they add, 3.0 dB over both apart; every hit alike")


def test_pairs_of_channels_of_one_file_are_the_same(stems, tmp_path, capsys):
    kick, sub = stems
    two = written(tmp_path / "kick.wav", kick, kick), written(tmp_path / "sub.wav", sub, sub)
    assert main(["together", *two, "--json"]) == 0
    apart = json.loads(capsys.readouterr().out)
    one = written(tmp_path / "both.wav", kick, kick, sub, sub)
    assert main(["together", one, "--kick-channels", "1,2", "--sub-channels", "3,4", "--json"]) == 0
    joined = json.loads(capsys.readouterr().out)
    assert apart["type"] == "together" and apart["verdict"] == "move" and len(apart["hits"]) == 8
    for made in (apart, joined):
        del made["kick"], made["sub"]
    assert apart == joined


def test_what_varies_is_said_to_vary(stems, tmp_path, capsys):
    sub = sub_notes(53.0, np.linspace(0.0, 5.5, len(TIMES_S)))
    names = written(tmp_path / "kick.wav", stems[0]), written(tmp_path / "sub.wav", sub)
    assert main(["together", *names]) == 0
    assert "it varies from hit to hit, no one setting helps: retrigger" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ([], "one file came, but a kick and a sub were expected; give two files"),
        (
            ["--kick-channels", "1,1", "--sub-channels", "1,2"],
            "--kick-channels 1,1 came; expected two different",
        ),
        (["--kick-channels", "1,2", "--sub-channels", "3,4"], "3"),
    ],
)
def test_what_cannot_be_meant_is_said(extra, said, stems, tmp_path, capsys):
    name = written(tmp_path / "kick.wav", stems[0], stems[0])
    assert main(["together", name, *extra]) == 2
    assert said in capsys.readouterr().err


def test_two_rates_are_refused(stems, tmp_path, capsys):
    names = written(tmp_path / "a.wav", stems[0]), written(tmp_path / "b.wav", stems[1], rate_hz=44_100)
    assert main(["together", *names]) == 2
    assert "render both at the same rate" in capsys.readouterr().err


def test_silence_in_place_of_kicks_is_refused(stems, tmp_path, capsys):
    names = written(tmp_path / "a.wav", np.zeros(RATE_HZ)), written(tmp_path / "b.wav", stems[1])
    assert main(["together", *names]) == 2
    assert "give the kick first, and the sub behind it" in capsys.readouterr().err
