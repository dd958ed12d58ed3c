"""All that is looked at in the low end, fed with the signal at about 3 kHz."""

from __future__ import annotations

from typing import Protocol

from meter.low_end.clock import LowClock
from meter.low_end.kicks import KickHits
from meter.low_end.mono_map import MonoMaps
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.low_end.sub_notes import SubNotes
from meter.units import Floats


class Part(Protocol):
    """One subject of the low end: a `meter.low_sink.LowSink` that is made of a clock and settings."""

    def process(self, samples: Floats, first_index: int) -> None:
        """Any number of samples, shape (n, 2); not to be written to. See `LowEndAnalysis.process`."""

    def gap(self) -> None:
        """End what is open: what comes next does not follow on it."""

    def flush(self) -> None:
        """The pass has ended."""


class LowEndAnalysis:
    """The low end of one pass; a sink for `Chain` and `LowStream`. One thread.

    Parameters
    ----------
    clock : LowClock
        Of the stream: `meter.low_end.clock.low_clock`.
    settings : LowEndSettings
    """

    def __init__(self, clock: LowClock, settings: LowEndSettings | None = None) -> None:
        settings = LowEndSettings() if settings is None else settings
        self.settings = settings
        self._notes = SubNotes(clock, settings)
        self._kicks = KickHits(clock)
        self._mono = MonoMaps(clock)
        self._parts: tuple[Part, ...] = (self._notes, self._kicks, self._mono)

    def judge_by(self, settings: LowEndSettings) -> None:
        """Use other settings, also for what was found already."""
        self.settings = settings
        self._notes.name_by(settings)

    def process(self, samples: Floats, first_index: int) -> None:
        """Take what comes next.

        The same samples in any cutting give the same reading, bit for bit.

        Parameters
        ----------
        samples : ndarray, shape (n, 2)
            Left and right; of a mono stream the same twice. May be a view, is not written to.
        first_index : int
            Number of the first of them since the start of the stream, what was lost included. It follows on
            the last ones unless `gap` was called.
        """
        for part in self._parts:
            part.process(samples, first_index)

    def gap(self) -> None:
        """What comes next does not follow on what came."""
        for part in self._parts:
            part.gap()

    def flush(self) -> None:
        """The pass has ended; what is open ends too."""
        for part in self._parts:
            part.flush()

    def close(self) -> None:
        """Nothing is held open here; see `meter.low_end.beside`."""

    def reading(self) -> LowEnd:
        """What is known now; changes nothing."""
        notes = self._notes.reading()
        return LowEnd(
            sub_notes=notes.ended,
            note_now=notes.now,
            unpitched=notes.unpitched,
            tuning_cents=notes.tuning_cents,
            kicks=self._kicks.reading(),
            mono=self._mono.reading(),
        )
