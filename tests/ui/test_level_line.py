"""The line that moves with the sound: what it shows, when, and where it grows."""

import math
from dataclasses import replace

import pytest
from PyQt6.QtGui import QColor
from PyQt6.QtTest import QTest

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.now import Now
from meter.soundings import EyeLevels
from ui.level_line import HALF_MS, LOWEST_DB, LevelLine
from ui.theme import worn

INFO = SourceInfo(spec="demo", name="The demo tune", rate_hz=48_000, channels=2)
RUNNING = SourceState(status=SourceStatus.RUNNING, sentence=None, info=INFO)


def eye(left_db, right_db, m_lufs=-20.0):
    return EyeLevels(momentary_lufs=m_lufs, peaks_dbfs=(left_db, right_db))


def now_of(*levels, **others):
    return Now(state=RUNNING, eye=levels, **others)


@pytest.fixture
def line(qtbot):
    made = LevelLine()
    qtbot.addWidget(made)
    made.resize(260, 16)
    made.show()
    return made


def reach(line):
    """How far to the left and to the right something of the level's colour stands, in shares."""
    image = line.grab().toImage()
    colour = QColor(worn(line.palette()).series[0])
    across = [x for x in range(image.width()) if image.pixelColor(x, image.height() // 2) == colour]
    middle = image.width() / 2.0
    return (middle - min(across)) / middle, (max(across) + 1 - middle) / middle


def test_each_half_of_a_sounding_is_shown_in_its_turn(line, qtbot):
    first, second = eye(-6.0, -6.0), eye(-12.0, -12.0)
    line.show_now(now_of(first, second))
    assert line.shown == first
    QTest.qWait(HALF_MS // 2)
    assert line.shown == first
    qtbot.waitUntil(lambda: line.shown == second, timeout=10 * HALF_MS)


def test_what_was_shown_is_not_shown_again_when_something_else_is_new(line, qtbot):
    first, second = eye(-6.0, -6.0), eye(-12.0, -12.0)
    line.show_now(now_of(first, second))
    qtbot.waitUntil(lambda: line.shown == second, timeout=10 * HALF_MS)
    line.show_now(now_of(first, second, pass_number=2))
    assert line.shown == second


def test_it_grows_to_the_side_that_sounds(line):
    line.show_now(now_of(eye(-15.0, -45.0)))
    left, right = reach(line)
    assert left == pytest.approx(1.0 + 15.0 / LOWEST_DB, abs=0.03)
    assert right == pytest.approx(1.0 + 45.0 / LOWEST_DB, abs=0.03)


def test_one_channel_goes_to_both_sides(line):
    line.show_now(now_of(EyeLevels(momentary_lufs=None, peaks_dbfs=(-30.0,))))
    left, right = reach(line)
    assert left == pytest.approx(right, abs=0.02)
    assert left == pytest.approx(0.5, abs=0.03)


def test_what_is_beyond_full_scale_ends_at_the_end_and_silence_shows_nothing(line):
    line.show_now(now_of(eye(6.0, -math.inf, m_lufs=-math.inf)))
    left, _ = reach(line)
    assert left == pytest.approx(1.0, abs=0.02)
    line.show_now(now_of(eye(-math.inf, -math.inf, m_lufs=-math.inf)))
    empty = line.grab().toImage()
    line.show_now(now_of())
    assert line.grab().toImage() == empty


@pytest.mark.parametrize(
    "others",
    [
        {"is_held": True},
        {"problem": "too many channels"},
        {"state": replace(RUNNING, status=SourceStatus.LOST)},
    ],
)
def test_it_is_empty_where_nothing_is_heard(line, others):
    line.show_now(now_of(eye(-6.0, -6.0), eye(-6.0, -6.0)))
    now = replace(now_of(eye(-6.0, -6.0)), **others)
    line.show_now(now)
    QTest.qWait(2 * HALF_MS)
    assert line.shown is None


def test_it_says_what_it_is_without_eyes(line):
    assert line.accessibleName() == "Level of this moment"
    assert "dBFS" in line.accessibleDescription()
    assert "LUFS" in line.toolTip()
