"""What is said of the sub's notes: text, findings, JSON."""

import json

import pytest

from meter.arguments import a4_from
from meter.check_json import as_line
from meter.errors import UsageError
from meter.low_end import LowEnd, LowEndSettings
from meter.low_end.json_keys import low_end_object
from meter.low_end.note_findings import note_findings
from meter.low_end.note_names import key_classes, shared_tuning_cents
from meter.low_end.note_records import SubNote, Unpitched
from meter.low_end.note_text import note_lines
from meter.standards.iso_16_1975 import midi_to_hz, note_name


def note(midi=32, cents=0.0, *, at_s=10.0, seconds=0.5, sure=1.0, under=0.0, is_in_key=None):
    hz = midi_to_hz(midi + cents / 100)
    return SubNote(
        at_s=at_s,
        seconds=seconds,
        hz=hz,
        midi=midi,
        note=note_name(midi),
        cents=cents,
        uncertainty_cents=sure,
        level_dbfs=-8.0,
        share_under_40_hz=under,
        beat_hz=abs(hz - midi_to_hz(midi)),
        is_in_key=is_in_key,
    )


def found(*notes, tuning_cents=0.0, key=None, from_s=0.0):
    low_end = LowEnd(sub_notes=notes, tuning_cents=tuning_cents)
    return note_findings(low_end, LowEndSettings(key=key), from_s=from_s)


def test_a_flat_note_is_found_where_it_is_and_told_in_beats():
    (one,) = found(note(), note(cents=-30.0, at_s=65.0))
    assert (one.kind, one.at_s, one.until_s) == ("out of tune", 65.0, 65.5)
    assert (one.first_slot, one.last_slot) == (650, 655)
    assert (one.amount, one.unit) == (pytest.approx(-30.0), "cents")
    # 51.91 Hz less 30 cents is 51.02 Hz: 0.89 Hz apart, a beat in 1.1 s.
    assert "G♯1, 51.02 Hz, -30 cents from 1:05.0 to 1:05.5 is 30 cents flat, ±1" in one.text
    assert "beats once in 1.1 s" in one.text and "leave it" in one.text


def test_what_nobody_hears_or_nobody_knows_is_no_finding():
    assert found(note(cents=19.0), note(cents=-25.0, sure=6.0), note(cents=40.0, seconds=0.15)) == ()


def test_the_tuning_of_all_is_no_fault_of_one():
    notes = [note(midi, 30.0) for midi in (29, 32, 34, 36)]
    assert found(*notes, tuning_cents=30.0) == ()
    (one,) = found(*notes, note(cents=0.0, at_s=20.0), tuning_cents=30.0)
    assert one.amount == -30.0 and "to the rest of the sub" in one.text


def test_notes_outside_the_key_and_too_low_are_found():
    outside, low = found(
        note(30, is_in_key=False),
        note(27, under=0.9, at_s=12.0),
        note(27, under=0.9),
        key="F minor",
        from_s=2.0,
    )
    assert outside.kind == "outside the key" and "F♯1" in outside.text and "F minor" in outside.text
    assert outside.first_slot == 80
    assert low.kind == "too low" and low.amount == pytest.approx(90.0)
    assert "90 % of D♯1, 38.9 Hz, 2 times, first" in low.text


def test_at_most_five_of_a_kind_the_worst_are_told():
    notes = [note(cents=-21.0 - k, at_s=float(k)) for k in range(9)]
    assert [one.at_s for one in found(*notes)] == [4.0, 5.0, 6.0, 7.0, 8.0]


def test_the_text_says_how_many_and_how_all_are_tuned():
    low_end = LowEnd(
        sub_notes=(note(), note(29), note(cents=-30.0)),
        tuning_cents=-32.0,
        unpitched=(Unpitched(at_s=1.0, seconds=2.5, level_dbfs=-9.0),),
    )
    lines = [line.strip() for line in note_lines(low_end, LowEndSettings())]
    assert lines == [
        "Is the sub in tune?",
        "3 notes from 25 to 130 Hz: G♯1, F1",
        "all 32 cents below A4 = 440 Hz, as with A4 = 431.9 Hz",
        "2 notes 20 cents off and more",
        "2.5 s without a single pitch: glides, detuned voices, drums or noise",
    ]
    assert list(note_lines(LowEnd(), LowEndSettings())) == []


def test_the_json_has_each_note_and_a_reason_for_each_null():
    why = {}
    made = low_end_object(LowEnd(sub_notes=(note(cents=-30.0),)), why, crossover_hz=120.0)
    (one,) = json.loads(as_line(made))["sub_notes"]
    assert one["note"] == "G♯1" and one["cents"] == -30.0 and one["hz"] == pytest.approx(51.0211, abs=1e-3)
    assert {key for key, value in made.items() if value is None} <= set(why)
    assert why["tuning_cents"] == "does not apply", "the file has ended: no more notes will come"


@pytest.mark.parametrize(
    ("key", "classes"),
    [
        ("F minor", {5, 7, 8, 10, 0, 1, 3}),
        ("Fm", {5, 7, 8, 10, 0, 1, 3}),
        ("C", {0, 2, 4, 5, 7, 9, 11}),
        ("eb major", {3, 5, 7, 8, 10, 0, 2}),
        ("F# min", {6, 8, 9, 11, 1, 2, 4}),
        ("A♭", {8, 10, 0, 1, 3, 5, 7}),
    ],
)
def test_a_key_is_understood_as_people_write_it(key, classes):
    assert key_classes(key) == classes


@pytest.mark.parametrize("key", ["", "H", "F dorian", "minor"])
def test_what_is_no_key_is_refused_in_one_sentence(key):
    with pytest.raises(UsageError, match='expected a note and major or minor, such as "F minor"'):
        LowEndSettings(key=key)


@pytest.mark.parametrize("text", ["400", "a", "nan", "470"])
def test_a_concert_pitch_out_of_range_is_refused(text):
    with pytest.raises(UsageError, match="expected 415 to 466 Hz"):
        a4_from(text)


def test_a_shared_tuning_goes_around_the_circle():
    assert shared_tuning_cents([48.0, 49.0, -49.0, -50.0]) == pytest.approx(49.5, abs=1.1)
    assert shared_tuning_cents([-30.0, 0.0, 0.0, 1.0, 0.0]) == 0.0
    assert shared_tuning_cents([0.0, 0.0, 0.0]) is None
    assert shared_tuning_cents([0.0, 25.0, 50.0, 75.0]) is None
