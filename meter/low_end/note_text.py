"""The sub's notes in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Final

from meter.low_end.note_records import SubNote
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import as_text_time

MOST_NAMES: Final = 8
HEARD_CENTS: Final = 20.0
"""On a bare sub fewer are not heard as pitch: below 1 kHz it takes 1 to 3 Hz (Open University OpenLearn,
§11.2), which is 34 cents and more at 50 Hz. They are heard as beats against another layer."""


def note_lines(low_end: LowEnd, settings: LowEndSettings) -> Iterator[str]:
    """What is said of the notes under a file."""
    notes = low_end.sub_notes
    if not notes and not low_end.unpitched:
        return
    yield "  Is the sub in tune?"
    if not notes:
        yield "    no single pitch below 130 Hz: glides, detuned voices, drums or noise"
        return
    yield f"    {_count(len(notes), 'note')} from 25 to 130 Hz: {_names(notes)}"
    yield f"    {tuning_text(low_end.tuning_cents, settings.a4_hz)}"
    off = [note for note in notes if abs(off_cents(note, low_end.tuning_cents)) >= HEARD_CENTS]
    if off:
        yield f"    {_count(len(off), 'note')} {HEARD_CENTS:.0f} cents off and more"
    else:
        yield f"    every note within {HEARD_CENTS:.0f} cents of the scale"
    seconds = sum(one.seconds for one in low_end.unpitched)
    if low_end.unpitched:
        yield f"    {seconds:.1f} s without a single pitch: glides, detuned voices, drums or noise"


def off_cents(note: SubNote, tuning_cents: float | None) -> float:
    """How far a note is off the scale, the tuning that all share taken out."""
    return note.cents - (tuning_cents or 0.0)


def tuning_text(tuning_cents: float | None, a4_hz: float) -> str:
    """How all notes together stand to concert pitch."""
    if tuning_cents is None:
        return f"too few notes to tell a tuning of their own; A4 = {a4_hz:g} Hz"
    if abs(tuning_cents) < 1.0:
        return f"tuned to A4 = {a4_hz:g} Hz"
    own_hz = a4_hz * 2.0 ** (tuning_cents / 1200.0)
    side = "above" if tuning_cents > 0.0 else "below"
    return f"all {abs(tuning_cents):.0f} cents {side} A4 = {a4_hz:g} Hz, as with A4 = {own_hz:.1f} Hz"


def note_text(note: SubNote, *, tuning_cents: float | None = None) -> str:
    """One note: name, frequency, and how far it is off."""
    off = off_cents(note, tuning_cents)
    return f"{note.note}, {note.hz:.2f} Hz, {off:+.0f} cents"


def place_text(note: SubNote) -> str:
    """Where it is."""
    return f"from {as_text_time(note.at_s)} to {as_text_time(note.at_s + note.seconds)}"


def _names(notes: tuple[SubNote, ...]) -> str:
    """Names by how long they sound in all, the longest first."""
    seconds: dict[str, float] = defaultdict(float)
    for note in notes:
        seconds[note.note] += note.seconds
    names = sorted(seconds, key=lambda name: -seconds[name])
    text = ", ".join(names[:MOST_NAMES])
    return f"{text} …" if len(names) > MOST_NAMES else text


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'s' * (number != 1)}"
