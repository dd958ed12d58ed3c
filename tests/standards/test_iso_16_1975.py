"""Names and cents of notes, against tables (equal temperament; values as in the handbooks)."""

import pytest

from meter.standards.iso_16_1975 import cents_between, hz_to_midi, midi_to_hz, note_name

TABLE = [
    # note, MIDI, Hz to two decimals; equal temperament with A4 = 440 Hz, ISO 16 and the MIDI convention
    ("C0", 12, 16.35),
    ("A0", 21, 27.50),
    ("C1", 24, 32.70),
    ("E1", 28, 41.20),
    ("F1", 29, 43.65),
    ("G1", 31, 49.00),
    ("A1", 33, 55.00),
    ("C2", 36, 65.41),
    ("C♯3", 49, 138.59),
    ("C4", 60, 261.63),
    ("A4", 69, 440.00),
]
CENTS = [
    (442.0, 440.0, 7.851),
    (432.0, 440.0, -31.767),
    (441.0, 440.0, 3.930),
    (100.5, 100.0, 8.635),
    (49.5, midi_to_hz(31), 17.597),
    (50.0, midi_to_hz(31), 34.996),
    (60.0, midi_to_hz(35), -49.363),
]


@pytest.mark.parametrize(("name", "midi", "hz"), TABLE)
def test_a_note_has_its_name_and_its_frequency(name, midi, hz):
    assert note_name(midi) == name
    assert midi_to_hz(midi) == pytest.approx(hz, abs=0.005)
    assert hz_to_midi(midi_to_hz(midi, a4_hz=432.0), a4_hz=432.0) == pytest.approx(midi, abs=1e-9)


@pytest.mark.parametrize(("hz", "reference_hz", "cents"), CENTS)
def test_cents_are_as_worked_out(hz, reference_hz, cents):
    assert cents_between(hz, reference_hz) == pytest.approx(cents, abs=0.001)
