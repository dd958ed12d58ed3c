import threading

import numpy as np
import pytest
from PyQt6.QtCore import Qt

from meter.capture.records import SourceInfo, SourceStatus
from meter.errors import SourceError
from meter.targets import value_text
from tests.support.a_finding import a_finding
from tests.support.fake_source import FakeSource
from tests.support.listed_sources import LISTED
from tests.support.sound import noise, tone
from ui.session import IDLE_POLL_MS, POLL_MS
from ui.style import typeset
from ui.thinker import EVERY_S, IDLE_EVERY_S
from ui.time_scale import LAST_10_MINUTES, LAST_MINUTE


def press(scene, key, widget=None):
    widget = scene.window if widget is None else widget
    widget.activateWindow()  # a screen without a window manager does not do it by itself
    scene.until(widget.isActiveWindow)
    scene.qtbot.keyClick(widget, key)


# --- sources


def test_what_is_listened_to_is_said_and_drawn(scene):
    scene.play_music(4.0)
    scene.until(lambda: scene.said() != "Opening what the system plays")
    assert scene.window.bar.source.shown == "What the system plays"
    assert scene.window.status.form.text() == "48 kHz stereo"
    assert not scene.window.empty.isVisible()


def test_a_source_that_cannot_be_opened_is_one_sentence_and_a_way_out(make_scene):
    scene = make_scene()
    scene.sources["system"] = SourceError("the sound server does not answer; start it")
    scene.sources["demo"] = FakeSource(spec="demo", name="the demo tune")
    scene.start()
    scene.until(lambda: scene.window.empty.title.text() == "No source")
    assert scene.window.empty.text.text() == "The sound server does not answer; start it."
    scene.until(lambda: scene.said() == "No source: the sound server does not answer; start it")
    scene.qtbot.mouseClick(scene.window.empty.demo, Qt.MouseButton.LeftButton)
    scene.until(lambda: scene.session.now.state.info.spec == "demo" and scene.session.engine)
    assert scene.asked == ["system", "demo"]
    assert scene.state.choices.source == "system", "the demo is listened to once"


def test_a_source_that_could_not_be_opened_is_tried_again(make_scene):
    scene = make_scene()
    scene.sources["system"] = SourceError("not yet")
    scene.session._retry.setInterval(10)
    scene.start()
    scene.until(lambda: len(scene.asked) >= 2)
    scene.sources["system"] = scene.source
    scene.until_open()
    assert scene.session.now.state.status is SourceStatus.RUNNING


def test_another_source_takes_the_place_of_the_old_one_and_a_new_pass_begins(scene):
    scene.play_music(3.0)
    other = scene.sources["device:other"] = FakeSource(spec="device:other", name="the other input")
    scene.conductor.choose_source("device:other")
    scene.until(lambda: scene.session.now.state.info.spec == "device:other")
    scene.until(lambda: "stop" in scene.source.calls)
    scene.play(noise(3.0, seed=8, level_dbfs=-15.0), other)
    assert scene.window.bar.source.shown == "the other input"
    assert [event.kind for event in scene.timeline.events] == ["start", "source"]
    scene.until(lambda: scene.window.passes.count() == 3)
    assert scene.state.choices.source == "device:other"


def test_when_another_source_cannot_be_opened_the_old_one_goes_on_and_it_is_said(scene):
    scene.play_music(1.0)
    scene.sources["device:gone"] = SourceError("there is no input called gone; choose another")
    chooser = scene.window.bar.source
    chooser.show_infos([*LISTED, SourceInfo(spec="device:gone", name="gone")])
    chooser.setCurrentIndex(chooser.findText("gone"))
    chooser.activated.emit(chooser.currentIndex())
    scene.until(scene.window.message.isVisible)
    assert scene.window.message.label.text() == "There is no input called gone; choose another"
    scene.play_music(1.0)
    assert scene.window.bar.source.shown == "What the system plays"
    assert scene.state.choices.source == "system"


def test_a_source_that_refuses_to_start_leaves_the_old_one_going(scene):
    scene.sources["device:shy"] = FakeSource(
        spec="device:shy", name="shy", refuses="shy is in use; close what uses it"
    )
    scene.conductor.choose_source("device:shy")
    scene.until(scene.window.message.isVisible)
    assert scene.window.message.label.text() == "Shy is in use; close what uses it"
    scene.play_music(1.0)


def test_a_lost_source_is_said_and_so_is_what_was_lost_when_it_is_back(scene):
    scene.play_music(4.0)
    scene.source.become(status=SourceStatus.LOST, sentence="the input was unplugged; plug it in")
    scene.until(lambda: scene.said() == "The input was unplugged; plug it in")
    scene.source.lose(48_000)
    scene.source.become(status=SourceStatus.RUNNING, sentence=None)
    scene.play_music(2.0)
    scene.until(lambda: scene.window.status.lost.text() == "48000 frames lost (1 s)")
    scene.until(lambda: scene.said().startswith("1.0 s were lost"))
    scene.until(lambda: any(one.kind == "gap" for one in scene.window.findings.findings))


def test_a_target_chosen_while_the_first_source_is_opened_holds(make_scene):
    scene = make_scene()
    gate = threading.Event()
    opened = scene.session._opener._new_engine

    def slow(source):
        engine = opened(source)
        gate.wait(20.0)
        return engine

    scene.session._opener._new_engine = slow
    scene.start()
    scene.until(lambda: scene.asked)
    scene.conductor.choose_target("ebu-r128")
    gate.set()
    scene.until_open()
    scene.until(lambda: scene.session.now.target is scene.targets["ebu-r128"])


def test_what_takes_long_to_open_is_said_to_be_opening(scene):
    scene.play_music(1.0)
    gate = threading.Event()
    other = FakeSource(spec="device:other", name="the other input")

    def slow(spec):
        gate.wait(20.0)
        return other

    scene.session._opener._open_source = slow
    scene.conductor.choose_source("device:other")
    scene.until(lambda: scene.said() == "Opening other")
    gate.set()
    scene.until(lambda: scene.session.now.state.info.spec == "device:other")
    scene.until(lambda: scene.said() != "Opening other")


# --- empty states


def test_silence_of_the_system_is_called_nothing_is_playing(scene):
    scene.play_silence(4.0)
    scene.until(scene.window.empty.isVisible)
    assert scene.window.empty.title.text() == "Nothing is playing"
    assert scene.window.empty.text.text().startswith("Start the music")
    scene.play_music(4.0)
    scene.until(lambda: not scene.window.empty.isVisible())


def test_a_system_volume_that_is_not_0_db_is_said_and_no_verdict_is_shown(scene):
    scene.source.become(volume_db=-12.0)
    scene.play_music(5.0)
    scene.until(lambda: "the system volume is at −12.0 db" in scene.said().lower())
    assert scene.window.status.volume.text() == "system volume −12.0 dB"
    assert scene.session.now.verdicts == {}


# --- target, hold, mark


def test_another_target_is_held_against_from_then_on_and_remembered(scene):
    scene.play_music(4.0)
    scene.conductor.choose_target("ebu-r128")
    scene.until(lambda: scene.session.now.target is scene.targets["ebu-r128"])
    assert scene.window.bar.target.shown == "EBU R 128"
    assert scene.state.choices.target == "ebu-r128"
    scene.conductor.choose_target("")
    scene.until(lambda: scene.session.now.target is None)
    assert scene.window.bar.target.shown == "No target"


def test_held_nothing_is_measured_until_it_goes_on(scene):
    scene.play_music(2.0)
    press(scene, Qt.Key.Key_H)
    scene.until(lambda: scene.session.now.is_held)
    scene.until(lambda: scene.said() == "Held: nothing is measured until you go on")
    assert scene.window.bar.hold.text() == "Go on"
    slots = scene.timeline.slots
    scene.source.bring(noise(1.0, seed=1))
    scene.qtbot.mouseClick(scene.window.bar.hold, Qt.MouseButton.LeftButton)
    scene.until(lambda: not scene.session.now.is_held)
    scene.play_music(1.0)
    assert scene.timeline.slots >= slots
    scene.until(lambda: scene.window.bar.hold.text() == "Hold")
    scene.until(lambda: any(event.kind == "hold" for event in scene.timeline.events))


def test_a_mark_begins_the_next_pass(scene):
    scene.play_music(2.0)
    press(scene, Qt.Key.Key_M)
    scene.until(lambda: scene.session.now.pass_number == 2)
    scene.play_music(2.0)
    scene.until(lambda: scene.window.passes.count() == 3)
    first = scene.window.passes.item(2).text()
    assert first.startswith("1    0:0")


def test_while_held_the_numbers_of_the_open_pass_become_exact(scene):
    scene.play_music(20.0)
    scene.play_music(0.5, level_dbfs=-6.0)
    scene.conductor.toggle_hold()
    scene.until(lambda: scene.session.now.is_held)
    summary = scene.session.engine.live_pass.summary()
    peak = value_text(summary.true_peak_dbtp, plus=True)
    shown = typeset(f"I {value_text(summary.integrated_lufs)}   TP {peak}")
    scene.until(lambda: shown in scene.window.passes.item(1).text())


# --- places and findings


@pytest.fixture
def faulty(scene):
    """A scene in which the sides have worked against each other for a while."""
    scene.play_music(6.0)
    against = tone(50.0, 4.0, level_dbfs=-9.0, phases_deg=(0.0, 180.0))
    scene.play(against)
    scene.play_music(6.0)
    scene.until(lambda: any(one.kind == "lost in mono" for one in scene.window.findings.findings))
    return scene


def test_a_chosen_finding_moves_the_lanes_there_and_shows_the_numbers(faulty):
    window = faulty.window
    finding = next(one for one in window.findings.findings if one.kind == "lost in mono")
    window.findings.choose(finding)
    assert window.lanes.selection == (finding.first_slot, finding.last_slot)
    assert window.lanes.view.first_slot <= finding.first_slot
    assert not window.lanes.view.is_live
    assert window.moment.place.text().endswith(", pass 1")
    assert "lost in mono over 3 s" in window.moment.lines.text()
    press(faulty, Qt.Key.Key_Escape)
    assert window.lanes.view == LAST_MINUTE
    assert window.lanes.selection is None
    assert "Choose a finding" in window.moment.lines.text()


def test_a_point_in_a_lane_shows_the_numbers_of_that_moment(faulty):
    faulty.window.lanes.moment_chosen.emit(30)
    assert faulty.window.moment.place.text() == "0:03.0, pass 1"
    clock, momentary, *_ = faulty.window.moment.lines.text().splitlines()
    assert clock.endswith(" by the clock") and momentary.startswith("M −")
    assert faulty.window.views.live.isVisible()


def test_a_chosen_pass_is_drawn_from_its_beginning_to_its_end(faulty):
    faulty.conductor.session.mark()
    faulty.play_music(2.0)
    faulty.until(lambda: faulty.window.passes.count() == 3)
    window = faulty.window
    window.passes.setCurrentRow(2)
    window.passes.itemActivated.emit(window.passes.currentItem())
    one = window.passes.chosen
    assert (window.lanes.view.first_slot, window.lanes.view.last_slot) == (one.first_slot, one.last_slot)
    window.passes.setCurrentRow(0)
    window.passes.itemActivated.emit(window.passes.currentItem())
    assert window.lanes.view == LAST_MINUTE


def test_the_views_are_chosen_by_number_and_remembered(scene):
    scene.play_music(2.0)
    scene.until(lambda: scene.window.passes.newest is not None)
    press(scene, Qt.Key.Key_2)
    assert scene.window.lanes.view == LAST_10_MINUTES
    press(scene, Qt.Key.Key_3)
    assert scene.window.lanes.view.seconds is None and scene.window.lanes.view.is_live
    press(scene, Qt.Key.Key_4)
    assert scene.window.lanes.view.first_slot == 0
    assert scene.state.choices.view == "session"


def test_a_pass_with_a_tempo_is_folded_and_unfolded(scene):
    scene.play_music(14.0)
    scene.until(lambda: scene.window.passes.newest is not None)
    press(scene, Qt.Key.Key_B)
    dialog = scene.conductor.going.dialog
    dialog.bpm.setValue(300.0)
    dialog.downbeat.setValue(0.0)
    dialog.accept()
    assert scene.window.views.fold.isChecked()
    assert scene.conductor.going.place.is_folded
    assert scene.state.choices.bpm == 300.0
    # All the room is for the lanes; the findings are there when they are asked for.
    assert not scene.window.below.isVisible() and scene.window.views.findings.isVisible()
    scene.qtbot.mouseClick(scene.window.views.fold, Qt.MouseButton.LeftButton)
    assert not scene.window.views.fold.isChecked()
    assert not scene.conductor.going.place.is_folded
    assert scene.window.below.isVisible() and not scene.window.views.findings.isVisible()


def test_a_pass_too_short_to_fold_is_said_to_be_so(scene):
    scene.play_music(2.0)
    scene.until(lambda: scene.window.passes.newest is not None)
    scene.state.remember(bpm=60.0)
    scene.conductor.going.fold(True)
    assert "shorter than two phrases" in scene.window.message.label.text()


def test_slight_findings_wait_until_they_are_asked_for(scene):
    window = scene.window
    window.findings.set_findings((a_finding(10, severity=0.0), a_finding(30, severity=0.001)))
    assert window.no_findings.isVisible() and window.no_findings.text() == "Only slight ones so far."
    assert window.slighter.text() == "and 2 slight ones"
    window.slighter.click()
    assert window.findings.count() == 2 and window.findings.isVisible()
    assert window.slighter.text() == "without the 2 slight ones"
    window.findings.set_findings((a_finding(10, severity=0.0),))
    assert window.slighter.text() == "without the slight one"
    window.findings.set_findings(())
    assert not window.slighter.isVisible() and window.no_findings.text() == "Nothing found so far."


# --- forms


def test_the_theme_goes_from_the_systems_to_light_to_dark_and_to_night(scene):
    papers = []
    for _ in range(4):
        press(scene, Qt.Key.Key_D)
        papers.append((scene.state.choices.theme, scene.window.palette().window().color().name()))
    assert [name for name, _ in papers] == ["light", "dark", "night", "system"]
    assert papers[0][1] == "#f7f1e3" and papers[1][1] == "#141b22"


def test_the_small_form_takes_the_place_of_the_window_and_stays_on_top(scene):
    scene.play_music(4.0)
    press(scene, Qt.Key.Key_C)
    assert scene.compact.isVisible() and not scene.window.isVisible()
    assert scene.compact.windowFlags() & Qt.WindowType.WindowStaysOnTopHint
    scene.until(lambda: scene.compact.sentence.text())
    scene.compact.on_top.setChecked(False)
    assert not scene.compact.windowHandle().flags() & Qt.WindowType.WindowStaysOnTopHint
    assert scene.compact.isVisible()
    scene.qtbot.mouseClick(scene.compact.hold, Qt.MouseButton.LeftButton)
    scene.until(lambda: scene.session.now.is_held)
    press(scene, Qt.Key.Key_C, scene.compact)
    assert scene.window.isVisible() and not scene.compact.isVisible()
    scene.until(lambda: scene.window.bar.hold.isChecked())


def bring_unseen(scene, seconds):
    """Bring so much noise, and go on until the engine has measured it: the timeline waits."""
    live_pass = scene.session.engine.live_pass
    wanted = len(live_pass.store) + round(10 * seconds) - 1
    scene.source.bring(noise(seconds, seed=3, level_dbfs=-22.0))
    scene.until(lambda: len(live_pass.store) >= wanted)


def test_seen_again_it_shows_passes_and_findings_at_once_and_none_is_missing(scene):
    scene.play_music(4.0)
    scene.until(lambda: len(scene.session.thoughts.passes) == 1)
    scene.window.showMinimized()
    scene.until(lambda: scene.session._timer.interval() == IDLE_POLL_MS)
    scene.qtbot.wait(round(EVERY_S * 1500.0))
    bring_unseen(scene, 0.5)  # thought of once more, and then not for long
    scene.qtbot.wait(300)
    scene.source.bring(np.zeros((48_000 * 6, 2), np.float32))
    bring_unseen(scene, 3.0)
    assert len(scene.session.thoughts.passes) == 1
    scene.window.showNormal()
    scene.qtbot.waitUntil(lambda: len(scene.session.thoughts.passes) == 2, timeout=IDLE_EVERY_S * 500.0)


def test_minimised_it_polls_seldom_and_draws_nothing(scene):
    scene.play_music(1.0)
    scene.window.showMinimized()
    scene.until(lambda: scene.session._timer.interval() == IDLE_POLL_MS)
    said, seen = scene.window.status.lost.text(), scene.timeline.slots
    scene.source.lose(48_000)
    bring_unseen(scene, 2.0)
    assert scene.window.status.lost.text() == said
    assert scene.timeline.slots < seen + 10 + 20, "the newest are taken together, later"
    scene.window.showNormal()
    assert scene.timeline.slots >= seen + 10 + 20 - 1
    scene.until(lambda: scene.session._timer.interval() == POLL_MS)
    scene.until(lambda: scene.window.status.lost.text() == "48000 frames lost (1 s)")


def test_large_flags_are_chosen_and_remembered(scene):
    press(scene, Qt.Key.Key_R)
    assert scene.window.lanes.large and scene.compact.lanes.large and scene.state.choices.large


def test_help_and_the_caution_open_with_their_keys(scene):
    press(scene, Qt.Key.Key_F1)
    press(scene, Qt.Key.Key_F2)
    assert scene.conductor.pages["help"].isVisible()
    scene.qtbot.mouseClick(scene.window.views.caution, Qt.MouseButton.LeftButton)
    assert "Stop when" in scene.conductor.pages["caution"].text.toPlainText()


def test_a_lower_window_shows_the_findings_when_they_are_asked_for(scene):
    scene.window.resize(960, 540)
    assert not scene.window.below.isVisible()
    press(scene, Qt.Key.Key_F)
    assert scene.window.below.isVisible()
    scene.window.resize(1280, 800)
    assert scene.window.below.isVisible() and not scene.window.views.findings.isVisible()


def test_every_control_has_a_name_for_those_who_hear_it(scene):
    from PyQt6.QtWidgets import QAbstractButton, QComboBox, QListWidget

    for kind in (QAbstractButton, QComboBox, QListWidget):
        for one in scene.window.findChildren(kind):
            if one.focusPolicy() is Qt.FocusPolicy.NoFocus or one.objectName().startswith("qt_"):
                continue
            assert one.accessibleName() or getattr(one, "text", str)(), one


# --- the end


def test_closing_while_it_runs_ends_the_engine_and_remembers(scene):
    scene.play_music(2.0)
    scene.conductor.choose_theme("dark")
    scene.window.close()
    assert "stop" in scene.source.calls
    assert scene.session.engine.now.has_ended
    from ui.state import StateFile

    again = StateFile()
    assert again.problem is None
    assert again.choices.theme == "dark" and again.choices.geometry


def test_closing_while_a_source_is_being_opened_waits_for_it(make_scene):
    scene = make_scene()
    gate = threading.Event()
    source = scene.source

    def slow(spec):
        gate.wait(20.0)
        return source

    scene.session._opener._open_source = slow
    scene.start()
    threading.Timer(0.05, gate.set).start()
    scene.conductor.quit()
    assert source.calls in (["start", "needs", "stop"], [])


def test_an_exception_in_a_slot_is_said_and_ends_nothing(scene, caplog):
    from ui.log import Mishaps

    mishaps = Mishaps(scene.conductor.misfortune.emit)
    mishaps.watch()
    try:
        import sys

        try:
            raise ValueError("a mistake")
        except ValueError:
            sys.excepthook(*sys.exc_info())
    finally:
        mishaps.leave()
    scene.until(scene.window.message.isVisible)
    assert "a mistake" in scene.window.message.label.text()
    assert any("not caught" in record.message for record in caplog.records)
    caplog.clear()
    scene.play_music(1.0)
