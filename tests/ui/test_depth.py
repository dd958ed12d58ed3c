"""The arrangement Low end: chosen, remembered, drawn and read aloud."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest

from meter.arrangements import ARRANGEMENTS, arrangement_of
from meter.lanes import LANES
from meter.low_end.kick_records import Kicks
from meter.low_end.lanes import NOT_KEPT, low_end_lanes
from meter.low_end.mono_records import MonoMap
from meter.low_end.note_records import Unpitched
from meter.low_end.settings import LowEndSettings
from tests.low_end.test_heard_findings import notes
from tests.low_end.test_picture import hit, mono, note, piece
from ui.depth_strip import DepthStrip
from ui.lane_looks import look_of
from ui.spoken_lane import SpokenLane
from ui.theme import DARK, LIGHT
from ui.time_scale import TimeScale, View


def drawn(pieces, number, theme=LIGHT, ratio=1.0, first=100):
    lane = low_end_lanes(None, LowEndSettings())[number]
    strip = DepthStrip(lane)
    look = look_of(lane, None, theme, rows=round(100 * ratio), device_ratio=ratio)
    scale = TimeScale.of(View.part(first, first + 100), slots=300, columns=round(400 * ratio))
    strip.update(tuple(pieces), look, scale)
    return pixels_of(strip), look


def pixels_of(strip):
    image = strip._image
    bits = image.bits()
    bits.setsize(image.sizeInBytes())
    return np.frombuffer(bits, np.uint8).reshape(image.height(), image.width(), 4)[..., 2::-1].copy()


def is_colour(pixels, colour):
    wanted = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    return (np.abs(pixels.astype(int) - wanted) <= 2).all(axis=-1)


def test_a_rope_hangs_at_the_depth_of_its_note(app):
    for theme, ratio in ((LIGHT, 1.0), (DARK, 2.0)):
        pixels, look = drawn([piece(sub_notes=(note(hz=55.0),))], 0, theme, ratio)
        column = is_colour(pixels, theme.series[0])[:, round(90 * ratio)]
        middle = np.flatnonzero(column).mean() + 0.5
        assert abs(middle - look.axis.y_of(np.log2(55.0))) <= 1.0


def test_a_lower_note_hangs_lower(app):
    tops = []
    for hz in (40.0, 60.0, 90.0):
        pixels, _ = drawn([piece(sub_notes=(note(hz=hz),))], 0)
        tops.append(np.flatnonzero(is_colour(pixels, LIGHT.series[0])[:, 90]).min())
    assert tops[0] > tops[1] > tops[2]


def many_of(make, count=200):
    """So many in ten seconds that they cannot be drawn one by one."""
    return tuple(make(1.0 + 8.0 * k / count) for k in range(count))


def test_notes_and_kicks_that_are_too_many_hang_at_their_depths_too(app):
    for theme, ratio in ((LIGHT, 1.0), (DARK, 2.0)):
        notes_of_it = many_of(lambda at_s: replace(note(at_s=at_s, hz=55.0), seconds=0.03))
        pixels, look = drawn([piece(sub_notes=notes_of_it)], 0, theme, ratio)
        column = is_colour(pixels, theme.series[0])[:, round(100 * ratio)]
        assert abs(np.flatnonzero(column).mean() + 0.5 - look.axis.y_of(np.log2(55.0))) <= 1.0
        hits = many_of(lambda at_s: hit(at_s, 95.0))
        kicks = Kicks(count=len(hits), told=len(hits), body_hz=95.0, spread_hz=0.0, hits=hits)
        pixels, look = drawn([piece(kicks=kicks)], 1, theme, ratio)
        column = is_colour(pixels, theme.series[1])[:, round(60 * ratio) : round(300 * ratio)].any(axis=1)
        assert abs(np.flatnonzero(column).mean() + 0.5 - look.axis.y_of(np.log2(95.0))) <= 1.0


def test_of_too_many_notes_those_out_of_tune_have_the_other_colour(app):
    for cents, number in ((0.0, 0), (40.0, 1)):
        some = many_of(lambda at_s, cents=cents: replace(note(at_s=at_s, cents=cents), seconds=0.03))
        pixels, _ = drawn([piece(sub_notes=some)], 0)
        assert is_colour(pixels, LIGHT.series[number]).any()
        assert is_colour(pixels, LIGHT.series[1]).any() == (number == 1)


def test_kicks_of_which_the_body_is_not_told_stand_at_the_top(app):
    hits = many_of(lambda at_s: hit(at_s, None))
    pixels, _ = drawn([piece(kicks=Kicks(count=len(hits), body_hz=None, spread_hz=None, hits=hits))], 1)
    assert np.flatnonzero(is_colour(pixels, LIGHT.ink_soft).any(axis=1)).max() < 10


def test_water_ends_where_nothing_was_heard(app):
    shown = mono(180, columns=6)
    gone = MonoMap(hz=shown.hz, at_s=np.array([0.0, 1.0, 2.0, 6.0, 7.0, 8.0]), powers=shown.powers)
    pixels, _ = drawn([piece(mono=gone)], 2)
    dry = is_colour(pixels[60:61], LIGHT.paper)[0]
    assert not dry[5:115].any() and dry[125:235].mean() > 0.9 and not dry[245:355].any()


def test_what_takes_long_is_not_drawn_all_the_time_but_in_the_end(app, monkeypatch):
    now_s = [100.0]
    monkeypatch.setattr("ui.depth_strip.time.monotonic", lambda: now_s[0])
    draws = []

    def draw(self, drawing, part):
        draws.append(self)
        now_s[0] += 0.1

    monkeypatch.setattr(DepthStrip, "_draw", draw)
    lane = low_end_lanes(None, LowEndSettings())[0]
    strip, look = DepthStrip(lane), look_of(lane, None, LIGHT, rows=100, device_ratio=1.0)
    scale = TimeScale.of(View.part(100, 200), slots=300, columns=400)
    first, second = (piece(sub_notes=(note(),)),), (piece(sub_notes=(note(), note(at_s=4.0))),)
    strip.update(first, look, scale)
    assert len(draws) == 1 and not strip.is_behind
    strip.update(second, look, scale)
    assert len(draws) == 1 and strip.is_behind
    now_s[0] += 2.0
    strip.update(second, look, scale)
    assert len(draws) == 2 and not strip.is_behind


def an_hour(seed=1):
    """Notes, frays, kicks and left and right, twice a second and by chance."""
    rng = np.random.default_rng(seed)
    count = 7200
    at_s = 0.5 * np.arange(count) + rng.uniform(0.0, 0.2, count)
    notes_of_it = tuple(
        replace(note(at_s=float(t), hz=float(hz), cents=float(cents)), seconds=0.25)
        for t, hz, cents in zip(at_s, rng.uniform(30.0, 110.0, count), rng.normal(0.0, 15.0, count))
    )
    hits = tuple(hit(float(t), float(hz)) for t, hz in zip(at_s, rng.uniform(50.0, 110.0, count)))
    shown = mono(60, columns=3600)
    shown = replace(shown, powers=shown.powers * rng.uniform(0.2, 1.0, (3600, 1, 4)).astype(np.float32))
    loose = tuple(Unpitched(at_s=7.0 * k, seconds=3.0, level_dbfs=-20.0) for k in range(500))
    kicks = Kicks(count=count, told=count, body_hz=95.0, spread_hz=0.0, hits=hits)
    return (piece(sub_notes=notes_of_it, unpitched=loose, kicks=kicks, mono=shown),)


HOUR = TimeScale.of(View.part(100, 36_100), slots=36_100, columns=1500)


def depth_of(number, *, rows=100):
    lane = low_end_lanes(None, LowEndSettings())[number]
    return DepthStrip(lane), look_of(lane, None, LIGHT, rows=rows, device_ratio=1.0)


def a_part(strip, pieces, look, scale, *, looks=1):
    """One part, and no more; the clock is looked at so often before it."""
    ticks = iter((*[0.0] * looks, *[1.0] * 9))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ui.depth_strip.time", SimpleNamespace(monotonic=lambda: next(ticks)))
        return strip.update(pieces, look, scale, until_s=0.5)


@pytest.mark.parametrize("number", [0, 1, 2])
def test_an_hour_that_is_drawn_part_by_part_looks_as_drawn_at_once(app, number, monkeypatch):
    pieces = an_hour()
    strip, look = depth_of(number)
    steps = 1
    while a_part(strip, pieces, look, HOUR) and strip.is_behind:
        steps += 1
    for name in ("PART_PIXELS", "PART_THINGS", "FAR_PIXELS"):
        monkeypatch.setattr(f"ui.depth_strip.{name}", 10**9)
    whole, _ = depth_of(number)
    whole.update(pieces, look, HOUR)
    assert steps >= 2 and not whole.is_behind
    assert len(np.unique(pixels_of(whole).reshape(-1, 3), axis=0)) >= 4  # ropes, marks or shades
    np.testing.assert_array_equal(pixels_of(strip), pixels_of(whole))


@pytest.mark.parametrize("number", [0, 1, 2])
def test_what_has_moved_on_before_it_was_whole_becomes_whole_all_the_same(app, number):
    pieces = an_hour()
    strip, look = depth_of(number)
    for left in range(0, 100, 20):  # more than an image is moved
        moved = replace(HOUR, left_column=HOUR.left_column + left)
        a_part(strip, pieces, look, moved)
        assert strip.is_behind
    strip.update(pieces, look, moved)
    fresh, _ = depth_of(number)
    fresh.update(pieces, look, moved)
    np.testing.assert_array_equal(pixels_of(strip), pixels_of(fresh))


def test_while_a_new_picture_is_drawn_the_old_one_moves_on(app):
    strip, look = depth_of(0)
    pieces = an_hour()
    strip.update(pieces, look, HOUR)
    old = pixels_of(strip)
    moved = replace(HOUR, left_column=HOUR.left_column + 20)
    a_part(strip, pieces, look, moved)
    assert strip.is_behind
    np.testing.assert_array_equal(pixels_of(strip)[:, 30:700], old[:, 50:720])


@pytest.mark.parametrize("number", [0, 1, 2])
def test_new_pieces_are_drawn_behind_the_picture_that_is_there(app, number):
    strip, look = depth_of(number)
    old_pieces, new_pieces = an_hour(seed=1), an_hour(seed=2)
    strip.update(old_pieces, look, HOUR)
    old = pixels_of(strip)
    strip._drew_s = strip._took_s = 0.0  # it has rested
    shown = [a_part(strip, new_pieces, look, HOUR, looks=3)]
    while strip.is_behind and len(shown) < 100:
        np.testing.assert_array_equal(pixels_of(strip), old)
        shown.append(a_part(strip, new_pieces, look, HOUR))
    fresh, _ = depth_of(number)
    fresh.update(new_pieces, look, HOUR)
    assert shown == [0] * (len(shown) - 1) + [HOUR.columns] and len(shown) >= 2
    np.testing.assert_array_equal(pixels_of(strip), pixels_of(fresh))


def test_nothing_is_painted_again_where_nothing_is_new(app):
    strip, look = depth_of(0)
    scale = TimeScale.of(View.part(100, 200), slots=300, columns=400)
    pieces = (piece(sub_notes=(note(),)),)
    assert strip.update(pieces, look, scale) == 400
    assert strip.update(pieces, look, scale) == 0 and not strip.is_behind


def test_kicks_and_their_band_are_drawn(app):
    kicks = Kicks(count=1, told=1, body_hz=95.0, spread_hz=0.0, hits=(hit(2.0, 95.0),))
    pixels, _ = drawn([piece(kicks=kicks)], 1)
    assert is_colour(pixels, LIGHT.series[1])[:, 80:100].any()
    assert is_colour(pixels, LIGHT.fairway_edge)[:, 5].any()


def test_water_grows_darker_with_what_is_lost(app):
    means = [drawn([piece(mono=mono(phase))], 2)[0][:, :40].mean() for phase in (0, 60, 90, 120, 180)]
    assert means == sorted(means, reverse=True) and means[0] > means[-1] + 20.0


def test_the_lanes_are_chosen_by_key_and_remembered(scene):
    lanes = scene.window.lanes
    scene.window.show()
    QTest.keyClick(scene.window, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    assert scene.conductor.state.choices.arrangement == "low_end"
    assert scene.window.bar.arrangements["low_end"].isChecked()
    assert [one.key for one in lanes.findChildren(SpokenLane)][-3:] == ["sub", "kick", "club"]
    assert not scene.window.views.fold.isEnabled()
    QTest.keyClick(scene.window, Qt.Key.Key_1, Qt.KeyboardModifier.ControlModifier)
    assert scene.conductor.state.choices.arrangement == "master"
    assert scene.window.views.fold.isEnabled()


def test_every_arrangement_has_a_button_with_a_name(scene):
    for one in ARRANGEMENTS:
        assert one.title in scene.window.bar.arrangements[one.key].accessibleName()
    assert arrangement_of("gone") is ARRANGEMENTS[0]
    assert arrangement_of("master").lanes(None, LowEndSettings()) == LANES


def test_what_was_not_looked_at_says_so(scene, app):
    assert "play it" in NOT_KEPT
    empty, _ = drawn([], 0)
    full, _ = drawn([piece()], 0)
    assert (empty != full).any()  # the one says what to do, the other that nothing came yet


def test_settings_are_asked_for_and_remembered(scene):
    scene.conductor.low_end.ask()
    page = scene.conductor.low_end.page
    page.low.setValue(100.0)
    page.high.setValue(60.0)
    page.accept()
    assert page.problem.text().startswith("the band of the kick is 100 to 60 Hz")
    page.low.setValue(50.0)
    page.key.setText("F minor")
    page.accept()
    choices = scene.conductor.state.choices
    assert (choices.kick_low_hz, choices.kick_high_hz, choices.key) == (50.0, 60.0, "F minor")
    assert scene.conductor.low_end.settings.key == "F minor"


def test_another_crossover_holds_at_once_in_a_new_pass_but_not_inside_a_set(scene):
    def take(crossover_hz):
        scene.conductor.low_end.ask()
        scene.conductor.low_end.page.crossover.setValue(crossover_hz)
        scene.conductor.low_end.page.accept()

    def name():
        return scene.window.lanes._picture._flags["mono"][0].name

    scene.play_music(3.0)
    take(90.0)
    scene.play_music(6.0)
    scene.until(lambda: scene.session.now.crossover_hz == 90.0 and name() == "below 90 Hz")
    assert [run.live_pass.crossover_hz for run in scene.timeline.runs] == [120.0, 90.0]
    assert scene.timeline.events[-1].text == "crossover 90 Hz"
    scene.conductor.choose_arrangement("set")
    take(100.0)
    scene.play_music(2.0)
    assert scene.session.now.crossover_hz == 90.0
    scene.conductor.choose_arrangement("master")
    scene.play_music(2.0)
    scene.until(lambda: name() == "below 100 Hz")


def test_what_is_heard_live_has_the_findings_of_its_low_end_at_its_place(scene):
    scene.conductor.choose_arrangement("low_end")
    scene.play_silence(2.0)
    scene.play(notes(0, 0, 45, 0, 0))
    scene.play_silence(6.0)

    def found():
        return [one for one in scene.window.findings.findings if one.kind == "out of tune"]

    scene.until(found)
    (one,) = found()
    begins_s = scene.session.thoughts.passes[0].first_slot / 10.0
    assert abs(one.first_slot - 45) <= 1 and abs(one.at_s - (4.5 - begins_s)) < 0.05
    assert "45 cents sharp" in one.text
    (piece,) = scene.session.low_end()
    assert piece.first_slot == 0.0


def test_other_settings_judge_again_what_was_heard(scene):
    scene.conductor.choose_arrangement("low_end")
    scene.play(notes(0, 0, 0, 0, 0))
    scene.play_silence(6.0)
    scene.until(lambda: scene.session.low_end() and len(scene.session.low_end()[-1].low_end.sub_notes) == 5)
    scene.conductor.low_end.ask()
    page = scene.conductor.low_end.page
    page.key.setText("B♭ minor")
    page.accept()
    assert {one.is_in_key for one in scene.session.low_end()[-1].low_end.sub_notes} == {False}
    scene.until(lambda: "outside the key" in {one.kind for one in scene.window.findings.findings})
    assert len(scene.session.low_end()) == 1, "nothing begins anew"
