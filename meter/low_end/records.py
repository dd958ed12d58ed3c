"""What the low end was found to be, in frozen records."""

from __future__ import annotations

from dataclasses import dataclass

from meter.low_end.kick_records import Kicks
from meter.low_end.mono_records import MonoMap
from meter.low_end.note_records import SubNote, Unpitched


@dataclass(frozen=True, slots=True, kw_only=True)
class LowEnd:
    """What is known of the low end of a pass.

    Attributes
    ----------
    sub_notes : tuple of SubNote
        Notes that have ended, in the order of time.
    note_now : SubNote or None
        The note that is held at this moment.
    unpitched : tuple of Unpitched
        Where something sounds below 130 Hz that has no single pitch.
    tuning_cents : float or None
        How far all notes together are off the concert pitch; None where too few tell.
    kicks : Kicks or None
    mono : MonoMap or None
        None while there is nothing to tell of.
    """

    sub_notes: tuple[SubNote, ...] = ()
    note_now: SubNote | None = None
    unpitched: tuple[Unpitched, ...] = ()
    tuning_cents: float | None = None
    kicks: Kicks | None = None
    mono: MonoMap | None = None
