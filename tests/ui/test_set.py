"""The arrangement Set: what is heard is one set, and can be read from two metres."""

import numpy as np
import pytest
import soundfile

from meter.capture.records import SourceStatus
from meter.set_settings import SetSettings, remembered
from tests.support.sound import noise
from ui import flag
from ui.layout import Layout
from ui.set_page import SetPage
from ui.style import SENTENCE_PX


def flown(scene):
    return {key: [one.text for one in flags] for key, flags in scene.window.lanes._picture._flags.items()}


def test_a_set_is_watched_from_the_beginning_and_told_when_it_is_chosen(scene):
    scene.play_music(11.0)
    scene.conductor.actions["arrange_set"].trigger()
    assert scene.state.choices.arrangement == "set"
    assert scene.window.bar.arrangements["set"].isChecked()
    assert flown(scene)["time_over"] == ["overs 0 so far", "of 10 min 0.0 %, set 0.0 %"]
    assert "dB of room" in scene.said()
    scene.conductor._take_load(1.0)
    assert "set 0.0 %" in scene.window.lanes._spoken[1].accessibleDescription()


def test_silence_after_music_is_an_alarm_and_ends_no_pass(scene):
    scene.conductor.choose_arrangement("set")
    scene.play_music(11.0)
    scene.play_silence(8.0)
    scene.until(lambda: "ilence for" in scene.said())
    assert scene.window.sentence.property("calls")
    scene.play_music(3.0)
    scene.until(lambda: not scene.window.sentence.property("calls"))
    scene.session._thinker.think()
    (one,) = scene.session._thinker.thoughts.passes
    assert one.last_slot is None


def test_what_was_over_grows_older_while_the_source_is_lost(scene, monkeypatch):
    scene.conductor.choose_arrangement("set")
    scene.play(20.0 * noise(1.0, seed=3))
    scene.until(lambda: flown(scene)["time_over"][0].startswith("last over"))
    scene.source.become(status=SourceStatus.LOST, sentence="the input was unplugged; plug it in")
    scene.until(lambda: "unplugged" in scene.said())
    watch = scene.session.set_watch
    now_s = watch._clock
    monkeypatch.setattr(watch, "_clock", lambda: now_s() + 300.0)
    scene.until(lambda: flown(scene)["time_over"][0] == "last over 5 min ago")


def test_a_mark_begins_another_set(scene):
    scene.conductor.choose_arrangement("set")
    scene.play_music(4.0)
    scene.session.mark()
    scene.until(lambda: scene.session.engine.now.pass_number == 2)
    scene.play_music(2.0)
    scene.until(lambda: scene.session.set_watch.now.heard_s <= 2)


def test_the_window_is_read_from_afar_in_a_set_only(scene):
    window = scene.window
    window.resize(1280, 800)
    scene.conductor.choose_arrangement("set")
    scene.qtbot.wait(1)
    assert not window.below.isVisible()
    assert window.sentence.font().pixelSize() > 1.4 * SENTENCE_PX
    layout = window.lanes._picture.layout(window.lanes.width(), window.lanes.height(), 1.0)
    assert layout.flag is flag.FAR
    scene.conductor.choose_arrangement("master")
    assert window.below.isVisible()
    assert window.sentence.font().pixelSize() == SENTENCE_PX


@pytest.mark.parametrize(
    ("size", "expected"),
    [((1040, 560), flag.FAR), ((1040, 420), flag.LARGE), ((720, 330), flag.MIDDLE), ((660, 200), flag.SMALL)],
)
def test_flags_are_as_large_as_two_of_them_fit_in_a_lane(app, size, expected):
    layout = Layout.of(*size, weights=[1.0] * 3, is_large=False, is_far=True, device_ratio=1.0)
    assert layout.flag is expected
    for lane in layout.lanes:
        assert lane.flags.height() >= 2.0 * expected.height or expected is flag.SMALL


def test_a_sentence_that_is_too_long_is_written_smaller_and_moves_nothing(scene):
    line = scene.window.sentence
    scene.window.resize(1280, 800)
    scene.conductor.choose_arrangement("set")
    scene.qtbot.wait(1)
    size_px, height = line.font().pixelSize(), line.sizeHint().height()
    line.say("the system volume is at -12.0 dB, so all levels read lower than the music is: " * 2)
    assert line.font().pixelSize() < size_px
    assert line.sizeHint().height() == height
    line.say("short", calling=True)
    assert line.font().pixelSize() == size_px
    scene.conductor.choose_theme("night")
    assert line.font().pixelSize() == size_px
    line.say("short")
    assert line.font().pixelSize() == size_px


def test_the_mixers_zero_is_taken_from_what_sounds_and_remembered(scene):
    scene.conductor.choose_arrangement("set")
    scene.play_music(4.0)
    scene.conductor.actions["mixer"].trigger()
    page = scene.conductor.of_set.page
    page.take.click()
    taken_dbfs = page.zero.value()
    assert -22.0 < taken_dbfs < -5.0  # peaks of noise at -22 dBFS
    page.accept()
    assert scene.state.choices.mixer_zero_dbfs == pytest.approx(taken_dbfs)
    scene.state.save()
    assert remembered().mixer_zero_dbfs == pytest.approx(taken_dbfs), "`listen --set` finds it there"
    room = scene.window.lanes._picture.lanes[2]
    assert f"{taken_dbfs:g} dBFS" in room.says.replace("−", "-")
    assert flown(scene)["room"][1] in ("against my 0 0.0 dB", "against my 0 +0.0 dB")


def test_what_cannot_be_a_mixers_zero_is_told(app):
    page = SetPage(SetSettings(), lambda: None)
    page.take.click()
    assert page.note.text() == "Now nothing sounds.\nPlay something whose peaks lie between −40 and 0 dBFS."
    assert page.found() == SetSettings()


def test_a_file_is_told_as_if_it_had_been_a_set(scene, tmp_path):
    sound = np.concatenate([noise(5.0, seed=4, level_dbfs=-22.0), noise(1.0, seed=4, level_dbfs=-2.0)])
    soundfile.write(tmp_path / "a.wav", sound, 48_000, subtype="FLOAT")
    scene.conductor.choose_arrangement("set")
    scene.conductor.desk.open([str(tmp_path / "a.wav")])
    scene.until(lambda: scene.conductor.going.file is not None)
    shown = flown(scene)
    assert shown["time_over"][0] == "of all 17 %"  # one second of six
    assert shown["room"][0].endswith("▲ over")
    assert shown["loudness"][0].startswith("loudest 30 s")
