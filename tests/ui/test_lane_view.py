"""The lanes as a widget: what it shows, what it tells, how it is moved."""

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, QPointF, Qt
from PyQt6.QtGui import QColor, QWheelEvent

from meter.lanes import LANES, Flag
from meter.target_file import shipped_targets
from meter.timeline import Event
from tests.support.fake_timeline import FakeTimeline
from ui.lane_view import LanesView
from ui.theme import DARK, LIGHT
from ui.time_scale import LAST_10_MINUTES, LAST_MINUTE, View

SIZE = (1040, 580)
SLOTS = 2000


def timeline(slots=SLOTS, **more):
    """Steady numbers, so that a test knows where a line lies."""
    levels = {
        "short_term_lufs": -15.0,
        "momentary_lufs": -20.0,
        "true_peak_dbtp": -6.0,
        "correlation": 0.5,
        "fold_below_crossover": -3.0,
        "overs": 0.0,
    } | more
    return FakeTimeline({key: np.full(slots, value, np.float32) for key, value in levels.items()})


@pytest.fixture
def lanes(qtbot):
    made = LanesView()
    qtbot.addWidget(made)
    made.resize(*SIZE)
    made.set_lanes(LANES)
    made.set_timeline(timeline())
    made.show()
    return made


def layout(lanes):
    return lanes._picture.layout(lanes.width(), lanes.height(), lanes.devicePixelRatioF())


def plot(lanes, key):
    number = next(k for k, lane in enumerate(LANES) if lane.key == key)
    return layout(lanes).lanes[number].plot


def place(lanes, key, value, share):
    """The pixel of a value in a lane, so far from its left."""
    lane = next(lane for lane in LANES if lane.key == key)
    box = plot(lanes, key)
    up = (value - lane.lowest) / (lane.highest - lane.lowest)
    return QPoint(
        round(box.left() + share * box.width()), int(box.top() + 2.0 + (1.0 - up) * (box.height() - 4.0))
    )


def colours_at(lanes, point, reach=2):
    """The colours around a pixel."""
    image = lanes.grab().toImage()
    ratio = lanes.devicePixelRatioF()
    at = QPointF(point) * ratio
    return {image.pixelColor(round(at.x()), round(at.y()) + k).name() for k in range(-reach, reach + 1)}


# --- what is drawn


@pytest.mark.parametrize("view", [LAST_MINUTE, LAST_10_MINUTES, View.part(0, SLOTS), View.part(0)])
@pytest.mark.parametrize(
    ("key", "value", "series"),
    [("loudness", -15.0, 0), ("loudness", -20.0, 1), ("peak", -6.0, 0), ("sides", 0.5, 0), ("mono", -3.0, 0)],
)
def test_every_line_lies_at_its_number(lanes, view, key, value, series):
    lanes.set_view(view)
    found = colours_at(lanes, place(lanes, key, value, 0.9))
    if key == "peak":  # a thin line need not cover a whole pixel
        base, line = QColor(LIGHT.paper), QColor(LIGHT.series[0])
        nearest = min(abs(QColor(one).red() - line.red()) for one in found)
        assert nearest < 0.6 * abs(base.red() - line.red())
    elif series:
        assert any(QColor(one).red() - QColor(one).blue() > 60 for one in found)
    else:
        assert LIGHT.series[0] in found


def test_a_number_that_moves_moves_the_line(lanes):
    lanes.set_timeline(timeline(correlation=-0.5))
    assert LIGHT.series[0] in colours_at(lanes, place(lanes, "sides", -0.5, 0.5))
    assert LIGHT.series[0] not in colours_at(lanes, place(lanes, "sides", 0.5, 0.5))


def test_the_target_lies_in_its_lane_as_a_band(lanes):
    lanes.set_timeline(None)
    assert LIGHT.fairway not in colours_at(lanes, place(lanes, "loudness", -7.0, 0.3), reach=1)
    lanes.set_target(shipped_targets()["club"])
    assert LIGHT.fairway in colours_at(lanes, place(lanes, "loudness", -7.0, 0.3), reach=1)
    assert LIGHT.fairway not in colours_at(lanes, place(lanes, "loudness", -10.0, 0.3), reach=1)
    lanes.set_target(None)
    assert LIGHT.fairway not in colours_at(lanes, place(lanes, "loudness", -7.0, 0.3), reach=1)


def test_an_over_is_signed_at_the_top(lanes):
    numbers = timeline()
    lanes.set_timeline(numbers)
    box = plot(lanes, "peak")
    at = QPoint(round(box.left() + 0.5 * box.width()), round(box.top() + 6))
    assert LIGHT.ink not in colours_at(lanes, at)
    numbers.series["overs"][SLOTS - 300] = 1
    lanes.set_timeline(numbers)
    assert LIGHT.ink in colours_at(lanes, at)


def test_a_gap_is_hatched_as_long_as_it_lasts(lanes):
    numbers = timeline()
    for one in numbers.series.values():
        one[SLOTS - 300 : SLOTS - 200] = np.nan
    numbers.events = [Event(slot=SLOTS - 300, kind="gap", text="10.0 s lost at 2:50.0")]
    lanes.set_timeline(numbers)
    box = plot(lanes, "sides")
    image = lanes.grab().toImage()

    def hatched(share):
        x = round(box.left() + share * box.width())
        return any(
            image.pixelColor(x + dx, y).name() == LIGHT.shade
            for dx in range(8)
            for y in range(round(box.top()), round(box.bottom()))
        )

    assert hatched(0.55)
    assert not hatched(0.45)
    assert not hatched(0.70)


def test_the_theme_recolours_everything(lanes):
    assert lanes.grab().toImage().pixelColor(2, 2).name() == LIGHT.paper
    lanes.set_theme(DARK)
    assert lanes.grab().toImage().pixelColor(2, 2).name() == DARK.paper
    assert DARK.series[0] in colours_at(lanes, place(lanes, "sides", 0.5, 0.9))


def flags(word="inside", glyph="✓"):
    return {"sides": (Flag(key="correlation", name="r", value_text="0.50", unit="", glyph=glyph, word=word),)}


def test_a_flag_flies_at_the_end_of_its_line(lanes):
    before = lanes.grab().toImage()
    lanes.set_flags(flags())
    after = lanes.grab().toImage()
    box = layout(lanes).lanes[2]
    rows = [
        y
        for y in range(after.height())
        if any(before.pixel(x, y) != after.pixel(x, y) for x in range(round(box.plot.right()) + 20, SIZE[0]))
    ]
    middle = place(lanes, "sides", 0.5, 1.0).y()
    assert rows[0] < middle < rows[-1]
    assert rows[-1] - rows[0] < 50


def test_large_flags_are_larger(lanes):
    lanes.set_flags(flags())
    small = layout(lanes).flag.height
    lanes.large = True
    assert lanes.large
    assert layout(lanes).flag.height > 1.4 * small


# --- when it draws


def test_a_tick_draws_only_when_there_is_something_new(lanes):
    lanes.grab()
    assert not lanes.tick()
    lanes._picture._timeline.series = {
        key: np.append(one, one[-1:]) for key, one in lanes._picture._timeline.series.items()
    }
    lanes._picture._timeline.slots += 1
    assert lanes.tick()
    assert not lanes.tick()


@pytest.mark.parametrize(("view", "most"), [(LAST_10_MINUTES, 4), (View.part(0), 8)], ids=["10 min", "hours"])
def test_where_many_soundings_make_a_column_it_is_drawn_less_often_but_never_left_behind(lanes, view, most):
    slots = 20_000
    lanes.set_timeline(timeline(slots + 100))
    lanes._picture._timeline.slots = slots
    lanes.set_view(view)
    lanes.grab()
    draws = []
    for _ in range(40):
        lanes._picture._timeline.slots += 1
        draws.append(lanes.tick())
    gaps = np.diff(np.flatnonzero(draws))
    assert draws.count(True) <= 22, "10 times a second it would be 40"
    assert gaps.max() <= most, "0.4 s, and what the scale of hours itself leaves for later"
    assert lanes._picture.slots - lanes._picture._scale.last_slot <= most


def test_the_axis_follows_a_pass_that_outgrows_it(lanes, qtbot):
    lanes._picture._timeline.slots = 590
    lanes.set_view(View.part(0))
    qtbot.wait(50)

    def axis():
        return lanes.grab(layout(lanes).axis.toAlignedRect()).toImage()

    before = axis()
    lanes._picture._timeline.slots = 595
    lanes.tick()
    assert axis() == before
    lanes._picture._timeline.slots = 700
    lanes.tick()
    assert axis() != before
    grown = axis()
    lanes.set_view(LAST_MINUTE)
    lanes.set_view(View.part(0))
    lanes.tick()
    assert axis() == grown


def test_a_part_that_stands_still_is_not_drawn_again(lanes):
    lanes.set_view(View.part(100, 700))
    lanes.grab()
    lanes._picture._timeline.slots -= 500
    lanes.grab()
    lanes._picture._timeline.slots += 500
    assert not lanes.tick()


def test_what_is_not_seen_is_not_drawn(lanes):
    lanes.hide()
    lanes.set_timeline(timeline())
    assert not lanes.tick()


def test_the_same_flags_again_ask_for_no_drawing(lanes):
    assert lanes._picture.set_flags(flags())
    assert not lanes._picture.set_flags(flags())
    assert lanes._picture.set_flags(flags("over", "▲"))


# --- choosing


def press(lanes, share, qtbot, to=None):
    box = plot(lanes, "sides")
    y = round(box.center().y())
    start, end = (
        QPoint(round(box.left() + s * box.width()), y) for s in (share, share if to is None else to)
    )
    qtbot.mousePress(lanes, Qt.MouseButton.LeftButton, pos=start)
    if to is not None:
        qtbot.mouseMove(lanes, end)
    qtbot.mouseRelease(lanes, Qt.MouseButton.LeftButton, pos=end)


def test_a_click_chooses_a_moment(lanes, qtbot):
    with qtbot.waitSignal(lanes.moment_chosen) as told:
        press(lanes, 0.5, qtbot)
    assert told.args[0] == pytest.approx(SLOTS - 300, abs=2)
    assert lanes.selection == (told.args[0], None)


@pytest.mark.parametrize(("start", "end"), [(0.25, 0.75), (0.75, 0.25)])
def test_a_drag_chooses_a_span_in_either_direction(lanes, qtbot, start, end):
    with qtbot.waitSignal(lanes.span_chosen) as told:
        press(lanes, start, qtbot, to=end)
    assert told.args[0] == pytest.approx(SLOTS - 450, abs=2)
    assert told.args[1] == pytest.approx(SLOTS - 150, abs=3)


def test_the_cursor_stands_in_all_lanes(lanes):
    lanes.select(SLOTS - 300)
    for key in ("loudness", "peak", "sides", "mono"):
        box = plot(lanes, key)
        at = QPoint(round(box.left() + 0.5 * box.width()), round(box.bottom() - 3))
        image = lanes.grab().toImage()
        assert LIGHT.ink in {image.pixelColor(at.x() + k, at.y()).name() for k in (-2, -1, 0, 1, 2)}, key


def test_choosing_what_is_not_seen_moves_the_view_there(lanes, qtbot):
    with qtbot.waitSignal(lanes.view_changed) as told:
        lanes.select(200, 260)
    view = told.args[0]
    assert view == lanes.view
    assert view.first_slot <= 200 and view.last_slot >= 260
    assert not view.is_live


def test_choosing_what_is_seen_leaves_the_view(lanes, qtbot):
    with qtbot.assertNotEmitted(lanes.view_changed):
        lanes.select(SLOTS - 100)
    assert lanes.view == LAST_MINUTE


def test_a_click_right_after_a_change_finds_its_place(lanes, qtbot):
    box = plot(lanes, "sides")
    lanes.set_theme(DARK)  # nothing has been painted since
    qtbot.mouseClick(lanes, Qt.MouseButton.LeftButton, pos=box.center().toPoint())
    assert lanes.selection is not None
    assert lanes.selection[0] == pytest.approx(SLOTS - 300, abs=2)


def test_another_timeline_has_nothing_chosen(lanes):
    lanes.select(SLOTS - 100)
    lanes.set_timeline(timeline())
    assert lanes.selection is None


# --- the keyboard


def test_left_and_right_move_the_cursor(lanes, qtbot):
    lanes.select(SLOTS - 100)
    with qtbot.waitSignal(lanes.moment_chosen) as told:
        qtbot.keyClick(lanes, Qt.Key.Key_Left)
    assert told.args == [SLOTS - 101]
    qtbot.keyClick(lanes, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    assert lanes.selection == (SLOTS - 91, None)


def test_with_shift_a_part_is_chosen_and_grows_and_shrinks_at_its_end(lanes, qtbot):
    shift, control = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier
    lanes.select(SLOTS - 100)
    with qtbot.waitSignal(lanes.span_chosen) as told:
        qtbot.keyClick(lanes, Qt.Key.Key_Right, shift | control)
    assert told.args == [SLOTS - 100, SLOTS - 89]
    qtbot.keyClick(lanes, Qt.Key.Key_Left, shift)
    assert lanes.selection == (SLOTS - 100, SLOTS - 90)
    qtbot.keyClick(lanes, Qt.Key.Key_Left, shift | control)
    assert lanes.selection == (SLOTS - 101, SLOTS - 99), "over the end that stays to its other side"
    qtbot.keyClick(lanes, Qt.Key.Key_Left, shift)
    assert lanes.selection == (SLOTS - 102, SLOTS - 99)
    qtbot.keyClick(lanes, Qt.Key.Key_Home, shift)
    assert lanes.selection == (SLOTS - 600, SLOTS - 99)
    qtbot.keyClick(lanes, Qt.Key.Key_Right)
    assert lanes.selection == (SLOTS - 599, None), "without it the part is let go"


def test_home_and_end_go_to_the_ends_of_what_is_seen(lanes, qtbot):
    qtbot.keyClick(lanes, Qt.Key.Key_End)
    assert lanes.selection == (SLOTS - 1, None)
    qtbot.keyClick(lanes, Qt.Key.Key_Home)
    assert lanes.selection == (SLOTS - 600, None)
    qtbot.keyClick(lanes, Qt.Key.Key_Left)
    assert lanes.selection == (SLOTS - 600, None)


def test_plus_and_minus_zoom(lanes, qtbot):
    qtbot.keyClick(lanes, Qt.Key.Key_Plus)
    assert lanes.view == View.newest(30.0)
    qtbot.keyClick(lanes, Qt.Key.Key_Minus)
    qtbot.keyClick(lanes, Qt.Key.Key_Minus)
    assert lanes.view == View.newest(120.0)


def test_the_wheel_zooms(lanes):
    box = plot(lanes, "sides")
    none, up = QPoint(), QPoint(0, 120)
    at = box.center()
    lanes.wheelEvent(
        QWheelEvent(
            at,
            at,
            none,
            up,
            Qt.MouseButton.NoButton,
            Qt.KeyboardModifier.NoModifier,
            Qt.ScrollPhase.NoScrollPhase,
            False,
        )
    )
    assert lanes.view == View.newest(30.0)


def test_escape_clears_the_choice(lanes, qtbot):
    lanes.select(SLOTS - 100)
    with qtbot.waitSignal(lanes.choice_cleared):
        qtbot.keyClick(lanes, Qt.Key.Key_Escape)
    assert lanes.selection is None


def test_without_a_timeline_keys_and_clicks_do_nothing(lanes, qtbot):
    lanes.set_timeline(None)
    with qtbot.assertNotEmitted(lanes.moment_chosen):
        press(lanes, 0.5, qtbot)
        qtbot.keyClick(lanes, Qt.Key.Key_Left)
    assert lanes.selection is None


# --- the fold


def test_folded_phrases_lie_over_one_another(lanes):
    numbers = timeline()
    numbers.series["correlation"][0:400] = -0.5
    numbers.series["correlation"][400:800] = 0.5
    lanes.set_timeline(numbers)
    lanes.set_phrases([(0, 400), (400, 800)])
    assert LIGHT.series[0] in colours_at(lanes, place(lanes, "sides", 0.5, 0.5))  # the newest
    found = colours_at(lanes, place(lanes, "sides", -0.5, 0.5))
    assert any(QColor(one).red() - QColor(one).blue() > 60 for one in found)
    lanes.set_phrases(None)
    assert LIGHT.series[0] in colours_at(lanes, place(lanes, "sides", 0.5, 0.5))


def test_a_tail_of_less_than_two_bars_is_no_phrase(lanes):
    lanes.set_phrases([(0, 400), (400, 800), (800, 840)])
    assert lanes._picture.phrases == ((0, 400), (400, 800))


# --- for those who hear it


def test_every_lane_is_named_as_its_question_and_told_in_words(lanes):
    lanes.set_spoken({"sides": "Left and right? r 0.50, inside"})
    frames = {frame.accessibleName(): frame for frame in lanes._spoken}
    assert list(frames) == [lane.question for lane in LANES]
    assert frames["Left and right?"].accessibleDescription() == "Left and right? r 0.50, inside"
    box = plot(lanes, "sides").center().toPoint()
    assert frames["Left and right?"].geometry().contains(box)
    assert not frames["How loud?"].geometry().contains(box)


def test_what_is_heard_of_a_lane_moves_with_it(lanes):
    before = lanes._spoken[1].geometry()
    lanes.set_lanes(LANES[:2])
    assert len(lanes._spoken) == 2
    assert lanes._spoken[1].geometry() != before
    assert lanes._spoken[1].geometry().contains(plot(lanes, "peak").center().toPoint())


def test_the_keys_are_told(lanes):
    assert "Left and right move the cursor" in lanes.accessibleDescription()
