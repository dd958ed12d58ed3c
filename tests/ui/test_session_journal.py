import numpy as np

from meter.journal.opening import journal_path
from meter.journal.store import read_journal
from tests.support.sound import noise


def passes():
    with read_journal() as journal:
        return [(kept.start.spec, kept.is_ended) for kept in journal.passes()]


def test_what_is_heard_live_is_kept_in_the_journal(make_scene):
    scene = make_scene(keeps=True).start().until_open()
    scene.play_music(3.0)
    scene.conductor.quit()
    assert passes() == [("system", True)]


def test_without_the_journal_nothing_is_kept(make_scene):
    scene = make_scene(keeps=False).start().until_open()
    scene.play_music(3.0)
    scene.conductor.quit()
    assert passes() == []


def test_what_is_wrong_with_the_journal_is_said_in_the_message_line(monkeypatch, make_scene):
    monkeypatch.setattr("meter.journal.writer.LAST_TRIES_S", 0.1)
    path = journal_path()
    path.mkdir(parents=True)
    scene = make_scene(keeps=True).start().until_open()
    scene.until(scene.window.message.isVisible)
    assert str(path) in scene.window.message.label.text()
    before = scene.timeline.slots
    scene.play(noise(1.0, seed=1, level_dbfs=-20.0))
    assert scene.timeline.slots > before, "measuring goes on"


def test_a_set_is_one_pass_in_the_list_and_in_the_journal(make_scene):
    scene = make_scene(keeps=True).start().until_open()
    scene.conductor.choose_arrangement("set")
    scene.play_music(3.0)
    scene.play(np.zeros((48_000 * 7, 2)))
    scene.play_music(3.0)
    scene.until(lambda: scene.session.thoughts.passes)
    scene.conductor.choose_arrangement("master")
    scene.conductor.quit()
    assert passes() == [("system", True)]
    assert len(scene.session.thoughts.passes) == 1
