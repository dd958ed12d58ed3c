import numpy as np
import pytest
import soundfile
from PyQt6.QtCore import QMimeData, QPointF, Qt, QUrl
from PyQt6.QtGui import QDropEvent

from meter.low_end.settings import LowEndSettings
from tests.low_end.test_heard_findings import notes
from tests.support.sound import noise
from ui import fonts
from ui.passes_list import ROOM_PX
from ui.style import TEXT_PX


@pytest.fixture
def crate(tmp_path):
    """Two tunes of six seconds, the second 2 dB louder, and what is none."""
    for name, level_dbfs in (("a.wav", -22.0), ("b.wav", -20.0)):
        soundfile.write(tmp_path / name, noise(6.0, seed=4, level_dbfs=level_dbfs), 48_000, subtype="FLOAT")
    (tmp_path / "bad.wav").write_text("this is a shopping list")
    return tmp_path


def opened(scene, paths, count):
    desk = scene.conductor.desk
    desk.open([str(path) for path in paths])
    scene.until(lambda: len(desk.files) == count and not scene.window.progress.isVisible())
    return desk


def rows(scene):
    passes = scene.window.passes
    return [passes.item(row).text().split("\n") for row in range(passes.count())]


def test_no_line_of_a_row_is_wider_than_the_list(scene, crate):
    opened(scene, [crate / "a.wav"], 1)
    change = "loudest 30 s +1.7 LU, true peak +0.2 dB"
    scene.window.passes.write_file(0, "a.wav", "2:16  I -12.0  TP +0.3", change)
    row = rows(scene)[2]
    assert row[2:] == ["since last", "loudest 30 s +1.7 LU", "true peak +0.2 dB"]
    assert all(fonts.metrics(TEXT_PX).horizontalAdvance(line) <= ROOM_PX for line in row)


def test_a_folder_is_measured_file_by_file_and_what_is_bad_is_said(scene, crate):
    opened(scene, [crate], 2)
    texts = rows(scene)
    assert [lines[0] for lines in texts] == ["What sounds now", "Opened", "b.wav", "a.wav"]
    assert texts[2][2:] == ["since last +2.0 LU", "true peak +2.0 dB"]
    assert "bad.wav" in scene.window.message.label.text()
    assert scene.window.message.isVisible()


def test_the_first_file_is_drawn_with_its_findings_and_its_sentence(scene, crate):
    desk = opened(scene, [crate / "a.wav"], 1)
    going = scene.conductor.going
    assert going.file is desk.files[0]
    assert scene.window.lanes._picture._timeline is going.file.timeline
    assert scene.window.findings.findings == going.file.findings
    scene.until(lambda: scene.said().startswith("a.wav, against Club"))
    lufs = going.file.checked.summary.integrated_lufs
    assert f"I −{abs(lufs):.1f} LUFS" in scene.said()
    going.choose_moment(30)
    assert scene.window.moment.place.text() == "0:03.0"


def test_live_goes_on_meanwhile_and_now_goes_back_to_it(scene, crate):
    scene.play_music(4.0)
    opened(scene, [crate / "a.wav"], 1)
    before = scene.timeline.slots
    scene.play_music(2.0)
    assert scene.timeline.slots > before
    assert scene.conductor.going.file is not None and not scene.conductor.going.shows_now()
    scene.conductor.going.go_live()
    assert scene.window.lanes._picture._timeline is scene.timeline
    assert scene.window.passes.currentRow() == 0
    scene.until(lambda: "a.wav" not in scene.said())
    assert scene.conductor.going.shows_now()


def test_a_chosen_file_is_shown_again_and_the_view_is_zoomed_around_its_loudest(scene, crate):
    opened(scene, [crate], 2)
    item = scene.window.passes.item(3)
    scene.window.passes.itemClicked.emit(item)
    assert scene.conductor.going.file.title == "a.wav"
    view = scene.window.lanes.view
    assert (view.first_slot, view.last_slot) == (0, 60)
    scene.conductor.going.choose_view("60 s")
    assert not scene.window.lanes.view.is_live


def test_another_target_judges_the_shown_file_again(scene, crate):
    opened(scene, [crate / "a.wav"], 1)
    timeline = scene.conductor.going.file.timeline
    scene.conductor.choose_target("ebu-r128")
    shown = scene.conductor.going.file
    assert shown.checked.options.target.name == "ebu-r128" and shown.timeline is timeline
    scene.until(lambda: "against Club" not in scene.said())


def test_files_that_are_dropped_are_opened(scene, crate):
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(crate / "a.wav")), QUrl("https://example.invalid/b.wav")])
    drop = QDropEvent(
        QPointF(50, 50),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    with scene.qtbot.waitSignal(scene.window.dropped) as told:
        scene.window.dropEvent(drop)
    assert told.args == [[str(crate / "a.wav")]]
    scene.until(lambda: scene.conductor.desk.files)


def test_cancel_ends_the_run_and_says_what_stays(scene, crate):
    opener, said = scene.conductor.desk.opener, []
    scene.conductor.desk.said.connect(said.append)
    opener.progressed.connect(lambda words, share: opener.cancel(), Qt.ConnectionType.DirectConnection)
    scene.conductor.desk.open([str(crate / "a.wav")] * 3)
    scene.until(lambda: said)
    assert said == ["cancelled; 1 of 3 was measured and stays"]
    assert not scene.window.progress.isVisible() and len(scene.conductor.desk.files) == 1


def test_progress_is_said_with_its_share(scene, crate):
    told = []
    scene.conductor.desk.opener.progressed.connect(lambda *what: told.append(what))
    opened(scene, [crate / "a.wav", crate / "b.wav"], 2)
    assert told[-1][1] == 1.0 and 0.0 < told[0][1] < 1.0
    assert told[0][0].startswith("measuring 1 of 2, a.wav: ")


def test_files_are_asked_for_in_a_dialog_that_begins_where_it_was(scene, crate):
    opened(scene, [crate / "a.wav"], 1)
    assert scene.state.choices.folder == str(crate)
    scene.conductor.actions["open_files"].trigger()
    dialog = scene.conductor.desk.dialog
    assert dialog.directory().absolutePath() == str(crate)
    dialog.reject()
    scene.conductor.actions["open_folder"].trigger()
    assert scene.conductor.desk.dialog.fileMode() is dialog.FileMode.Directory
    scene.conductor.desk.dialog.reject()


def test_silence_and_a_single_sample_are_drawn_too(scene, tmp_path):
    for name, frames in (("silent.wav", 48_000), ("one.wav", 1)):
        soundfile.write(tmp_path / name, np.zeros((frames, 2), np.float32), 48_000)
    opened(scene, [tmp_path / "silent.wav", tmp_path / "one.wav"], 2)
    scene.window.passes.itemClicked.emit(scene.window.passes.item(2))
    scene.window.lanes.grab()


def test_of_many_problems_a_few_are_shown_and_the_rest_counted():
    from meter.file_words import problems_text

    assert problems_text([]) == ""
    assert problems_text(["a", "b"]) == "a\nb"
    assert problems_text([str(k) for k in range(9)]).split("\n")[3].startswith("and 6 more like these")


def test_a_file_is_taken_out_of_the_list_and_brought_back(scene, crate, qtbot):
    desk = opened(scene, [crate / "a.wav", crate / "b.wav"], 2)
    passes, going = scene.window.passes, scene.conductor.going
    shown = going.file
    passes.setCurrentRow(passes._row_of(("file", desk.number_of(shown))))
    qtbot.keyClick(passes, Qt.Key.Key_Delete)
    assert going.file is None and len(desk.files) == 1
    assert [lines[0] for lines in rows(scene)] == ["What sounds now", "Opened", "b.wav"]
    scene.window.message.undo.click()
    assert len(desk.files) == 2 and desk.number_of(shown) is not None
    for number in list(desk.files):
        desk.remove(number)
    assert [lines[0] for lines in rows(scene)] == ["What sounds now"]
    assert (crate / "a.wav").exists()
    opened(scene, [crate / "a.wav"], 1)
    assert going.file in desk.files.values()


def test_files_are_measured_with_the_settings_of_the_low_end(scene, tmp_path):
    soundfile.write(tmp_path / "sub.wav", notes(0, 0, 0, 0, 45), 48_000, subtype="FLOAT")
    scene.state.remember(key="B♭ minor", a4_hz=441.0, kick_low_hz=50.0, kick_high_hz=60.0, crossover_hz=90.0)
    desk = opened(scene, [tmp_path / "sub.wav"], 1)
    options = desk.files[0].checked.options
    assert options.low_end == LowEndSettings(
        key="B♭ minor", a4_hz=441.0, kick_band_hz=(50.0, 60.0), crossover_hz=90.0
    )
    assert options.crossover_hz == 90.0
    assert "outside the key" in {one.kind for one in scene.window.findings.findings}


def test_other_settings_of_the_low_end_judge_the_shown_file_again_and_another_when_it_is_chosen(
    scene, tmp_path
):
    for name in ("a.wav", "b.wav"):
        soundfile.write(tmp_path / name, notes(0, 0, 0, 0, 45), 48_000, subtype="FLOAT")
    desk = opened(scene, [tmp_path], 2)
    kinds = [one.kind for one in scene.window.findings.findings]
    assert "out of tune" in kinds and "outside the key" not in kinds
    low_end = scene.conductor.low_end
    low_end.ask()
    low_end.page.key.setText("B♭ minor")
    low_end.page.a4.setValue(452.0)
    low_end.page.accept()
    again = [one.kind for one in scene.window.findings.findings]
    assert "outside the key" in again
    assert again.count("out of tune") == kinds.count("out of tune"), "the tuning of all is taken out"
    assert low_end.pieces()[0].low_end.tuning_cents < -40.0
    desk.choose(1)
    assert "outside the key" in {one.kind for one in scene.window.findings.findings}


def test_the_crossover_is_that_of_what_is_heard_from_the_start_on(make_scene):
    first = make_scene()
    first.state.remember(crossover_hz=90.0)
    first.state.save()
    scene = make_scene().start().until_open()
    assert scene.session.now.crossover_hz == 90.0
