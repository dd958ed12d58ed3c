import threading

from PyQt6.QtCore import Qt

from meter.capture.records import SourceInfo
from meter.target_file import shipped_targets
from ui.choosers import OPEN_FILE, SPEC, SourceChooser, TargetChooser

SYSTEM = SourceInfo(spec="system", name="what the system plays")
MIC = SourceInfo(spec="device:mic", name="mic")
GONE = SourceInfo(spec="device:NAME", name="inputs", why_not="no input was found", what_to_do="plug one in")


def entries(chooser):
    return [(chooser.itemData(row, SPEC), chooser.itemText(row)) for row in range(chooser.count())]


def test_what_cannot_be_heard_is_listed_with_the_reason_and_cannot_be_chosen(qtbot):
    chooser = SourceChooser(lambda: [SYSTEM, GONE])
    qtbot.addWidget(chooser)
    chooser.look_around()
    qtbot.waitUntil(lambda: not chooser._is_looking)
    assert entries(chooser)[1] == ("device:NAME", "Inputs: no input was found; plug one in")
    assert not chooser.model().item(1).flags() & Qt.ItemFlag.ItemIsEnabled


def test_sources_are_looked_for_beside_the_window(qtbot):
    gate, asked = threading.Event(), []

    def slow():
        asked.append(threading.current_thread())
        gate.wait(20.0)
        return [SYSTEM, MIC]

    chooser = SourceChooser(slow)
    qtbot.addWidget(chooser)
    chooser.look_around()
    chooser.look_around()
    assert chooser.count() == 3
    gate.set()
    qtbot.waitUntil(lambda: any(key == "device:mic" for key, _ in entries(chooser)))
    assert len(asked) == 1 and asked[0] is not threading.main_thread()


def test_a_list_that_fails_leaves_what_was_there(qtbot, caplog):
    def fails():
        raise RuntimeError("no")

    chooser = SourceChooser(fails)
    qtbot.addWidget(chooser)
    before = entries(chooser)
    chooser.look_around()
    qtbot.waitUntil(lambda: not chooser._is_looking)
    assert entries(chooser) == before
    assert "sources could not be listed" in caplog.text
    caplog.clear()


def test_a_file_is_asked_for_and_told_as_a_source(qtbot):
    chosen = []
    chooser = SourceChooser(lambda: [], choose_file=lambda parent: "/music/a tune.wav")
    qtbot.addWidget(chooser)
    chooser.chosen.connect(chosen.append)
    chooser.activated.emit(chooser.findData(OPEN_FILE, SPEC))
    assert chosen == ["file:/music/a tune.wav"]


def test_no_file_is_no_choice(qtbot):
    chosen = []
    chooser = SourceChooser(lambda: [], choose_file=lambda parent: "")
    qtbot.addWidget(chooser)
    chooser.set_current(SYSTEM)
    chooser.chosen.connect(chosen.append)
    chooser.activated.emit(chooser.findData(OPEN_FILE, SPEC))
    assert chosen == [] and chooser.shown == "What the system plays"


def test_what_is_listened_to_is_shown_even_when_no_list_has_it(qtbot):
    chooser = SourceChooser(lambda: [SYSTEM])
    qtbot.addWidget(chooser)
    chooser.set_current(SourceInfo(spec="file:/a.wav", name="a.wav"))
    assert chooser.shown == "a.wav"
    assert entries(chooser)[0][0] == "file:/a.wav"


def test_setting_a_choice_tells_nobody(qtbot):
    told = []
    chooser = TargetChooser()
    qtbot.addWidget(chooser)
    chooser.chosen.connect(told.append)
    chooser.set_targets(shipped_targets())
    chooser.show_chosen("ebu-r128")
    assert told == [] and chooser.shown == "EBU R 128"
    chooser.activated.emit(0)
    assert told == [""]
    assert chooser.target("") is None and chooser.target("club").title == "Club"
