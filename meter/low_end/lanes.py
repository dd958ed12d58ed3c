"""The lanes of the arrangement Low end, and what flies on them: frequency is depth, low notes lie low."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from meter.lanes import Flag, Lane
from meter.low_end.kick_text import adds_text, sub_text
from meter.low_end.mono_summary import summarise
from meter.low_end.note_records import SubNote
from meter.low_end.note_text import note_text, off_cents, place_text
from meter.low_end.picture import Piece, is_off, octave_of, waters
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.music_sentences import band_text
from meter.soundings import SOUNDINGS_A_SECOND
from meter.targets import Target
from meter.window_text import for_window

SURFACE_HZ: Final = {"sub": 130.0, "kick": 160.0, "club": 250.0}
BED_HZ: Final = 25.0
_TICKS_HZ: Final = (25.0, 30.0, 40.0, 60.0, 80.0, 100.0, 130.0, 200.0, 250.0)
BEATS_A_BAR: Final = 4

NOTHING: Final = {
    "sub": "no note of a sub here; one shows once it is held for a quarter of a second",
    "kick": "no kick here; each shows as it is hit",
    "club": "nothing below 250 Hz here; it shows after a second",
}
"""What an empty lane says."""
NOT_KEPT: Final = "the low end of this was not looked at; play it, or open its file again, and it shows here"


def low_end_lanes(target: Target | None, settings: LowEndSettings) -> tuple[Lane, ...]:
    """The lanes from the top; the target says nothing of them."""
    del target
    low, high = settings.kick_band_hz
    return (
        _lane(
            "sub",
            "Is the sub in tune?",
            "a knot: a note · an open one: out of tune, strokes across it: beats · frayed: no single pitch",
        ),
        _lane(
            "kick",
            "Is the kick clear of the sub?",
            "a wedge: a kick's body · at the top: not told · a thin rope: the sub",
            wanted=(octave_of(low), octave_of(high)),
            wanted_text=f"your kick: {low:.0f} to {high:.0f} Hz",
        ),
        _lane(
            "club",
            "What does a mono club lose?",
            "darker water: 1, 3, 6, 12 dB lost and more · plumb lines bend by the phase of left to right",
        ),
    )


def _lane(
    key: str,
    question: str,
    says: str,
    wanted: tuple[float, float] | None = None,
    wanted_text: str = "",
) -> Lane:
    ticks = [hz for hz in _TICKS_HZ if BED_HZ <= hz <= SURFACE_HZ[key]]
    return Lane(
        key=key,
        question=question,
        unit="Hz",
        lowest=octave_of(BED_HZ),
        highest=octave_of(SURFACE_HZ[key]),
        ticks=tuple(octave_of(hz) for hz in ticks),
        series=(),
        tick_texts=tuple(f"{hz:g}" for hz in ticks),
        picture=key,
        says=says,
        wanted=wanted,
        wanted_text=wanted_text,
    )


def beats_text(beat_hz: float, bpm: float) -> tuple[str, str]:
    """A drift as beats a bar where the tempo is known (40 and up), else a second: number and unit."""
    if bpm > 0.0:
        return f"{abs(beat_hz) * 60.0 * BEATS_A_BAR / bpm:.1f}", "beats a bar"
    return f"{abs(beat_hz):.2f}", "beats a s"


def low_end_flags(
    pieces: Sequence[Piece],
    settings: LowEndSettings,
    *,
    bpm: float = 0.0,
    channels: int = 2,
    whole_lost_db: float | None = None,
) -> dict[str, tuple[Flag, ...]]:
    """What rides on each lane, of the newest piece.

    Parameters
    ----------
    whole_lost_db : float, optional
        What all of a file loses in mono below the crossover; the last three seconds are told without it.
    """
    if not pieces:
        return {}
    low_end = pieces[-1].low_end
    return {
        "sub": tuple(_of_sub(low_end, bpm)),
        "kick": tuple(_of_kick(low_end, settings)),
        "club": tuple(_of_club(low_end, settings, channels, whole_lost_db)),
    }


def _of_sub(low_end: LowEnd, bpm: float) -> Iterator[Flag]:
    note = low_end.note_now or (low_end.sub_notes[-1] if low_end.sub_notes else None)
    if note is None:
        return
    off = off_cents(note, low_end.tuning_cents)
    at = octave_of(note.hz)
    is_out = is_off(note, low_end.tuning_cents)
    yield Flag(key="", name=note.note, value_text=f"{note.hz:.1f}", unit="Hz", at=at)
    word = ("sharp" if off > 0.0 else "flat") if is_out else "in tune"
    yield Flag(
        key="",
        name=f"±{max(note.uncertainty_cents, 1.0):.0f}",
        value_text=_cents(off),
        unit="cents",
        glyph=("▲" if off > 0.0 else "▼") if is_out else "✓",
        word=word,
        at=at - 0.1,
    )
    if is_out:
        number, unit = beats_text(note.beat_hz, bpm)
        yield Flag(key="", name="", value_text=number, unit=unit, at=at - 0.2)


def _cents(off: float) -> str:
    """Whole cents with their sign; nothing is neither sharp nor flat."""
    return f"{off:+.0f}" if abs(off) >= 0.5 else "0"


def _of_kick(low_end: LowEnd, settings: LowEndSettings) -> Iterator[Flag]:
    kicks = low_end.kicks
    if kicks is None or not kicks.count:
        return
    low, high = settings.kick_band_hz
    if kicks.body_hz is not None:
        under, over = kicks.body_hz < low, kicks.body_hz > high
        yield Flag(
            key="",
            name="body",
            value_text=f"{kicks.body_hz:.1f}",
            unit="Hz",
            glyph="▼" if under else "▲" if over else "✓",
            word="under" if under else "over" if over else "inside",
            at=octave_of(kicks.body_hz),
        )
    yield Flag(
        key="",
        name="" if kicks.body_hz is not None else "body not told",
        value_text=str(kicks.count),
        unit="kick" if kicks.count == 1 else "kicks",
    )


def _of_club(
    low_end: LowEnd, settings: LowEndSettings, channels: int, whole_lost_db: float | None
) -> Iterator[Flag]:
    if channels == 1:
        yield Flag(key="", name="nothing", value_text="", unit="")
        return
    lost = lost_below(low_end, settings.crossover_hz) if whole_lost_db is None else whole_lost_db
    if lost is not None:
        yield Flag(
            key="",
            name=band_text("below_crossover", settings.crossover_hz),
            value_text=f"{lost + 0.0:.1f}".replace("-0.0", "0.0"),
            unit="dB",
        )


def lost_below(low_end: LowEnd, crossover_hz: float, *, at_s: float | None = None) -> float | None:
    """What mono loses below a crossover over the three seconds up to a moment, the newest unless given."""
    from meter.low_end.mono_summary import WINDOW_COLUMNS, lost_db

    mono = low_end.mono
    if mono is None:
        return None
    stop = len(mono.at_s) if at_s is None else int(np.searchsorted(mono.at_s, at_s, side="right"))
    powers = mono.powers[max(stop - WINDOW_COLUMNS, 0) : stop, mono.hz <= crossover_hz]
    return lost_db(powers.astype(np.float64)) if powers.size else None


def low_end_spoken(lane: Lane, flags: Sequence[Flag]) -> str:
    """A lane of the low end in words, for those who do not see it."""
    said = "; ".join(" ".join(part for part in flag.text.split(" ") if part != flag.glyph) for flag in flags)
    return f"{lane.question} {said or NOTHING[lane.key]}"


def low_end_moment(
    pieces: Sequence[Piece], slot: float, settings: LowEndSettings, *, bpm: float = 0.0
) -> list[str]:
    """The numbers of the low end at a slot, each in a short line."""
    piece = next((one for one in reversed(pieces) if one.first_slot <= slot), None)
    if piece is None:
        return ["low end: not looked at here"]
    at_s = (slot - piece.first_slot) / SOUNDINGS_A_SECOND
    low_end = piece.low_end
    return [
        *_note_lines(low_end, at_s, bpm),
        *_kick_lines(low_end, at_s),
        *_club_lines(piece, slot, at_s, settings),
    ]


def note_at(low_end: LowEnd, at_s: float) -> SubNote | None:
    """The note that is held at a moment."""
    notes = low_end.sub_notes if low_end.note_now is None else (*low_end.sub_notes, low_end.note_now)
    return next((one for one in reversed(notes) if one.at_s - 0.1 <= at_s <= one.at_s + one.seconds), None)


def _note_lines(low_end: LowEnd, at_s: float, bpm: float) -> Iterator[str]:
    note = note_at(low_end, at_s)
    if note is None:
        is_loose = any(one.at_s <= at_s <= one.at_s + one.seconds for one in low_end.unpitched)
        yield "sub: no single pitch" if is_loose else "sub: no note here"
        return
    off = off_cents(note, low_end.tuning_cents)
    yield f"sub {note.note}, {note.hz:.2f} Hz"
    yield f"{_cents(off)} ±{max(note.uncertainty_cents, 1.0):.0f} cents".replace("-", "−")
    yield " ".join(beats_text(note.beat_hz, bpm))
    if note.is_in_key is False:
        yield "outside your key"


def _kick_lines(low_end: LowEnd, at_s: float) -> Iterator[str]:
    hits = () if low_end.kicks is None else low_end.kicks.hits
    near = min(hits, key=lambda hit: abs(hit.at_s - at_s), default=None)
    if near is None or abs(near.at_s - at_s) > 0.5:
        yield "no kick here"
    elif near.body.hz is None:
        yield "kick: body not told"
    else:
        yield f"kick body {near.body.hz:.1f} Hz"


def _club_lines(piece: Piece, slot: float, at_s: float, settings: LowEndSettings) -> Iterator[str]:
    lost = lost_below(piece.low_end, settings.crossover_hz, at_s=at_s)
    if lost is None:
        return
    yield "lost in mono over 3 s:"
    yield f"{band_text('below_crossover', settings.crossover_hz)} {_db(lost)}"
    for water in waters([piece], slot - 10.0, slot, most=1000):
        column = water.lost_db[-1]
        if np.isfinite(column).any():
            worst = int(np.nanargmin(column))
            yield f"most at {2.0 ** water.octaves[worst]:.0f} Hz {_db(float(column[worst]))}"
            yield f"L and R {abs(water.phase_deg[-1][worst]):.0f}° apart"


def _db(value: float) -> str:
    return f"{value:.1f} dB".replace("-0.0", "0.0").replace("-", "−")


def low_end_answers(pieces: Sequence[Piece], settings: LowEndSettings) -> str:
    """What a club's crossover would cost, and how kick and sub go together, in a few sentences."""
    if not pieces:
        return NOT_KEPT
    low_end = pieces[-1].low_end
    lines = []
    if low_end.mono is not None:
        for one in summarise(low_end.mono, crossover_hz=settings.crossover_hz).if_summed:
            if one.lost_db is not None:
                lines.append(f"Summed to mono below {one.below_hz:.0f} Hz: {_db(one.lost_db)} below that.")
    if low_end.kicks is not None and low_end.kicks.count:
        texts = (sub_text(low_end.kicks), adds_text(low_end.kicks))
        lines += [f"{text[:1].upper()}{for_window(text[1:])}." for text in texts]
    off = [note for note in low_end.sub_notes if is_off(note, low_end.tuning_cents)]
    tuning = low_end.tuning_cents
    lines += [f"{note_text(note, tuning_cents=tuning)}, {place_text(note)}." for note in off[:5]]
    return "\n".join(lines) or "Nothing to tell of the low end yet."
