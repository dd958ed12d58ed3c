"""Pitch: concert pitch, equal temperament, names of notes, cents.

Source
------
ISO 16:1975 for A4 = 440 Hz (its text was not seen, only quoted); MIDI counts A4 as 69. Cents and equal
temperament are arithmetic. Some programs call MIDI 60 "C3" (from memory); here it is C4, as in scientific
notation.
"""

from __future__ import annotations

import math
from typing import Final

A4_HZ: Final = 440.0
A4_MIDI: Final = 69
NAMES: Final = ("C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B")
CENTS_AN_OCTAVE: Final = 1200.0


def midi_to_hz(midi: float, *, a4_hz: float = A4_HZ) -> float:
    """Frequency of a note of equal temperament."""
    return float(a4_hz * 2.0 ** ((midi - A4_MIDI) / 12.0))


def hz_to_midi(hz: float, *, a4_hz: float = A4_HZ) -> float:
    """Number of the note, with its fraction."""
    return A4_MIDI + 12.0 * math.log2(hz / a4_hz)


def cents_between(hz: float, reference_hz: float) -> float:
    """How far a frequency is above another."""
    return CENTS_AN_OCTAVE * math.log2(hz / reference_hz)


def note_name(midi: int) -> str:
    """Name with its octave: C4 is MIDI 60."""
    return f"{NAMES[midi % 12]}{midi // 12 - 1}"
