from PyQt6.QtCore import Qt

from meter.chosen_part import part_lines
from ui.style import typeset


def shown(scene):
    moment = scene.window.moment
    return [moment.place.text(), *moment.lines.text().split("\n")]


def test_a_dragged_part_is_measured_again_and_escape_forgets_it_before_it_goes_back(scene):
    scene.play_music(6.0)
    lanes = scene.window.lanes
    scene.until(lambda: scene.timeline.slots >= 58)
    lanes.setFocus()
    for key, held in (
        (Qt.Key.Key_Home, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_End, Qt.KeyboardModifier.ShiftModifier),
    ):
        scene.qtbot.keyClick(lanes, key, held)
    first, last = lanes.selection
    assert last - first > 50
    assert shown(scene) == [typeset(line) for line in part_lines(scene.timeline, first, last)]
    scene.conductor.actions["live"].trigger()
    assert lanes.selection is None and not scene.window.moment.place.isVisible()
    assert scene.conductor.going.moment is None


def test_escape_leaves_a_file_only_when_no_part_of_it_is_chosen(scene, tmp_path):
    import soundfile

    from tests.support.sound import noise

    soundfile.write(tmp_path / "a.wav", noise(6.0, seed=4, level_dbfs=-20.0), 48_000)
    scene.conductor.desk.open([str(tmp_path / "a.wav")])
    scene.until(lambda: scene.conductor.going.file is not None)
    going, lanes = scene.conductor.going, scene.window.lanes
    lanes.select(10, 30)
    lanes.span_chosen.emit(10, 30)
    assert shown(scene)[:2] == ["0:01.0 to 0:03.0", "2.0 s"]
    scene.conductor.actions["live"].trigger()
    assert going.file is not None and lanes.selection is None
    scene.conductor.actions["live"].trigger()
    assert going.file is None
