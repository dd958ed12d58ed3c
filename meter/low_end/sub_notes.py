"""The sub's notes: when each begins and ends, its pitch, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

from meter.low_end.clock import LowClock
from meter.low_end.note_records import SubNote, Unpitched
from meter.low_end.settings import LowEndSettings
from meter.units import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class NotesReading:
    """What is known of the notes; the names are those of `LowEnd`."""

    ended: tuple[SubNote, ...] = ()
    now: SubNote | None = None
    unpitched: tuple[Unpitched, ...] = ()
    tuning_cents: float | None = None


class SubNotes:
    """Finds the notes in the low-end signal. A part of `LowEndAnalysis`."""

    def __init__(self, clock: LowClock, settings: LowEndSettings) -> None:
        self._clock, self._settings = clock, settings

    def process(self, samples: Floats, first_index: int) -> None:
        """Take what comes next. See `LowEndAnalysis.process`."""

    def gap(self) -> None:
        """End what is open."""

    def flush(self) -> None:
        """The pass has ended."""

    def reading(self) -> NotesReading:
        """What is known now; changes nothing."""
        return NotesReading()
