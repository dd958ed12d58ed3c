"""Where the low end lies when it is drawn as depth: slots of 100 ms from the left, octaves over 1 Hz upwards.

Plain geometry: what hangs where. How it looks is for who draws it.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from meter.low_end.kick_records import Hit
from meter.low_end.mono_map import BANDS_AN_OCTAVE
from meter.low_end.mono_summary import WINDOW_COLUMNS, heard
from meter.low_end.note_records import SubNote, Unpitched
from meter.low_end.note_text import HEARD_CENTS, off_cents
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import SOUNDINGS_A_SECOND
from meter.units import Floats, powers_to_db

LEAST_LOST_DB: Final = -60.0
_One = TypeVar("_One", SubNote, Unpitched, Hit)

LONGEST_SLOTS: Final = 160
"""No note is told longer than 15 s."""
JOINED_S: Final = 0.3
"""Notes that follow so closely hang on one rope."""
JOINED_SLOTS: Final = JOINED_S * SOUNDINGS_A_SECOND


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """The low end of a stretch of a timeline.

    Attributes
    ----------
    first_slot : float
        Where its 0 s lies.
    ring_number : int
        The ring that it was heard from; 0 for none.
    """

    low_end: LowEnd
    first_slot: float
    ring_number: int = 0

    def slot_of(self, at_s: float) -> float:
        """Where a moment of it lies on the timeline."""
        return self.first_slot + at_s * SOUNDINGS_A_SECOND


@dataclass(frozen=True, slots=True, kw_only=True)
class Knot:
    """A note on the rope, from where it is tied to where it ends, in slots.

    Attributes
    ----------
    octave : float
        Its depth: log2 of its frequency.
    beat_slots : float
        From one beat against the note in tune to the next; infinite where there is none to speak of.
    is_off : bool
        More than it is uncertain by, and enough to be heard.
    is_joined : bool
        It follows closely on the one before.
    """

    start: float
    end: float
    octave: float
    name: str
    beat_slots: float
    is_off: bool
    is_outside: bool
    is_joined: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Fray:
    """Where there is no single pitch; `octave` is the depth of the rope that it frays from."""

    start: float
    end: float
    octave: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KickMark:
    """A kick, at the depth at which its body settles; None where that is not told."""

    start: float
    end: float
    octave: float | None
    is_inside: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Water:
    """What mono loses over time and depth, three seconds each.

    Attributes
    ----------
    slots : ndarray, shape (columns,)
        Where each column of a second begins.
    octaves : ndarray, shape (bands,)
    lost_db : ndarray, shape (columns, bands)
        0 and below; NaN where it is too quiet to tell.
    phase_deg : ndarray, shape (columns, bands)
        -180 to 180; positive: the right channel is behind.
    """

    slots: Floats
    octaves: Floats
    lost_db: Floats
    phase_deg: Floats


def octave_of(hz: float) -> float:
    """How high a frequency lies: octaves above 1 Hz."""
    return math.log2(hz)


def is_off(note: SubNote, tuning_cents: float | None) -> bool:
    """Whether a note is out of tune, its uncertainty granted."""
    return abs(off_cents(note, tuning_cents)) - note.uncertainty_cents >= HEARD_CENTS


def all_notes(low_end: LowEnd) -> tuple[SubNote, ...]:
    """Those that have ended, and the one that is held."""
    return low_end.sub_notes if low_end.note_now is None else (*low_end.sub_notes, low_end.note_now)


def _near(piece: Piece, ordered: tuple[_One, ...], first: float, last: float) -> tuple[_One, ...]:
    """Those that begin between two slots, of a row in the order of time."""
    begin, stop = _span(piece, ordered, first, last)
    return ordered[begin:stop]


def _span(
    piece: Piece, ordered: Sequence[SubNote] | Sequence[Unpitched] | Sequence[Hit], first: float, last: float
) -> tuple[int, int]:
    first_s, last_s = ((slot - piece.first_slot) / SOUNDINGS_A_SECOND for slot in (first, last))
    return bisect_left(ordered, first_s, key=_AT_S), bisect_right(ordered, last_s, key=_AT_S)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Many:
    """Notes or kicks of which there are too many to be drawn one by one; arrays of one length.

    Attributes
    ----------
    start, end, octave : ndarray
        As those of `Knot`; the octave is NaN where it is not told.
    is_off : ndarray of bool
        Of notes: out of tune, for sure.
    """

    start: Floats
    end: Floats
    octave: Floats
    is_off: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """How many notes or kicks there are, and between which slots they begin."""

    number: int = 0
    first: float = 0.0
    last: float = 0.0


def count_of_notes(pieces: Sequence[Piece], first: float, last: float) -> Count:
    """How many notes begin between two slots; a look-up."""
    return _count(pieces, lambda piece: all_notes(piece.low_end), first, last)


def count_of_kicks(pieces: Sequence[Piece], first: float, last: float) -> Count:
    """How many kicks begin between two slots; a look-up."""
    return _count(pieces, _hits, first, last)


def _count(
    pieces: Sequence[Piece],
    ordered_of: Callable[[Piece], tuple[SubNote, ...] | tuple[Hit, ...]],
    first: float,
    last: float,
) -> Count:
    number, begins = 0, []
    for piece in pieces:
        ordered = ordered_of(piece)
        begin, stop = _span(piece, ordered, first, last)
        if begin < stop:
            number += stop - begin
            begins += [piece.slot_of(ordered[begin].at_s), piece.slot_of(ordered[stop - 1].at_s)]
    return Count(number=number, first=min(begins), last=max(begins)) if begins else Count()


def _hits(piece: Piece) -> tuple[Hit, ...]:
    kicks = piece.low_end.kicks
    return () if kicks is None else kicks.hits


def many_notes(pieces: Sequence[Piece], first: float, last: float) -> Many:
    """The notes between two slots, at once."""
    rows, off = [np.empty((3, 0))], [np.empty(0, np.bool_)]
    for piece in pieces:
        notes = _near(piece, all_notes(piece.low_end), first - LONGEST_SLOTS, last)
        at_s, seconds, hz, cents, unsure = (_column(notes, name) for name in _OF_NOTE)
        start = piece.first_slot + at_s * SOUNDINGS_A_SECOND
        rows.append(np.stack([start, start + seconds * SOUNDINGS_A_SECOND, np.log2(hz)]))
        tuning = piece.low_end.tuning_cents or 0.0
        off.append(np.abs(cents - tuning) - unsure >= HEARD_CENTS)
    start, end, octave = np.concatenate(rows, axis=1)
    is_seen = end >= first
    return Many(
        start=start[is_seen],
        end=end[is_seen],
        octave=octave[is_seen],
        is_off=np.concatenate(off)[is_seen],
    )


def many_kicks(pieces: Sequence[Piece], first: float, last: float) -> Many:
    """The kicks between two slots, at once."""
    rows = [np.empty((2, 0))]
    for piece in pieces:
        hits = _near(piece, _hits(piece), first, last)
        hz = np.array([math.nan if hit.body.hz is None else hit.body.hz for hit in hits])
        rows.append(np.stack([piece.first_slot + _column(hits, "at_s") * SOUNDINGS_A_SECOND, np.log2(hz)]))
    start, octave = np.concatenate(rows, axis=1)
    return Many(start=start, end=start, octave=octave, is_off=np.zeros(len(start), np.bool_))


_AT_S: Final = attrgetter("at_s")
_OF_NOTE: Final = ("at_s", "seconds", "hz", "cents", "uncertainty_cents")


def _column(things: Sequence[SubNote] | Sequence[Hit], name: str) -> Floats:
    return np.fromiter(map(attrgetter(name), things), np.float64, len(things))


def knots(pieces: Sequence[Piece], first: float, last: float) -> Iterator[Knot]:
    """The notes between two slots, in the order of time."""
    for piece in pieces:
        low_end, before_s = piece.low_end, -math.inf
        for note in _near(piece, all_notes(low_end), first - LONGEST_SLOTS, last):
            end_s = note.at_s + note.seconds
            start, end = piece.slot_of(note.at_s), piece.slot_of(end_s)
            if end >= first:
                beats = abs(note.beat_hz) * note.seconds >= 0.5  # less than half a turn is none to be heard
                yield Knot(
                    start=start,
                    end=end,
                    octave=octave_of(note.hz),
                    name=note.note,
                    beat_slots=SOUNDINGS_A_SECOND / abs(note.beat_hz) if beats else math.inf,
                    is_off=is_off(note, low_end.tuning_cents),
                    is_outside=note.is_in_key is False,
                    is_joined=note.at_s - before_s <= JOINED_S,
                )
            before_s = end_s


def frays(pieces: Sequence[Piece], first: float, last: float, *, loose: float) -> Iterator[Fray]:
    """Stretches between two slots without a single pitch; `loose` is their depth before any note."""
    for piece in pieces:
        notes, unpitched = piece.low_end.sub_notes, piece.low_end.unpitched
        first_s = (first - piece.first_slot) / SOUNDINGS_A_SECOND
        begin = bisect_left(unpitched, first_s, key=_end_s)  # they lie one behind the other: so do their ends
        _, stop = _span(piece, unpitched, first, last)
        for one in unpitched[begin:stop]:
            before = bisect_right(notes, one.at_s, key=_AT_S)
            yield Fray(
                start=piece.slot_of(one.at_s),
                end=piece.slot_of(_end_s(one)),
                octave=octave_of(notes[before - 1].hz) if before else loose,
            )


def _end_s(one: Unpitched) -> float:
    return one.at_s + one.seconds


def kick_marks(
    pieces: Sequence[Piece], first: float, last: float, settings: LowEndSettings
) -> Iterator[KickMark]:
    """The kicks between two slots."""
    low, high = settings.kick_band_hz
    for piece in pieces:
        for hit in _near(piece, _hits(piece), first, last):
            hz = hit.body.hz
            yield KickMark(
                start=piece.slot_of(hit.at_s),
                end=piece.slot_of(hit.at_s + (hit.body.seconds or 0.0)),
                octave=None if hz is None else octave_of(hz),
                is_inside=hz is not None and low <= hz <= high,
            )


def water_span(pieces: Sequence[Piece]) -> tuple[float, float] | None:
    """The slots between which there is any water; None where there is none."""
    ends = [
        piece.slot_of(float(piece.low_end.mono.at_s[k]))
        for piece in pieces
        if piece.low_end.mono is not None and len(piece.low_end.mono.at_s)
        for k in (0, -1)
    ]
    return (min(ends), max(ends) + SOUNDINGS_A_SECOND) if ends else None


def waters(pieces: Sequence[Piece], first: float, last: float, *, most: int) -> Iterator[Water]:
    """What mono loses between two slots, at most so many columns of each piece."""
    for piece in pieces:
        mono = piece.low_end.mono
        if mono is None or len(mono.at_s) == 0:
            continue
        slots = piece.first_slot + mono.at_s * SOUNDINGS_A_SECOND
        begin = max(int(np.searchsorted(slots, first)) - WINDOW_COLUMNS, 0)
        stop = int(np.searchsorted(slots, last)) + 1
        if begin >= stop:
            continue
        step = max(1, math.ceil(round((last - first) / (SOUNDINGS_A_SECOND * most), 6)))
        begin -= begin % step  # the same seconds together, wherever the view begins
        edges = np.arange(begin, min(stop, len(slots)), step)
        if len(edges) == 0:
            continue
        powers = np.add.reduceat(mono.powers[begin:stop].astype(np.float64), edges - begin, axis=0)
        sums = powers.copy()
        for back in range(1, WINDOW_COLUMNS if step == 1 else 1):
            sums[back:] += powers[:-back]
        yield Water(
            slots=slots[edges], octaves=np.log2(mono.hz), lost_db=_lost(sums), phase_deg=_phase(sums)
        )


def _lost(powers: Floats) -> Floats:
    """Lost in mono of each band, NaN where it is too quiet; design: 10 log10(E[(L+R)²] / 2 E[L²+R²])."""
    both = powers[..., 0] + powers[..., 1]
    share = (both + 2.0 * powers[..., 2]) / np.maximum(2.0 * both, np.finfo(np.float64).tiny)
    lost = np.maximum(powers_to_db(np.maximum(share, 0.0)), LEAST_LOST_DB)
    return np.where(heard(powers), np.minimum(lost, 0.0), np.nan)


def _phase(powers: Floats) -> Floats:
    return np.where(heard(powers), np.degrees(np.arctan2(powers[..., 3], powers[..., 2])), np.nan)


BAND_OCTAVES: Final = 1.0 / BANDS_AN_OCTAVE
"""Height of a band."""
