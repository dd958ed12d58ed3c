"""What is written under the lanes."""

from itertools import pairwise

import pytest
from PyQt6.QtCore import QRectF
from PyQt6.QtGui import QColor, QImage, QPainter

from ui import time_axis
from ui.theme import DARK
from ui.time_axis import bar_marks, clock_text, marks
from ui.time_scale import TimeScale, View


def texts(view, *, slots=100_000, width=800.0):
    return [mark.text for mark in marks(TimeScale.of(view, slots=slots, columns=800), width=width)]


def test_a_live_axis_reads_how_long_ago():
    assert texts(View.newest(60.0)) == ["60 s ago", "50 s", "40 s", "30 s", "20 s", "10 s", "now"]
    assert texts(View.newest(600.0))[:2] == ["10 min ago", "9 min"]
    assert texts(View.newest(600.0))[-2:] == ["1 min", "now"]
    assert texts(View.newest(4 * 3600.0))[0] == "4 h ago"


def test_a_part_reads_the_time_since_its_origin():
    assert texts(View.part(0, 1500)) == [clock_text(15 * k) for k in range(11)]
    assert texts(View.part(1000, 1600, origin_slot=400))[0] == "1:00"


def test_before_its_origin_time_is_negative():
    assert texts(View.part(0, 600, origin_slot=300))[0] == "−0:30"


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "0:00"), (61.4, "1:01"), (3599, "59:59"), (3600, "1:00:00"), (-5, "−0:05")]
)
def test_a_clock_time_is_written_as_people_write_it(seconds, text):
    assert clock_text(seconds) == text


def test_labels_have_room_between_them_at_every_length():
    for seconds in (5, 20, 60, 90, 240, 600, 2700, 28800, 86400):
        found = marks(TimeScale.of(View.newest(seconds), slots=10**6, columns=700), width=700.0)
        places = [mark.x for mark in found]
        assert len(found) >= 2
        assert min(b - a for a, b in pairwise(places)) >= 70.0


def test_segments_are_filled_in_turn():
    found = marks(TimeScale.of(View.newest(60.0), slots=600, columns=700), width=700.0)
    assert all(a.is_filled != b.is_filled for a, b in pairwise(found))


def test_a_phrase_is_counted_in_bars():
    found = bar_marks(bars=16, width=1200.0)
    assert [mark.text for mark in found] == ["bar 1", *(str(k) for k in range(2, 17)), ""]
    assert found[-1].x == 1200.0


def test_no_label_is_seen_in_part_beside_a_tag_on_the_axis():
    box, tag = QRectF(0.0, 0.0, 700.0, 30.0), QRectF(303.0, 0.0, 100.0, 20.0)
    found = marks(TimeScale.of(View.part(0, 600), slots=600, columns=700), width=700.0)
    image = QImage(700, 30, QImage.Format.Format_RGB32)
    image.fill(QColor(DARK.paper))
    painter = QPainter(image)
    time_axis.paint(painter, found, box, DARK)
    whole = written_columns(image)
    time_axis.wipe_under(painter, tag, found, box, DARK)
    painter.end()
    left = written_columns(image)
    for x, wide, _ in time_axis._labels(found, box):
        columns = set(range(round(x), round(x + wide)))
        is_touched = tag.left() - 4.0 < x + wide and x < tag.right() + 4.0
        assert left & columns == (set() if is_touched else whole & columns)
    assert left and left < whole


def written_columns(image):
    """Where there is something under the border."""
    paper = QColor(DARK.paper).rgb()
    return {x for x in range(image.width()) for y in range(9, image.height()) if image.pixel(x, y) != paper}
