"""Notes are given their names: by the concert pitch, the tuning that they share, and the key.

What a note is, its frequency, does not depend on any of these, so it can be named anew at any time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from meter.low_end.note_names import key_classes, shared_tuning_cents
from meter.low_end.note_records import SubNote
from meter.low_end.settings import LowEndSettings
from meter.standards.iso_16_1975 import cents_between, hz_to_midi, midi_to_hz, note_name


def by_concert_pitch(note: SubNote, settings: LowEndSettings) -> SubNote:
    """The same, named as the nearest note of the scale at the concert pitch."""
    return _as_midi(note, round(hz_to_midi(note.hz, a4_hz=settings.a4_hz)), settings)


def by_tuning(note: SubNote, tuning_cents: float, settings: LowEndSettings) -> SubNote:
    """The same, named as the nearest note with the tuning of all taken out; it has a name already."""
    midi = round(hz_to_midi(note.hz, a4_hz=settings.a4_hz) - tuning_cents / 100.0)
    return note if midi == note.midi else _as_midi(note, midi, settings)


def named(
    notes: Iterable[SubNote], settings: LowEndSettings
) -> tuple[tuple[SubNote, ...], float | None]:
    """All notes of a pass named anew, and the tuning that they share.

    Returns
    -------
    notes : tuple of SubNote
    tuning_cents : float or None
        See `LowEnd.tuning_cents`.
    """
    plain = [by_concert_pitch(note, settings) for note in notes]
    tuning = shared_tuning_cents([note.cents for note in plain])
    return tuple(by_tuning(note, tuning or 0.0, settings) for note in plain), tuning


def _as_midi(note: SubNote, midi: int, settings: LowEndSettings) -> SubNote:
    scale_hz = midi_to_hz(midi, a4_hz=settings.a4_hz)
    return replace(
        note,
        midi=midi,
        note=note_name(midi),
        cents=cents_between(note.hz, scale_hz),
        beat_hz=abs(note.hz - scale_hz),
        is_in_key=None if settings.key is None else midi % 12 in key_classes(settings.key),
    )
