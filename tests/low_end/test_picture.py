"""The low end as depth: what hangs where, and what is said of it."""

import math

import numpy as np
import pytest

from meter.dsp.kick_body import Body
from meter.low_end.kick_records import Hit, Kicks
from meter.low_end.lanes import (
    NOT_KEPT,
    beats_text,
    low_end_answers,
    low_end_flags,
    low_end_lanes,
    low_end_moment,
    low_end_spoken,
)
from meter.low_end.mono_map import band_middles_hz
from meter.low_end.mono_records import MonoMap
from meter.low_end.note_records import SubNote, Unpitched
from meter.low_end.picture import Piece, frays, kick_marks, knots, waters
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings

SETTINGS = LowEndSettings()


def note(at_s=1.0, hz=55.0, cents=0.0, **more):
    beat_hz = hz - hz / 2.0 ** (cents / 1200.0)
    return SubNote(
        at_s=at_s,
        seconds=2.0,
        hz=hz,
        midi=33,
        note="A1",
        cents=cents,
        uncertainty_cents=2.0,
        level_dbfs=-12.0,
        share_under_40_hz=0.1,
        beat_hz=beat_hz,
        **more,
    )


def hit(at_s, hz):
    body = Body(
        hz=hz, seconds=0.2, level_dbfs=-6.0, sub_share=0.2, crest_db=9.0, energy=1.0, fall_energy=1.0
    )
    return Hit(
        at_s=at_s, body=body, sub_before_db=-90.0, sub_during_db=-20.0, sub_after_db=-90.0, fall_before=0.0
    )


def mono(phase_deg, columns=6):
    """One tone on both sides, equally loud, so far apart in every band."""
    hz = band_middles_hz()
    angle = math.radians(phase_deg)
    powers = np.tile(
        np.array([0.1, 0.1, 0.1 * math.cos(angle), 0.1 * math.sin(angle)], np.float32), (columns, len(hz), 1)
    )
    return MonoMap(hz=hz, at_s=np.arange(columns, dtype=float), powers=powers)


def piece(first_slot=100.0, **low_end):
    return Piece(low_end=LowEnd(**low_end), first_slot=first_slot)


def test_a_note_is_a_knot_at_its_depth_and_on_its_slot():
    (knot,) = knots([piece(sub_notes=(note(),))], 0, 1000)
    assert (knot.start, knot.end) == (110.0, 130.0)
    assert knot.octave == pytest.approx(math.log2(55.0))
    assert not knot.is_off and math.isinf(knot.beat_slots)


def test_a_drift_is_as_many_strokes_as_it_beats():
    (knot,) = knots([piece(sub_notes=(note(cents=50.0),))], 0, 1000)
    assert knot.is_off
    beats = (knot.end - knot.start) / knot.beat_slots
    assert beats == pytest.approx(2.0 * (55.0 - 55.0 / 2.0 ** (50.0 / 1200.0)))  # two seconds of it


def test_what_lies_elsewhere_in_time_is_not_there():
    shown = [piece(sub_notes=(note(),), unpitched=(Unpitched(at_s=5.0, seconds=1.0, level_dbfs=-20.0),))]
    assert not list(knots(shown, 0, 90)) and not list(knots(shown, 140, 900))
    assert not list(frays(shown, 0, 140, loose=5.0))
    (fray,) = frays(shown, 0, 1000, loose=5.0)
    assert fray.octave == pytest.approx(math.log2(55.0))  # it frays from the rope before it


def test_a_kick_is_inside_the_band_of_the_user_or_not():
    hits = (hit(1, 95.0), hit(2, 70.0), hit(3, None))
    kicks = Kicks(count=3, told=2, body_hz=95.0, spread_hz=1.0, hits=hits)
    found = list(kick_marks([piece(kicks=kicks)], 0, 1000, SETTINGS))
    assert [one.is_inside for one in found] == [True, False, False]
    assert found[2].octave is None
    wide = LowEndSettings(kick_band_hz=(60.0, 100.0))
    assert [one.is_inside for one in kick_marks([piece(kicks=kicks)], 0, 1000, wide)] == [True, True, False]


@pytest.mark.parametrize(
    ("phase_deg", "lost_db"), [(0, 0.0), (60, -1.25), (90, -3.01), (120, -6.02), (180, -60.0)]
)
def test_the_water_is_as_deep_as_mono_loses(phase_deg, lost_db):
    """Equal sides, so far apart: 20 log10 cos(phase / 2); issue table, floor of -60 dB."""
    (water,) = waters([piece(mono=mono(phase_deg))], 0, 1000, most=500)
    assert water.lost_db == pytest.approx(lost_db, abs=0.01)
    assert np.abs(water.phase_deg) == pytest.approx(phase_deg, abs=0.01)


def test_silence_is_no_water_at_all():
    quiet = mono(90)
    shown = MonoMap(hz=quiet.hz, at_s=quiet.at_s, powers=quiet.powers * np.float32(0.0))
    (water,) = waters([piece(mono=shown)], 0, 1000, most=500)
    assert np.isnan(water.lost_db).all() and np.isnan(water.phase_deg).all()


def test_seconds_go_together_alike_wherever_a_view_begins():
    shown = [piece(0.0, mono=mono(90, columns=400))]
    one = next(waters(shown, 0, 4000, most=100))
    other = next(waters(shown, 35, 4035, most=100))
    assert set(other.slots) <= set(one.slots)


def test_flags_tell_note_cents_body_and_loss():
    kicks = Kicks(count=4, told=4, body_hz=70.0, spread_hz=1.0)
    shown = [piece(sub_notes=(note(cents=-30.0),), kicks=kicks, mono=mono(90))]
    found = low_end_flags(shown, SETTINGS, bpm=120.0)
    assert [flag.text for flag in found["sub"]] == [
        "A1 55.0 Hz",
        "±2 -30 cents ▼ flat",
        f"{beats_text(note(cents=-30.0).beat_hz, 120.0)[0]} beats a bar",
    ]
    assert [flag.text for flag in found["kick"]] == ["body 70.0 Hz ▼ under", "4 kicks"]
    assert [flag.text for flag in found["club"]] == ["below 120 Hz -3.0 dB"]
    (whole,) = low_end_flags(shown, SETTINGS, whole_lost_db=-0.06)["club"]
    assert whole.text == "below 120 Hz -0.1 dB"
    (mono_file,) = low_end_flags(shown, SETTINGS, channels=1)["club"]
    assert mono_file.text == "nothing"


def test_beats_are_told_by_the_bar_where_the_tempo_is_known():
    assert beats_text(0.5, 120.0) == ("1.0", "beats a bar")  # a bar of 120 lasts 2 s
    assert beats_text(-0.5, 0.0) == ("0.50", "beats a s")


def test_a_moment_says_what_is_there():
    shown = [piece(sub_notes=(note(cents=0.2),), mono=mono(90), kicks=None)]
    said = low_end_moment(shown, 115.0, SETTINGS)
    assert said[:3] == ["sub A1, 55.00 Hz", "0 ±2 cents", "0.01 beats a s"]
    assert "below 120 Hz −3.0 dB" in said and "L and R 90° apart" in said and "no kick here" in said
    assert low_end_moment([], 0.0, SETTINGS) == ["low end: not looked at here"]


def test_an_empty_lane_says_what_to_do():
    lanes = low_end_lanes(None, SETTINGS)
    assert [lane.question[-1] for lane in lanes] == ["?"] * 3
    assert all(lane.lowest == math.log2(25.0) for lane in lanes)
    assert "held" in low_end_spoken(lanes[0], ())
    assert low_end_answers([], SETTINGS) == NOT_KEPT


def test_answers_tell_what_a_crossover_costs():
    said = low_end_answers([piece(mono=mono(90))], SETTINGS)
    assert "Summed to mono below 80 Hz: −3.0 dB below that." in said
