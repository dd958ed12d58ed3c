"""A ring of columns shows the same whether it was drawn at once or as time went on."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PyQt6.QtGui import QColor, QImage, QPainter

from tests.support.examples import a_quarter
from tests.support.fake_timeline import FakeTimeline
from ui.curves import Axis
from ui.strip import PENS, Look, Row, Strip
from ui.theme import DARK, LIGHT
from ui.time_scale import TimeScale, View

ROWS = 60


def look(theme=LIGHT, **how):
    rows = (
        Row(key="a", colour=theme.series[0], pen=PENS[0], fill_to=-30.0),
        Row(key="b", colour=theme.series[1], pen=PENS[2]),
    )
    axis = Axis(lowest=-30.0, highest=0.0, rows=ROWS, pad=2.0)
    return Look(theme=theme, axis=axis, device_ratio=1.0, rows=rows, over_key="overs", **how)


def timeline(slots, seed=7):
    random = np.random.default_rng(seed)
    a = -15.0 + np.cumsum(random.normal(0.0, 0.6, slots))
    b = -30.0 * random.random(slots)
    b[slots // 3 : slots // 3 + 9] = np.nan
    a[slots // 2 : slots // 2 + 5] = -np.inf
    return FakeTimeline({"a": a, "b": b, "overs": (random.random(slots) > 0.97).astype(float)})


def shown(strip, columns):
    """What is seen, as an array."""
    image = QImage(columns, ROWS, QImage.Format.Format_RGB32)
    image.fill(QColor("magenta"))
    painter = QPainter(image)
    strip.show(painter, 0.0, 0.0)
    painter.end()
    data = image.constBits()
    data.setsize(image.sizeInBytes())
    return np.frombuffer(data, np.uint8).reshape(ROWS, columns, 4)[:, :, :3].astype(int)


@pytest.mark.parametrize(
    "view", [View.newest(10.0), View.newest(120.0), View.newest(600.0), View.part(0, 900)]
)
@a_quarter()
@given(steps=st.lists(st.integers(1, 40), min_size=1, max_size=25))
def test_drawn_bit_by_bit_it_is_the_same_as_drawn_at_once(qapp, view, steps):
    columns, how = 200, look(ticks=(-12.0,), fairway=(-8.0, -6.0))
    numbers = timeline(600)
    growing, once = Strip(), Strip()
    numbers.slots = 100
    for step in (0, *steps):
        numbers.slots = min(numbers.slots + step, 600)
        growing.update(numbers, how, TimeScale.of(view, slots=numbers.slots, columns=columns))
    once.update(numbers, how, TimeScale.of(view, slots=numbers.slots, columns=columns))
    assert np.abs(shown(growing, columns) - shown(once, columns)).max() <= 1
    assert growing.overs() == once.overs()


def test_only_what_is_new_is_drawn(qapp):
    numbers, how, strip = timeline(5000), look(), Strip()
    numbers.slots = 4000
    assert strip.update(numbers, how, TimeScale.of(View.newest(60.0), slots=4000, columns=600)) == 600
    assert strip.update(numbers, how, TimeScale.of(View.newest(60.0), slots=4000, columns=600)) == 0
    numbers.slots = 4001
    drawn = strip.update(numbers, how, TimeScale.of(View.newest(60.0), slots=4001, columns=600))
    assert 0 < drawn < 15


def test_another_theme_draws_all_of_it_anew(qapp):
    numbers, strip = timeline(600), Strip()
    scale = TimeScale.of(View.newest(60.0), slots=600, columns=300)
    strip.update(numbers, look(LIGHT), scale)
    assert strip.update(numbers, look(DARK), scale) == 300
    assert tuple(shown(strip, 300)[1, 1]) == tuple(QColor(DARK.paper).getRgb()[2::-1])


def test_without_numbers_there_is_the_bed_with_its_fairway(qapp):
    strip = Strip()
    strip.update(None, look(fairway=(-20.0, -10.0)), TimeScale.of(View.newest(60.0), slots=0, columns=60))
    picture = shown(strip, 60)
    fairway = tuple(QColor(LIGHT.fairway).getRgb()[2::-1])
    rows = [row for row in range(ROWS) if tuple(picture[row, 2]) == fairway]
    assert 17 <= len(rows) <= 19  # 10 of 30 LU on 56 rows, and the two edges
    edge = tuple(QColor(LIGHT.fairway_edge).getRgb()[2::-1])
    assert any(tuple(picture[row, column]) == edge for row in range(ROWS) for column in range(60))


def test_a_fairway_that_is_open_reaches_the_end_of_the_axis(qapp):
    strip = Strip()
    how = look(fairway=(-np.inf, -10.0))
    strip.update(None, how, TimeScale.of(View.newest(60.0), slots=0, columns=60))
    assert tuple(shown(strip, 60)[ROWS - 1, 0]) == tuple(QColor(LIGHT.fairway).getRgb()[2::-1])
