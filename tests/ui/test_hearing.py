"""The arrangement Hearing: the words stand there, a setup is followed, and entries can be undone."""

import math
import time

import pytest

from meter.exposure.calibration import Calibration
from meter.exposure.lanes import WORDS
from meter.exposure.rules import RULES
from meter.exposure.store import ExposureStore
from meter.journal.store import open_journal, read_journal
from ui.caution import EAR_LINE, LINE
from ui.hearing_page import NOT_SAID

PHONES = Calibration(
    setup="closed", feeds="headphones", kind="computed", full_scale_db=104.0, plus_db=3.0, date="2026-01-02"
)


@pytest.fixture
def setup():
    with open_journal() as journal:
        ExposureStore(journal).save(PHONES)


def flown(scene):
    return {key: [one.text for one in flags] for key, flags in scene.window.lanes._picture._flags.items()}


def test_the_words_stand_there_in_hearing_and_only_there(scene):
    window = scene.window
    scene.conductor.choose_arrangement("hearing")
    assert window.words.isVisible() and window.words.text() == WORDS
    assert window.views.caution.accessibleName() == EAR_LINE
    assert "leadline hearing" in scene.said()
    scene.conductor.choose_arrangement("master")
    assert not window.words.isVisible() and window.views.caution.accessibleName() == LINE


def test_a_chosen_setup_is_followed_drawn_and_remembered(setup, scene):
    conductor = scene.conductor
    conductor.choose_arrangement("hearing")
    scene.play_music(4.0)
    conductor.actions["ears"].trigger()
    page = conductor.hearing.page
    assert page.setup.itemText(0) == NOT_SAID
    page.setup.setCurrentIndex(page.setup.findData("closed"))
    page.rule.setCurrentIndex(page.rule.findData("niosh"))
    page.accept()
    scene.until(lambda: scene.session.ear is not None)
    time.sleep(1.3)  # it has looked once
    assert scene.session.ear.session_dba is None, "what was heard before the choice is not counted"
    assert scene.state.choices.ear_setup == "closed" and conductor.hearing.rule is RULES["niosh"]
    scene.play_music(3.0)
    scene.until(lambda: scene.session.ear is not None and scene.session.ear.level_dba is not None)
    scene.play_music(1.0)
    scene.until(lambda: flown(scene).get("ear", [""])[0].startswith("about"))
    timeline = scene.session.timeline
    scene.until(lambda: math.isfinite(timeline.values("ear_dba", timeline.slots - 1, timeline.slots)[0]))
    level = timeline.values("ear_dba", timeline.slots - 5, timeline.slots)
    upper = timeline.values("ear_high_dba", timeline.slots - 5, timeline.slots)
    assert 40.0 < level[-1] < 110.0 and upper[-1] - level[-1] == pytest.approx(3.0, abs=0.01)
    assert math.isnan(timeline.values("ear_dba", 0, 5)[0]), "before a setup was chosen nothing was known"
    assert "NIOSH REL" in scene.said() and "estimated" in scene.said()


def test_what_was_heard_elsewhere_is_counted_until_it_is_undone(setup, scene):
    conductor = scene.conductor
    conductor.actions["ears"].trigger()
    page = conductor.hearing.page
    page.note.setText("gig")
    page.hours.setValue(4.0)
    page.accept()
    with read_journal() as journal:
        (entry,) = ExposureStore(journal).entries()
    assert (entry.note, entry.part.hours, entry.part.level_dba) == ("gig", 4.0, 98.0)
    message = scene.window.message
    assert "gig, 4 h at about 98 ± 3 dBA" in message.label.text()
    message.undo.click()
    with read_journal() as journal:
        assert ExposureStore(journal).entries() == []


def test_a_journal_that_cannot_be_read_is_said_and_changes_nothing(scene, monkeypatch):
    from meter.errors import JournalError

    def refuse(*args, **more):
        raise JournalError("the journal cannot be written: the disk is read-only; free it")

    conductor = scene.conductor
    conductor.actions["ears"].trigger()
    monkeypatch.setattr("meter.journal.store.open_journal", refuse)
    monkeypatch.setattr("meter.journal.store.read_journal", refuse)
    conductor.hearing.page.hours.setValue(1.0)
    conductor.hearing.page.accept()
    assert "read-only" in scene.window.message.label.text()


def test_seven_days_stand_under_the_lanes_of_hearing_with_what_was_entered(setup, scene):
    conductor, week = scene.conductor, scene.window.week
    assert not week.isVisible()
    conductor.choose_arrangement("hearing")
    scene.until(lambda: week.days)
    assert week.isVisible() and "WHO-ITU, adults" in week.title
    assert week.days[-1].both.hours == 0.0
    conductor.actions["ears"].trigger()
    page = conductor.hearing.page
    page.note.setText("gig")
    page.hours.setValue(0.1)
    page.rule.setCurrentIndex(page.rule.findData("niosh"))
    page.accept()
    scene.until(lambda: "NIOSH" in week.title and sum(day.both.hours for day in week.days) > 0.0)
    assert any("gig" in day.notes for day in week.days)
    assert "gig" in week.accessibleDescription() and "estimated" in week.accessibleDescription()
    scene.window.message.undo.click()
    scene.until(lambda: not any(day.notes for day in week.days))
    conductor.choose_arrangement("master")
    assert not week.isVisible()


def test_the_lanes_of_hearing_are_told_in_words(setup, scene):
    scene.conductor.choose_arrangement("hearing")
    scene.play_music(2.0)
    scene.until(lambda: all(one.accessibleDescription() for one in scene.window.lanes._spoken))
    said = [one.accessibleDescription() for one in scene.window.lanes._spoken]
    assert said[0].startswith("How loud at the ear?")


def test_in_a_low_window_the_lanes_keep_the_room(scene):
    scene.conductor.choose_arrangement("hearing")
    scene.window.resize(900, 500)
    scene.until(lambda: not scene.window.week.isVisible())
    scene.window.resize(1280, 800)
    scene.until(lambda: scene.window.week.isVisible())
