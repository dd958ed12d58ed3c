"""Pennants: where they fly, whether they can be read, whether all that stands on them fits."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PyQt6.QtCore import QPointF
from PyQt6.QtGui import QColor, QImage, QPainter

from meter.lanes import LANES, Flag
from meter.targets import Verdict
from tests.support.fake_timeline import FakeTimeline
from ui import flag, fonts
from ui.flag import LARGE, NORMAL, SMALL, Pennant
from ui.flags_row import MOST_PICTURES, FlagPictures, fly
from ui.lane_looks import look_of
from ui.layout import Layout
from ui.theme import DARK, LIGHT

WANTED = st.lists(st.floats(-50.0, 250.0), min_size=1, max_size=4)


@given(wanted=WANTED)
def test_flags_do_not_overlap_and_stay_in_their_room(wanted):
    tops = sorted(flag.spread(wanted, height=30.0, gap=4.0, top=0.0, bottom=200.0))
    assert all(b - a >= 34.0 - 1e-6 for a, b in pairwise(tops))
    assert tops[0] >= 0.0
    assert tops[-1] + 30.0 <= 200.0 + 1e-6


@given(wanted=st.lists(st.floats(20.0, 180.0), min_size=1, max_size=4))
def test_flags_with_room_enough_fly_where_they_are_wanted(wanted):
    apart = sorted(wanted)
    if all(b - a >= 34.0 for a, b in pairwise(apart)):
        tops = flag.spread(wanted, height=30.0, gap=4.0, top=0.0, bottom=200.0)
        assert tops == pytest.approx([y - 15.0 for y in wanted])


def test_flags_that_are_wanted_at_one_place_lie_around_it():
    assert flag.spread([100.0, 100.0], height=30.0, gap=4.0, top=0.0, bottom=200.0) == [68.0, 102.0]


def test_two_flags_whose_numbers_cross_do_not_change_places_at_once():
    assert flag.order_of([100.0, 95.0], [0, 1], slack=15.0) == [0, 1]
    assert flag.order_of([100.0, 80.0], [0, 1], slack=15.0) == [1, 0]
    assert flag.order_of([100.0, 105.0, 10.0], [0, 1, 2], slack=15.0) == [2, 0, 1]


def test_the_large_digits_can_be_read_from_one_and_a_half_metres(qapp):
    assert fonts.load() is None
    # 16 minutes of arc (ISO 9241-303:2011, from memory) at 96 pixels to the inch.
    height_m = fonts.metrics(LARGE.number_px, is_bold=True).capHeight() * 0.0254 / 96.0
    assert math.degrees(math.atan(height_m / 1.5)) * 60.0 >= 16.0


def written(pennant, size, theme, width, height):
    """The picture of a flag in the middle of a sheet, and the same without words."""
    images = []
    for one in (
        pennant,
        Pennant(name="", number="", unit="", glyph=pennant.glyph, word="", colour=pennant.colour),
    ):
        image = QImage(width, height, QImage.Format.Format_RGB32)
        image.fill(QColor(theme.paper))
        painter = QPainter(image)
        flag.paint(painter, one, 20.0, 20.0, size, theme)
        painter.end()
        images.append(image)
    return images


LONGEST = [
    ("below 120 Hz", "–12.8", "dB", "▼", "under"),
    ("loudest 30 s", "–88.8", "LUFS", "…", "not yet"),
    ("highest", "+18.8", "dBTP", "✓", "inside"),
    ("r", "–0.88", "", "✓", "inside"),
    ("", "88888", "overs", "", ""),
]


@pytest.mark.parametrize("size", [SMALL, NORMAL, LARGE], ids=["small", "normal", "large"])
@pytest.mark.parametrize("words", LONGEST, ids=lambda words: words[0] or words[2])
def test_the_longest_words_stand_on_the_cloth(qapp, size, words):
    assert fonts.load() is None
    name, number, unit, glyph, word = words
    pennant = Pennant(name=name, number=number, unit=unit, glyph=glyph, word=word, colour="#0072b2")
    width, height = round(size.width) + 60, round(size.height) + 40
    full, bare = written(pennant, size, LIGHT, width, height)
    changed = [(x, y) for x in range(width) for y in range(height) if full.pixel(x, y) != bare.pixel(x, y)]
    assert changed
    assert min(x for x, _ in changed) >= 20 + flag.STAFF_PX
    assert max(x for x, _ in changed) < 20 + size.width - size.tail
    assert min(y for _, y in changed) > 20
    assert max(y for _, y in changed) < 20 + size.height - 1


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("verdict", list(Verdict))
def test_only_what_asks_for_something_is_filled_with_ink(qapp, theme, verdict):
    pennant = Pennant(
        name="S", number="–8.3", unit="LUFS", glyph=verdict.glyph, word=verdict.word, colour="#0072b2"
    )
    image, _ = written(pennant, NORMAL, theme, 260, 80)
    ground = image.pixelColor(20 + 8, 20 + 5).name()
    assert ground == (theme.ink if verdict in (Verdict.OVER, Verdict.UNDER) else theme.sheet)


# --- the flags of a lane

PEAK = next(lane for lane in LANES if lane.key == "peak")


def flying(flags, *, lane=PEAK, height=580.0, values=(), is_large=False, before=()):
    layout = Layout.of(1040.0, height, weights=[1.0] * 4, is_large=is_large, device_ratio=1.0)
    look = look_of(lane, None, LIGHT, rows=layout.rows(1), device_ratio=1.0)
    timeline = FakeTimeline({lane.series[0].key: list(values)})
    slot = len(values) - 1 if values else None
    return fly(flags, lane, layout.lanes[1], look, layout, timeline, slot, 800.0, before)


def peaks(recent="-1.0", highest="+1.6", word="over"):
    glyph = {"over": "▲", "inside": "✓"}[word]
    return (
        Flag(key="true_peak_dbtp", name="peak, 3 s", value_text=recent, unit="dBTP"),
        Flag(
            key="true_peak_max_dbtp", name="highest", value_text=highest, unit="dBTP", glyph=glyph, word=word
        ),
        Flag(key="overs", name="", value_text="6", unit="overs"),
    )


def names(found):
    return [aloft.pennant.name or aloft.pennant.unit for aloft in found.aloft]


def test_all_flags_fly_where_there_is_room(qapp):
    assert names(flying(peaks())) == ["peak, 3 s", "highest", "overs"]


def test_where_there_is_little_room_what_calls_stays_longest(qapp):
    assert names(flying(peaks(), height=400.0, is_large=True)) == ["highest"]
    assert names(flying(peaks(word="inside"), height=400.0, is_large=True)) == ["peak, 3 s"]


def test_a_flag_rides_at_the_tip_of_its_line(qapp):
    found = flying(peaks(), values=[-3.0, -6.0])
    tip = found.aloft[0].tip
    assert tip is not None and tip[0] == 800.0
    box = Layout.of(1040.0, 580.0, weights=[1.0] * 4, is_large=False, device_ratio=1.0).lanes[1]
    share = (3.0 - -6.0) / 21.0
    assert tip[1] == pytest.approx(box.plot.top() + 2.0 + share * (box.plot.height() - 4.0), abs=0.01)
    assert [aloft.tip for aloft in found.aloft[1:]] == [None, None]


def test_without_a_number_there_is_no_tip_and_no_verdict_but_not_yet(qapp):
    unknown = Flag(key="true_peak_dbtp", name="S", value_text="--", unit="LUFS", glyph="✓", word="inside")
    found = flying((unknown,), values=[math.nan])
    assert found.aloft[0].tip is None
    assert (found.aloft[0].pennant.glyph, found.aloft[0].pennant.word) == ("", "")
    waiting = Flag(key="true_peak_dbtp", name="S", value_text="--", unit="LUFS", glyph="…", word="not yet")
    assert flying((waiting,)).aloft[0].pennant.word == "not yet"


def test_flags_keep_their_order_while_their_numbers_are_close(qapp):
    lower_first = flying(peaks("-1.0", "-1.4", "inside")[:2])
    assert lower_first.order == ("peak, 3 s", "highest")
    crossed = flying(peaks("-1.4", "-1.0", "inside")[:2], before=lower_first.order)
    assert crossed.order == ("peak, 3 s", "highest")
    assert flying(peaks("-17.0", "-1.0", "inside")[:2], before=lower_first.order).order == (
        "highest",
        "peak, 3 s",
    )


def test_a_flag_that_stays_is_painted_once_and_looks_the_same(monkeypatch):
    pictures, painted = FlagPictures(), []
    original = flag.paint
    monkeypatch.setattr(flag, "paint", lambda *what: painted.append(what[1]) or original(*what))
    one = Pennant(name="S", number="−7.5", unit="LUFS", glyph="▲", word="over", colour="#0072b2")
    other = replace(one, number="−7.6")
    for pennant in (one, one, other, one, other):
        pictures.of(pennant, flag.NORMAL, LIGHT, 2.0)
    assert [each.number for each in painted] == ["−7.5", "−7.6"]
    pictures.of(one, flag.NORMAL, DARK, 2.0)
    pictures.of(one, flag.NORMAL, LIGHT, 1.0)
    assert len(painted) == 4
    straight = QImage(200, 100, QImage.Format.Format_RGB32)
    straight.fill(QColor(LIGHT.paper))
    by_picture = straight.copy()
    with_painter(straight, lambda painter: original(painter, one, 10.0, 20.0, flag.NORMAL, LIGHT))
    made = pictures.of(one, flag.NORMAL, LIGHT, 1.0)
    with_painter(by_picture, lambda painter: painter.drawPixmap(QPointF(10.0, 20.0), made))
    differ = [
        abs(QColor(straight.pixel(x, y)).lightness() - QColor(by_picture.pixel(x, y)).lightness())
        for x in range(200)
        for y in range(100)
    ]
    assert max(differ) <= 3


def with_painter(image, paint):
    painter = QPainter(image)
    try:
        paint(painter)
    finally:
        painter.end()


def test_only_so_many_pictures_are_kept():
    pictures = FlagPictures()
    for number in range(3 * MOST_PICTURES):
        one = Pennant(name="", number=str(number), unit="", glyph="", word="", colour="#000000")
        pictures.of(one, flag.NORMAL, LIGHT, 1.0)
    assert len(pictures._made) == MOST_PICTURES
