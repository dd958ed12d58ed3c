"""What the window shows is what `leadline listen --json` says of the same source, number by number."""

import json
import math

import numpy as np
import pytest

from meter.capture.open import open_source
from meter.listening import Listening
from meter.targets import value_text
from tests.support.hearing import write_float
from tests.support.sound import noise, tone
from ui.style import typeset


@pytest.fixture
def heard(tmp_path, make_scene, capsys):
    """The scene after a file has been heard to its end, its JSON objects, and the soundings it was shown."""
    middle = noise(3.0, seed=6, level_dbfs=-14.0)
    against = tone(45.0, 3.0, level_dbfs=-8.0, phases_deg=(0.0, 150.0))
    samples = np.concatenate([noise(4.0, seed=5, level_dbfs=-24.0), middle, against, middle * 2.0])
    spec = f"file:{write_float(tmp_path / 'tune.wav', samples, 44_100)}"
    scene = make_scene()
    scene.sources[spec] = open_source(spec, as_fast=True)
    scene.start(spec)
    scene.until(lambda: scene.session.now.has_ended)
    # Passes are cut in a thread of its own, which is told of the end.
    scene.until(lambda: [line for line in scene.session.thoughts.passes if line.last_slot is not None])
    Listening(open_source(spec, as_fast=True), target=scene.targets["club"], as_json=True).run()
    objects = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    return scene, [one for one in objects if one["type"] == "sounding"], objects[-1]


def text(value, why=None, **how):
    """As the window prints a number of the JSON."""
    if value is None:
        return "−∞" if why == "silence" else "--"
    return typeset(value_text(value, **how))


def test_every_sounding_is_drawn_with_its_numbers(heard):
    scene, soundings, _ = heard
    assert scene.timeline.slots == len(soundings) > 100
    for key in ("momentary_lufs", "short_term_lufs"):
        drawn = scene.timeline.values(key, 0, len(soundings))
        said = [math.nan if one[key] is None else one[key] for one in soundings]
        np.testing.assert_allclose(drawn, said, atol=2e-5)
    # With the row that the end cuts short the engine tells the reading of before; the lane draws the row.
    drawn = scene.timeline.values("true_peak_dbtp", 0, len(soundings) - 1)
    np.testing.assert_allclose(drawn, [max(one["true_peak_dbtp"]) for one in soundings[:-1]], atol=2e-5)


def test_the_numbers_of_a_moment_are_those_of_its_sounding(heard):
    scene, soundings, _ = heard
    for slot in (40, 75, 100, 120):
        scene.window.lanes.moment_chosen.emit(slot)
        one, said = soundings[slot], scene.window.moment.lines.text()
        assert f"M {text(one['momentary_lufs'])} LUFS\nS {text(one['short_term_lufs'])} LUFS" in said
        peak = max(one["true_peak_dbtp"])
        assert f"true peak {text(peak, plus=True)} dBTP" in said


def test_the_flags_at_the_end_are_those_of_the_last_sounding(heard):
    from meter.lanes import LANES, flags

    scene, soundings, summary = heard
    now, last = scene.session.now, soundings[-1]
    assert now.reading.short_term_lufs == pytest.approx(last["short_term_lufs"], abs=1e-9)
    assert now.reading.integrated_lufs == pytest.approx(last["integrated_lufs"], abs=1e-9)
    assert now.reading.lost_frames == last["lost_frames"] == 0
    shown = {flag.name: flag for lane in LANES for flag in flags(now, lane)}
    assert shown["highest"].value_text == value_text(summary["true_peak_dbtp"], plus=True)
    assert shown["highest"].word == summary["verdicts"]["true_peak_dbtp"]
    assert scene.window.status.lost.text() == f"{summary['lost_frames']} frames lost"


def test_the_list_of_passes_shows_the_numbers_of_the_summary(heard):
    scene, _, summary = heard
    assert scene.window.passes.count() == 2
    shown = scene.window.passes.item(1).text()
    assert f"I {text(summary['integrated_lufs'])}" in shown
    assert f"TP {text(summary['true_peak_dbtp'], plus=True)}" in shown


def test_when_a_pass_has_ended_in_silence_its_loudness_is_no_longer_not_yet(make_scene):
    scene = make_scene().start().until_open()

    def word():
        return scene.window.lanes._picture._flags["loudness"][1].word

    scene.play_music(31.0)
    scene.until(lambda: word() == "not yet")
    scene.play_silence(6.0)
    scene.until(lambda: scene.window.passes.newest.last_slot is not None)
    scene.until(lambda: word() == "under")
    scene.play_music(1.0)
    scene.until(lambda: word() == "not yet")
