"""What the notes are found with: the same, bit for bit, whatever else is looked at with it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from meter.low_end.clock import LowClock
from meter.low_end.note_fit import piece_of, rows_of, turning, two_periods
from meter.low_end.note_sections import middle_of, sections_of
from meter.low_end.note_signal import NoteSignal, middle_and_side
from meter.low_end.note_tracks import peaks_of, pitches_of
from meter.low_end.settings import LowEndSettings
from meter.low_end.sub_notes import SubNotes

RATE_HZ = 750.0
CLOCK = LowClock(rate_hz=3000.0)


def bass(seconds: float, seed: int = 3) -> np.ndarray:
    """Notes of a quarter of a second, some struck anew at their pitch, in noise; at 3 kHz, both sides."""
    rng = np.random.default_rng(seed)
    t = np.arange(750) / 3000.0
    notes = []
    for k in range(round(seconds * 4)):
        hz = 55.0 if k % 5 == 1 else rng.uniform(30.0, 100.0)
        notes.append(0.4 * np.sin(2.0 * np.pi * (hz * t + rng.uniform())) * np.minimum(1.0, 60.0 * t))
    sound = np.concatenate(notes) + 1e-3 * rng.standard_normal(len(notes) * 750)
    return np.stack([sound, 0.8 * sound], axis=1)


def powers_of(frames: int) -> tuple[np.ndarray, np.ndarray]:
    made = NoteSignal(3000.0)
    lowered = made.lower(middle_and_side(bass(frames * 0.02 + 1.0)))
    return made.powers(lowered, frames), made.bins_hz


@given(cuts=st.lists(st.integers(0, 120), max_size=6))
@settings(max_examples=25)
def test_each_frame_has_its_peak_by_itself(cuts):
    powers, bins_hz = powers_of(120)
    parts = [peaks_of(part, bins_hz) for part in np.split(powers, sorted(cuts))]
    assert_array_equal(np.concatenate(parts, axis=1), peaks_of(powers, bins_hz))


def test_what_is_heard_hangs_on_the_loudest_of_those_that_are_looked_at_together():
    powers, bins_hz = powers_of(120)
    powers[60:] *= 1e5
    peaks = peaks_of(powers, bins_hz)
    assert pitches_of(peaks[:, :60]).is_heard.all()
    assert not pitches_of(peaks).is_heard[:60].any()


def test_any_number_of_frames_has_the_same_powers():
    made = NoteSignal(3000.0)
    lowered = made.lower(middle_and_side(bass(6.0)))
    whole = made.powers(lowered, 240)
    for first, count in ((0, 4), (4, 8), (100, 60)):
        assert_array_equal(made.powers(lowered[:, first * made.hop :], count), whole[first : first + count])


def test_what_is_asked_while_it_comes_changes_no_note():
    sound = bass(20.0)
    asked, left_alone = (SubNotes(CLOCK, LowEndSettings()) for _ in range(2))
    left_alone.process(sound, 0)
    for at in range(0, len(sound), 300):
        asked.process(sound[at : at + 300], at)
        asked.reading()
    asked.flush()
    left_alone.flush()
    assert len(left_alone.reading().ended) > 30
    assert asked.reading().ended == left_alone.reading().ended


@pytest.mark.parametrize("hz", [31.0, 55.0, 108.3])
def test_what_carries_a_pitch_down_may_be_known_already(hz):
    sound = np.sin(2.0 * np.pi * hz * np.arange(900) / RATE_HZ)
    sound[400:] *= -1.0  # struck anew
    turn = turning(-2.0 * np.pi * hz / RATE_HZ, 900)
    how = {"rate_hz": RATE_HZ, "hz": hz}
    sections = sections_of(sound, first=40, last=860, **how)
    assert len(sections) == 2
    assert sections_of(sound, first=40, last=860, turn=turn, **how) == sections
    for start, stop in sections:
        alone, known = (piece_of(sound[start:stop], turn=one, **how) for one in (None, turn))
        assert alone is not None and known is not None
        assert_array_equal(known.line, alone.line)


@pytest.mark.parametrize("count", [1, 31, 32, 33, 1024, 1025, 5000])
def test_what_turns_turns_evenly_for_any_length(count):
    made = turning(-0.37, count)
    assert len(made) == count
    np.testing.assert_allclose(made, np.exp(-0.37j * np.arange(count)), rtol=0.0, atol=1e-12)


def test_rows_are_the_pieces_of_the_values():
    values = np.random.default_rng(1).standard_normal(50) + 0j
    firsts = np.array([0, 7, 7, 39])
    assert_array_equal(rows_of(values, firsts, 11), [values[first : first + 11] for first in firsts])
    assert_array_equal(rows_of(values[::2], firsts[:2], 11), [values[:22:2], values[14:36:2]])
    with pytest.raises(IndexError):
        rows_of(values, np.array([40]), 11)


def test_a_window_of_two_periods_is_known_again_and_cannot_be_changed():
    weights = two_periods(14.3)
    assert weights.sum() == pytest.approx(2.0) and len(weights) == 29
    assert two_periods(14.3) is weights
    with pytest.raises(ValueError, match="read-only"):
        weights[0] = 1.0


@pytest.mark.parametrize("count", [1, 2, 9, 30, 31, 32, 33, 34, 200])
def test_the_middle_is_the_upper_median_of_few_and_of_many(count):
    values = np.random.default_rng(count).standard_normal(count)
    assert middle_of(values) == np.sort(values)[count // 2]
