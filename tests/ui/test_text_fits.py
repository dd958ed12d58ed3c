"""No text of the window is cut, at 100, 200 and 300 %, in the large form and in the small ones.

The scaling of a screen is fixed when the program starts, so each is a process of its own.
"""

import os
import subprocess
import sys

import pytest

PROGRAM = """
import sys
from PyQt6.QtCore import QRect, Qt
from PyQt6.QtWidgets import QAbstractButton, QComboBox, QLabel, QScrollArea

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.delivery.of_pass import PageText
from meter.kick_and_sub import together
from meter.now import Now
from meter.target_file import shipped_targets
from meter.together_words import page_text
from tests.support.drum_patterns import swept_kick
from tests.support.fake_source import FakeSource
from tests.test_kick_and_sub import body_of, column, stem
from ui import app as shell, fonts
from ui.caution import LINE
from ui.delivery_page import DeliveryPage

app = shell._application()
targets = shipped_targets()
conductor = shell.build(app, targets, target=targets["club"], has_target=True, list_sources=lambda: [])
window, compact = conductor.window, conductor.compact
conductor.show()
LONG = (
    "4.8 dB are lost in mono below 120 Hz (3 s, at most 1.0): left and right differ in phase there; "
    "make it narrower, or leave it if it never plays in mono"
)
MOMENT = [
    "1:40:12.0, pass 10", "M -88.0 LUFS", "S -88.3 LUFS", "true peak +10.2 dBTP", "12 overs here",
    "r -0.25 over 3 s", "lost in mono over 3 s:", "below 120 Hz -60.0 dB", "20-60 Hz -60.0 dB",
    "60-120 Hz -60.0 dB", "120-250 Hz -60.0 dB",
]
checked = 0


def walk(top, where):
    global checked
    for _ in range(3):
        app.processEvents()
    for label in top.findChildren(QLabel):
        if label.isVisible() and label.text() and not label.objectName().startswith("qt_"):
            room = label.contentsRect()
            flags = int(Qt.TextFlag.TextWordWrap) if label.wordWrap() else 0
            text = label.text() if label.buddy() is None else label.text().replace("&", "")
            need = label.fontMetrics().boundingRect(QRect(0, 0, room.width(), 10000), flags, text)
            fits = need.width() <= room.width() + 1 and need.height() <= room.height() + 1
            assert fits, f"{where}: {text!r} needs {need} and has {room}"
            checked += 1
    for button in top.findChildren(QAbstractButton):
        if button.isVisible() and button.text():
            need = button.fontMetrics().horizontalAdvance(button.text())
            has = button.width() - 4
            assert need <= has, f"{where}: {button.text()!r} needs {need}, has {has}"
            assert button.fontMetrics().height() <= button.height(), f"{where}: {button.text()!r} is too low"
            checked += 1
    for widget in top.findChildren(QLabel) + top.findChildren(QAbstractButton) + top.findChildren(QComboBox):
        if widget.isVisible() and not widget.objectName().startswith("qt_"):
            if window.moment.isAncestorOf(widget) and top.height() < 600:
                continue  # there is little room: it is scrolled to
            scrolls = [one.widget() for one in top.findChildren(QScrollArea) if one.widget() is not None]
            # What is scrolled to lies in what is scrolled.
            whole = next((one for one in scrolls if one.isAncestorOf(widget)), top)
            place = QRect(widget.mapTo(whole, widget.rect().topLeft()), widget.size())
            assert whole.rect().contains(place), f"{where}: {widget} lies outside of {whole.rect()}"


for size in ((1280, 800), (1600, 1000), (960, 540), (900, 500)):
    window.resize(*size)
    window.views.show_is_live(False)
    window.sentence.say(LONG)
    window.message.say(LONG)
    window.moment.show_lines(MOMENT)
    walk(window, f"window {size}")
    window.message.hide()
    walk(window, f"window {size} without a message")
    conductor.choose_arrangement("set")
    window.sentence.say(LONG)
    walk(window, f"set {size}")
    conductor.choose_arrangement("master")
window.resize(1280, 800)
opening = SourceState(status=SourceStatus.OPENING, sentence=None, info=SourceInfo(spec="system", name="it"))
for said in ("gone", LONG, "gone"):
    for status in (SourceStatus.OPENING, SourceStatus.LOST, SourceStatus.ENDED):  # with buttons or without
        state = SourceState(status=status, sentence=said, info=SourceInfo(spec="system", name="it"))
        for is_hidden_before in (False, True):
            if is_hidden_before:
                window.empty.show_now(Now(state=state), has_heard=True)
                app.processEvents()
            window.empty.show_now(Now(state=state), has_heard=False)
            walk(window, f"empty card {status}, {said!r}")
            window.empty.show_now(Now(state=opening), has_heard=False)
            walk(window, "empty card without buttons")
            window.empty.show_now(Now(state=state), has_heard=True)
            window.empty.show_now(Now(state=state), has_heard=False)
            walk(window, f"empty card {status}, {said!r}, after one without buttons")
compact.show()
for size in ((520, 330), (380, 220)):
    compact.resize(*size)
    compact.sentence.say(LONG)
    compact.show_held(True)
    walk(compact, f"small form {size}")
for name in ("help", "caution"):
    conductor.open_page(name)
    page = conductor.pages[name]
    walk(page, name)
    assert page.text.document().idealWidth() <= page.text.viewport().width() + 1, name
conductor.going.ask_for_tempo()
walk(conductor.going.dialog, "tempo")
conductor.low_end.ask()
walk(conductor.low_end.page, "low end")
conductor.actions["together"].trigger()
page = conductor.together.page
kick = 0.5 * stem(swept_kick(55.0))
found = together(column(kick), column(-body_of(kick)), rate_hz=48_000)
for row in page.stems.values():
    page.take_file(row, "/far/away/" + 8 * "a tune with a long name " + ".wav")
page.show_found(page_text(found), found)
page.progress.show_progress("looking at every hit; 100 %", 1.0)
walk(page, "kick and sub")
page.say("no kick came, but a kick and a sub were expected; choose the file of it")
walk(page, "kick and sub, a problem")
page = DeliveryPage(0, conductor.state.choices, window)
places = "10:12.0, 10:14.2, 10:15.5"
tried = ("AAC 320 kb/s, 44.1 kHz", "+12.4 dBTP", "10000", places, "-12.06 LU", "12.3 dB lower")
album = "EBU, streaming of music, album of 12"
level = (album, "-12.0 dB, not turned up", "-16.0 LUFS", "-16.3 dBTP", "9.3 dB too high")
page.show_tables(
    PageText(
        title="a tune.wav",
        encodes=[tried] * 4,
        encodes_note=LONG,
        finding=LONG,
        playback=[level] * 9,
        playback_note=LONG,
    )
)
page.say(LONG)
page.show()
page.show_progress(LONG, 0.5)
for size in ((900, 760), (500, 400)):
    page.resize(*size)
    for _ in range(3):
        app.processEvents()
    walk(page._inside, f"delivery {size}")
    visible = page._inside.visibleRegion().boundingRect()
    assert visible.width() >= page._inside.width(), f"delivery {size}: {visible} of {page._inside.rect()}"
page.close()
conductor.of_set.ask()
walk(conductor.of_set.page, "mixer")
conductor.quit()
assert checked > 100, checked
print("fits", checked, app.devicePixelRatio())
"""


@pytest.mark.parametrize("percent", [100, 200, 300])
def test_no_text_is_cut(percent, root):
    env = os.environ | {"QT_QPA_PLATFORM": "offscreen", "QT_SCALE_FACTOR": str(percent / 100)}
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], cwd=root, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert done.stdout.startswith("fits") and done.stdout.split()[-1] == str(percent / 100)
