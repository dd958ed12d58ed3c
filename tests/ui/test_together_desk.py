"""A kick and a sub from two stems, in the window."""

import numpy as np
import pytest
import soundfile
from PyQt6.QtCore import QMimeData, QPointF, Qt, QUrl
from PyQt6.QtGui import QDropEvent

from demo_signals.pattern import RATE_HZ
from meter.kick_and_sub import together
from tests.support.drum_patterns import swept_kick
from tests.test_kick_and_sub import TIMES_S, body_of, column, stem, sub_notes
from ui.together_plots import HitsPlot, ScanPlot


@pytest.fixture
def stems(tmp_path):
    """A kick, a sub upside down, and one that runs free."""
    kick = 0.5 * stem(swept_kick(55.0))
    sounds = {
        "kick": kick,
        "turned": -body_of(kick),
        "free": sub_notes(53.0, np.linspace(0.0, 5.5, len(TIMES_S))),
    }
    for name, sound in sounds.items():
        soundfile.write(tmp_path / f"{name}.wav", sound, RATE_HZ, subtype="FLOAT")
    soundfile.write(
        tmp_path / "both.wav", np.stack([kick, kick, sounds["turned"], sounds["turned"]], axis=1), RATE_HZ,
        subtype="FLOAT",
    )  # fmt: skip
    return tmp_path


def asked(scene, kick=None, sub=None):
    scene.conductor.actions["together"].trigger()
    desk = scene.conductor.together
    for key, path in (("kick", kick), ("sub", sub)):
        if path is not None:
            desk.take_file(key, str(path))
    return desk, desk.page


def look(scene, desk):
    scene.qtbot.mouseClick(desk.page.look, Qt.MouseButton.LeftButton)
    scene.until(lambda: not desk.is_at_work)


def test_it_is_in_the_menu_and_begins_empty(scene):
    texts = [action.text() for action in scene.window.bar.menu.actions()]
    assert "Kick and sub together …" in texts
    _, page = asked(scene)
    assert page.isVisible() and not page.advice.isVisible() and not page.problem.isVisible()
    assert page.stems["kick"].file.text() == "no file yet: the kick by itself"


def test_a_setting_that_helps_is_suggested_and_drawn(scene, stems):
    desk, page = asked(scene, stems / "kick.wav", stems / "turned.wav")
    look(scene, desk)
    assert page.advice.text().startswith("Try: turn the sub's polarity; that gains 1")
    lines = page.lines.text().split("\n")
    assert lines[0] == "8 hits have a sub under them."
    assert lines[1].startswith("As they are: they cancel, 1") and "−" in lines[1]
    hits, scan = (one for one in page.plots if isinstance(one, HitsPlot | ScanPlot))
    assert len(hits.hits) == 8 and "8 hits" in hits.accessibleDescription()
    assert "polarity turned" in scan.accessibleDescription()
    assert scan.isVisible() and hits.isVisible() and not page.progress.isVisible()
    assert page.look.isEnabled()
    assert scene.state.choices.folder == str(stems)
    page.close()


def test_what_varies_is_said_to_vary(scene, stems):
    desk, page = asked(scene, stems / "kick.wav", stems / "free.wav")
    look(scene, desk)
    assert page.advice.text().startswith("It varies from hit to hit, no one setting helps: retrigger")


def test_both_may_be_in_one_file(scene, stems):
    desk, page = asked(scene, stems / "both.wav", stems / "both.wav")
    look(scene, desk)
    assert page.problem.text().startswith("Kick and sub are the same file, but two were expected")
    page.stems["kick"].channels.setText("1,2")
    page.stems["sub"].channels.setText("3,4")
    look(scene, desk)
    assert page.advice.text().startswith("Try: turn the sub's polarity")
    page.stems["sub"].channels.setText("3")
    look(scene, desk)
    assert page.problem.text().startswith("Channels 3 came; expected two different channels")
    assert not page.advice.isVisible(), "what was found before is of other channels"


@pytest.mark.parametrize(
    ("kick", "sub", "said"),
    [
        (None, "turned.wav", "No kick came, but a kick and a sub were expected; choose the file of it"),
        ("kick.wav", None, "No sub came"),
        ("gone.wav", "turned.wav", "gone.wav"),
        ("bad.wav", "turned.wav", "bad.wav"),
        ("silence.wav", "turned.wav", "No kick was found in the first of the two"),
        ("kick.wav", "slow.wav", "render both at the same rate"),
    ],
)
def test_what_is_wrong_is_said_in_a_sentence(scene, stems, kick, sub, said):
    (stems / "bad.wav").write_text("this is a shopping list")
    soundfile.write(stems / "silence.wav", np.zeros(RATE_HZ), RATE_HZ)
    soundfile.write(stems / "slow.wav", np.zeros(RATE_HZ), 44_100)
    desk, page = asked(scene, *(None if name is None else stems / name for name in (kick, sub)))
    look(scene, desk)
    assert said in page.problem.text() and page.problem.isVisible()
    assert "\n" not in page.problem.text() and page.look.isEnabled() and not page.plots


def test_cancel_breaks_it_off(scene, stems):
    desk, page = asked(scene, stems / "kick.wav", stems / "turned.wav")
    desk.progressed.connect(lambda share: desk.cancel(), Qt.ConnectionType.DirectConnection)
    look(scene, desk)
    assert page.problem.text() == "Cancelled; nothing was found out" and not page.plots
    assert not page.progress.isVisible()


def test_another_file_takes_what_was_found_away(scene, stems):
    desk, page = asked(scene, stems / "kick.wav", stems / "turned.wav")
    look(scene, desk)
    assert page.advice.isVisible()
    desk.take_file("sub", str(stems / "free.wav"))
    assert not page.advice.isVisible() and not any(one.isVisible() for one in page.plots)


def test_two_files_that_are_dropped_are_kick_and_sub(scene, stems):
    _, page = asked(scene)
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(stems / name)) for name in ("kick.wav", "free.wav")])
    drop = QDropEvent(
        QPointF(50, 50), Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )  # fmt: skip
    page.dropEvent(drop)
    assert [row.path for row in page.stems.values()] == [str(stems / "kick.wav"), str(stems / "free.wav")]


def test_the_plots_lie_where_the_numbers_say(app):
    kick = 0.5 * stem(swept_kick(55.0))
    found = together(column(kick), column(-body_of(kick)), rate_hz=RATE_HZ)
    hits, scan = HitsPlot(found, ""), ScanPlot(found, "")
    for plot in (hits, scan):
        plot.resize(600, 200)
        assert plot.point(0.0, 3.0).y() < plot.point(0.0, 0.0).y() < plot.point(0.0, -6.0).y()
        assert plot.point(0.0, -90.0).y() == plot.point(0.0, plot.low_db).y() == plot.plot().bottom()
        inside = plot.plot().adjusted(-1, -1, 1, 1)
        assert all(inside.contains(plot.point(at, 0.0)) for at, _ in plot.ticks())
    assert [text for _, text in scan.ticks()][::3] == ["12 ms earlier", "where it is", "12 ms later"]
    assert scan.scan_db.shape == (2, len(scan.places_ms))
    best = np.unravel_index(scan.scan_db.argmax(), scan.scan_db.shape)
    assert best[0] == 1 and abs(scan.places_ms[best[1]]) < 0.4
    middle = len(scan.places_ms) // 2
    assert scan.scan_db[0, middle] == pytest.approx(found.g_db) and scan.places_ms[middle] == 0.0
