"""`leadline hearing`, and `listen --setup`: what they print, keep and refuse."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile

from meter.cli import main
from meter.errors import UsageError
from meter.exposure import noise


def run(capsys, *arguments):
    status = main([*arguments])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def hearing(capsys, *arguments):
    status, out, err = run(capsys, "hearing", *arguments)
    assert (status, err) == (0, "")
    return out


def as_json(capsys):
    return json.loads(hearing(capsys, "--json"))


HEADPHONES = ["headphones", "closed", "--sensitivity", "96", "--per", "mW", "--impedance", "80"]
HEADPHONES += ["--volts", "1"]


def test_a_setup_is_made_calibrated_and_shown(capsys):
    assert "none yet" in hearing(capsys)
    assert "full scale is about 107 ± 6 dB at the ear" in hearing(capsys, *HEADPHONES)
    assert "not calibrated" in hearing(capsys, "setup", "desk", "--feeds", "monitors")
    assert "measured" in hearing(capsys, "calibrate", "desk", "--read", "74")
    setups = {one["setup"]: one for one in as_json(capsys)["setups"]}
    assert set(setups) == {"closed", "desk"}
    assert setups["desk"]["full_scale_db"] == pytest.approx(74.0 - noise.pink_noise_dba(-30.0))
    hearing(capsys, "use", "closed")
    shown = hearing(capsys)
    assert "> closed" in shown
    for word in ("estimate", "sound level meter", "medical", "law", "Ringing", "stop"):
        assert word in shown
    assert "safe" not in shown.lower()


def test_what_was_heard_elsewhere_is_entered_and_taken_back(capsys):
    out = hearing(capsys, "add", "98+-3:4", "--note", "gig")
    assert "gig" in out
    assert "4 h at 98 ± 3 dBA" in out
    budgets = {one["rule"]: one for one in as_json(capsys)["budgets"]}
    # ITU-T H.870: 98 dBA for 4 h is 4/40 · 10^1.8 of the week. CALC.
    assert budgets["who-adult"]["dose_pct"] == pytest.approx(10.0 * 10.0**1.8, rel=0.001)
    assert budgets["eu-week"]["dose_pct"] is None
    assert "entry 1 (gig) is out" in hearing(capsys, "undo")
    assert as_json(capsys)["entries"] == []
    assert "nothing to undo" in hearing(capsys, "undo")
    hearing(capsys, "add", "90:1")
    hearing(capsys, "remove", "2")
    assert as_json(capsys)["entries"] == []
    assert "is back" in hearing(capsys, "undo")


def test_the_rule_is_chosen_and_named_first(capsys):
    assert as_json(capsys)["rule"] == "who-adult"
    assert "NIOSH 98-126" in hearing(capsys, "rule", "niosh")
    assert as_json(capsys)["rule"] == "niosh"
    assert "> NIOSH REL" in hearing(capsys)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["add", "98"], "98 came; expected a level in dBA and hours"),
        (["add", "98:25"], "expected more than 0 and at most 24 hours"),
        (["add", "98:1", "--ended", "25:00"], "--ended 25:00 came; expected a time of today"),
        (["remove", "7"], "there is no entry 7"),
        (["use", "nobody"], "there is no setup 'nobody'; there are: none"),
        ([*HEADPHONES[:-1], "100"], "the voltage is 100"),
        (["calibrate", "desk", "--read", "200"], "the meter read 200 dBA"),
        (["calibrate", "desk", "--level", "-6"], "the noise was asked for at -6 dBFS"),
        (["calibrate", "desk"], "there is nobody to ask here"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence_and_nothing_plays(capsys, monkeypatch, arguments, said):
    monkeypatch.setattr(noise, "_playing", lambda *_: pytest.fail("it played"))
    status, out, err = run(capsys, "hearing", *arguments)
    assert (status, out) == (2, "")
    assert said in err
    assert len(err.strip().splitlines()) == 1


# --- the noise


def test_the_noise_is_pink_never_over_its_level_and_ramped():
    loop = noise.pink_noise(noise.LOOP_S, -30.0, start_s=noise.LOOP_S)
    power = np.abs(np.fft.rfft(loop)) ** 2
    f_hz = np.fft.rfftfreq(len(loop), 1.0 / noise.RATE_HZ)
    octaves = [power[(f_hz >= low) & (f_hz < 2 * low)].sum() for low in (62.5, 250.0, 1000.0, 4000.0)]
    assert octaves == pytest.approx([np.mean(octaves)] * 4, rel=0.02)  # pink: the same in each octave
    assert 10.0 * np.log10(2.0 * np.mean(loop**2)) == pytest.approx(-30.0, abs=0.01)
    begin = noise.pink_noise(4.0, -20.0)
    assert np.abs(begin[:100]).max() < 1e-4
    early, late = begin[: noise.RATE_HZ // 2], begin[-noise.RATE_HZ :]
    assert np.mean(early**2) < 0.01 * np.mean(late**2)
    assert np.abs(np.diff(begin)).max() < 0.5
    ended = noise.pink_noise(2.0, -20.0, start_s=5.0, end_s=6.0)
    assert not ended[noise.RATE_HZ :].any()
    pieces = np.concatenate([noise.pink_noise(0.5, -30.0, start_s=k * 0.5) for k in range(4)])
    assert pieces.tobytes() == noise.pink_noise(2.0, -30.0).tobytes()


@pytest.mark.parametrize("level_dbfs", [-19.9, 0.0, -61.0, float("nan")])
def test_no_louder_noise_is_made_at_all(level_dbfs):
    with pytest.raises(UsageError, match="-60 to -20 dBFS only"):
        noise.pink_noise(1.0, level_dbfs)


def test_nothing_plays_without_a_yes(monkeypatch):
    monkeypatch.setattr(noise, "_playing", lambda *_: pytest.fail("it played"))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: "no")
    with pytest.raises(UsageError, match="nothing was played"):
        noise.play_after_asking(-30.0, feeds="headphones")


def test_with_a_yes_it_plays_until_the_reading_is_typed(monkeypatch):
    played: list[str] = []

    class Playing:
        def __init__(self, level_dbfs):
            played.append(f"at {level_dbfs}")

        def __enter__(self):
            played.append("on")

        def __exit__(self, *_):
            played.append("off")

    answers = iter(["yes", "74.5 dBA"])
    monkeypatch.setattr(noise, "_playing", Playing)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    assert noise.play_after_asking(-30.0, feeds="headphones") == 74.5
    assert played == ["at -30.0", "on", "off"]


# --- listen


@pytest.fixture
def tune(tmp_path):
    path = tmp_path / "tune.wav"
    at_s = np.arange(3 * 48_000) / 48_000
    soundfile.write(path, np.stack([0.1 * np.sin(2 * np.pi * 1000 * at_s)] * 2, axis=1), 48_000)
    return str(path)


def test_listen_tells_the_level_at_the_ear_and_the_caution(capsys, tune):
    hearing(capsys, *HEADPHONES)
    status, out, _ = run(capsys, "listen", "--source", f"file:{tune}", "--setup", "closed")
    assert status == 0
    assert "at the ear about 87 dBA (81 to 93), estimated" in out
    assert "At the ear, estimated" in out
    assert "no medical advice" in out
    # A file plays to nobody: it is not kept.
    assert as_json(capsys)["budgets"][0]["hours"] == 0.0


def test_listen_as_json_ends_with_the_ear(capsys, tune):
    hearing(capsys, *HEADPHONES)
    status, out, _ = run(capsys, "listen", "--source", f"file:{tune}", "--setup", "closed", "--json")
    last = json.loads(out.splitlines()[-1])
    assert status == 0
    assert last["type"] == "ear"
    assert last["is_estimate"] is True
    assert last["session_dba"][0] == pytest.approx(87.0, abs=0.2)


def test_an_unknown_setup_is_one_sentence(capsys, tune):
    status, _, err = run(capsys, "listen", "--source", f"file:{tune}", "--setup", "nobody")
    assert status == 2
    assert "there is no setup 'nobody'" in err


def test_what_is_played_goes_on_without_a_seam_and_fades_out(monkeypatch):
    """With a made-up sound card."""
    import sys
    import types

    heard: list[np.ndarray] = []

    class Stream:
        def __init__(self, *, callback, **_):
            self.callback = callback

        def start(self):
            self.take(3)

        def take(self, blocks):
            for _ in range(blocks):
                out = np.zeros((4800, 2), np.float32)
                self.callback(out, 4800, None, None)
                heard.append(out)

        def stop(self):
            self.take(40)

        def close(self):
            pass

    monkeypatch.setitem(sys.modules, "sounddevice", types.SimpleNamespace(OutputStream=Stream))
    monkeypatch.setattr("time.sleep", lambda _: None)
    with noise._playing(-30.0):
        pass
    played = np.concatenate(heard)[:, 0]
    wanted = noise.pink_noise(len(played) / noise.RATE_HZ, -30.0, end_s=0.3 + noise.RAMP_S)
    np.testing.assert_allclose(played, wanted, atol=1e-6)
    assert not played[-4800:].any()


def test_the_plan_says_by_the_clock_when_it_is_used_up_by_each_rule(capsys):
    hearing(capsys, "rule", "who-adult")
    out = hearing(capsys, "plan", "100+-3")
    assert "  > WHO-ITU, adults: 100 % " in out
    assert "NIOSH REL: 100 %" in out
    assert "EU, working day: 85 dBA" in out
    for word in ("estimate", "medical", "law", "stop"):
        assert word in out
    found = json.loads(hearing(capsys, "--json", "plan", "70"))
    assert found["is_estimate"] is True
    # NIOSH: 70 dBA is below the threshold (from memory: 80) and counts nothing.
    plans = {one["rule"]: one for one in found["plans"]}
    assert plans["niosh"]["soonest_unix_s"] is None
    assert plans["niosh"]["is_reached"] is False
    hearing(capsys, "add", "100:2")
    plans = {one["rule"]: one for one in json.loads(hearing(capsys, "--json", "plan", "70"))["plans"]}
    # ITU-T H.870: 100 dBA for 24 min is a week. CALC.
    assert plans["who-adult"]["is_reached"] is True
    assert "gig" not in out
    assert "Seven days" in hearing(capsys)


@pytest.mark.parametrize("level", ["loud", "92:4", "200", "-3"])
def test_a_level_that_cannot_be_meant_is_one_sentence(capsys, level):
    status, out, err = run(capsys, "hearing", "plan", "--", level)
    assert (status, out) == (2, "")
    assert "dBA" in err
    assert len(err.strip().splitlines()) == 1
