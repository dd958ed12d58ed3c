"""What is found in the sub's notes: out of tune, outside the key, too low."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Final

from meter.findings.records import Finding
from meter.low_end.note_records import SubNote
from meter.low_end.note_text import HEARD_CENTS, note_text, off_cents, place_text
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import SOUNDINGS_A_SECOND

OFF, OUTSIDE_KEY, TOO_LOW = "out of tune", "outside the key", "too low"
MOST: Final = 5
"""Of each kind in a pass."""
LOW_SHARE: Final = 0.5
"""Of a note's energy under 40 Hz, where few club systems and no small speaker follow. Common practice."""
LEAST_S: Final = 0.2
"""A shorter note may be the body of a kick."""


def note_findings(low_end: LowEnd, settings: LowEndSettings, *, from_s: float) -> tuple[Finding, ...]:
    """Notes that are off, in the order of time."""
    tuning = low_end.tuning_cents
    found: list[Finding] = []

    def put(
        kind: str,
        notes: Iterable[SubNote],
        severity: Callable[[SubNote], float],
        amount: Callable[[SubNote], float],
        unit: str,
        text: Callable[[SubNote], str],
    ) -> None:
        for note in sorted(notes, key=lambda note: -severity(note))[:MOST]:
            found.append(_finding(kind, note, severity(note), amount(note), unit, text(note), from_s))

    put(
        OFF,
        (note for note in low_end.sub_notes if _is_off(note, tuning) and note.seconds >= LEAST_S),
        lambda note: (abs(off_cents(note, tuning)) - HEARD_CENTS) * note.seconds,
        lambda note: off_cents(note, tuning),
        "cents",
        lambda note: _off_text(note, tuning),
    )
    put(
        OUTSIDE_KEY,
        (note for note in low_end.sub_notes if note.is_in_key is False),
        lambda note: note.seconds,
        lambda note: note.hz,
        "Hz",
        lambda note: (
            f"{note.note} {place_text(note)} is outside {settings.key}: a slip, or a passing note; "
            "move it, or leave it if it is meant"
        ),
    )
    low: dict[str, list[SubNote]] = defaultdict(list)
    for note in low_end.sub_notes:
        if note.share_under_40_hz > LOW_SHARE and note.seconds >= LEAST_S:
            low[note.note].append(note)
    for notes in sorted(low.values(), key=lambda notes: -_seconds(notes))[:MOST]:
        share = 100.0 * notes[0].share_under_40_hz
        found.append(
            _finding(TOO_LOW, notes[0], _seconds(notes), share, "%", _low_text(notes, share), from_s)
        )
    return tuple(sorted(found, key=lambda one: one.first_slot))


def _seconds(notes: list[SubNote]) -> float:
    return sum(note.seconds for note in notes)


def _low_text(notes: list[SubNote], share: float) -> str:
    note = notes[0]
    where = place_text(note) if len(notes) == 1 else f"{len(notes)} times, first {place_text(note)}"
    return (
        f"{share:.0f} % of {note.note}, {note.hz:.1f} Hz, {where}, is under 40 Hz, where many systems give "
        "little: give it more of its harmonics or play it an octave higher, or leave it if it is meant to be "
        "felt on large subs only"
    )


def _is_off(note: SubNote, tuning_cents: float | None) -> bool:
    """Whether it is off for sure, by more than a bare sub lets one hear."""
    return abs(off_cents(note, tuning_cents)) - note.uncertainty_cents >= HEARD_CENTS


def _off_text(note: SubNote, tuning_cents: float | None) -> str:
    off = off_cents(note, tuning_cents)
    side = "flat" if off < 0.0 else "sharp"
    beats = note.hz * abs(1.0 - 2.0 ** (-off / 1200.0))
    shared = "" if not tuning_cents or abs(tuning_cents) < 1.0 else " to the rest of the sub"
    return (
        f"{note_text(note, tuning_cents=tuning_cents)} {place_text(note)} is {abs(off):.0f} cents {side}"
        f"{shared}, ±{max(note.uncertainty_cents, 1.0):.0f}: against a layer in tune it beats once in "
        f"{1.0 / max(beats, 1e-3):.1f} s; tune it, or leave it if it slides or is alone there, for on a bare "
        "sub few hear that much"
    )


def _finding(
    kind: str, note: SubNote, severity: float, amount: float, unit: str, text: str, from_s: float
) -> Finding:
    first = max(0, math.floor((note.at_s - from_s) * SOUNDINGS_A_SECOND))
    last = max(first + 1, math.ceil((note.at_s - from_s + note.seconds) * SOUNDINGS_A_SECOND))
    return Finding(
        kind=kind,
        first_slot=first,
        last_slot=last,
        at_slot=first,
        at_s=note.at_s,
        pass_number=1,
        severity=severity,
        is_open=False,
        text=text,
        until_s=note.at_s + note.seconds,
        amount=amount,
        unit=unit,
    )
