"""The passes of a session: one play-through each, cut out of a timeline.

A pass begins 400 ms before its first M of -60 LUFS or more and ends when M has been lower for 5 s,
at a gap, a hold, a mark, another source or the end of one. Its silent end belongs to no pass. Where a
gap cut a sounding short, the pass before it and the one behind it may share a slot, but no sounding.

A set is one pass: from its first sound on neither silence nor gaps nor holds end it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from meter.readings import SHORT_ROWS
from meter.soundings import SOUNDINGS_A_SECOND, Soundings, Summary, empty_soundings
from meter.targets import value_text
from meter.timeline import Run, Timeline

if TYPE_CHECKING:
    from meter.findings.records import Finding
    from meter.live_pass import LivePass

QUIET_LUFS: Final = -60.0
QUIET_S: Final = 5.0
QUIET_SLOTS: Final = round(QUIET_S * SOUNDINGS_A_SECOND)

STALE_SHARE: Final = 0.05
"""The line of an open pass may be this share of its length old: hours are not summed up every second."""


class ListedPass:
    """One play-through.

    Attributes
    ----------
    number : int
        Counted from 1.
    first_slot : int
    last_slot : int or None
        The first slot behind it; None while it is open.
    heard_slot : int
        The first slot behind its newest M that was not quiet; of a set, behind all that came.
    is_set : bool
        It may go over gaps.
    """

    def __init__(self, timeline: Timeline, number: int, first_slot: int, run: Run) -> None:
        self._timeline, self._run = timeline, run
        self.number, self.first_slot = number, first_slot
        self.last_slot: int | None = None
        self.heard_slot = first_slot
        self.is_set = False
        self._summed: tuple[int, Summary] | None = None

    @property
    def live_pass(self) -> LivePass:
        """The pass of the engine that it was cut out of."""
        return self._run.live_pass

    @property
    def pass_at_s(self) -> float:
        """Where that begins, in seconds of the timeline."""
        return self._run.pass_at_s

    def stretches(self) -> list[tuple[int, int]]:
        """Its slots, [first, last) of each run; of more than one only a set is made."""
        if not self.is_set:
            return [(self.first_slot, self.stop_slot)]
        return [
            (max(run.first_slot, self.first_slot), min(run.stop_slot, self.stop_slot))
            for run in self._timeline.runs_in(self.first_slot, self.stop_slot)
            if run.live_pass is self.live_pass
        ]

    @property
    def seconds(self) -> float:
        """How long it is, or has been so far."""
        return (self.stop_slot - self.first_slot) / SOUNDINGS_A_SECOND

    @property
    def stop_slot(self) -> int:
        """The first slot behind what is known of it."""
        return self.heard_slot if self.last_slot is None else self.last_slot

    def rows(self) -> Soundings:
        """Its soundings as far as it has come."""
        start = self._run.first_row - self._run.first_slot
        if self.stop_slot <= self.first_slot:
            return empty_soundings()
        if self.is_set:
            found = self._timeline.rows(self.first_slot, self.stop_slot)
            return np.concatenate([rows for one, rows in found if one is self._run.live_pass])
        return self._run.live_pass.store.rows(start + self.first_slot, start + self.stop_slot)

    def summary(self) -> Summary:
        """Its numbers as far as it has come; worked out once for each length."""
        return self._summary(self.stop_slot)

    def _summary(self, oldest_slot: int) -> Summary:
        from meter.passes import summarise

        if self._summed is None or self._summed[0] < oldest_slot:
            stop, live_pass = self.stop_slot, self._run.live_pass
            made = summarise(
                self.rows(),
                rate_hz=live_pass.rate_hz,
                channels=live_pass.channels,
                weights=live_pass.weights,
                gaps=tuple(live_pass.gaps) if self.is_set else (),
            )
            self._summed = stop, made
        return self._summed[1]

    def suggestions(self) -> tuple[Finding, ...]:
        """What may not belong to it, as lines for the list of findings."""
        from meter.pollution import suggestions_for
        from meter.selection import Part
        from meter.suggested import as_findings

        live_pass, rows = self._run.live_pass, self.rows().copy()
        if len(rows):
            rows["start_frame"] -= rows["start_frame"][0]  # places are told from its beginning
        part = Part(
            rows=rows, rate_hz=live_pass.rate_hz, channels=live_pass.channels, weights=live_pass.weights
        )
        return as_findings(
            suggestions_for(part),
            rows,
            rate_hz=live_pass.rate_hz,
            pass_number=live_pass.number,
            first_slot=self.first_slot,
        )

    def one_line(self, *, exactly: bool = False) -> str:
        """Number, length, I and true peak, for the list.

        Parameters
        ----------
        exactly : bool
            Also of an open pass; otherwise its numbers may be up to 5 % of its length old.
        """
        slots = self.stop_slot - self.first_slot
        stale = 0 if exactly or self.last_slot is not None else int(slots * STALE_SHARE)
        summary = self._summary(self.stop_slot - stale)
        integrated, peak = (
            "--" if value is None else value_text(value, plus=plus)
            for value, plus in ((summary.integrated_lufs, False), (summary.true_peak_dbtp, True))
        )
        seconds = slots // SOUNDINGS_A_SECOND
        return f"{self.number}  {seconds // 60}:{seconds % 60:02d}  I {integrated}  TP {peak}"


class PassCutter:
    """Cuts a timeline into passes while it grows; one thread.

    Attributes
    ----------
    passes : list of ListedPass
        In order; only the last can be open.
    is_set : bool
        Whether silence and gaps end no pass; may be changed at any time.
    """

    def __init__(self) -> None:
        self.passes: list[ListedPass] = []
        self.is_set = False
        self._run = 0
        self._slot = 0

    def take(self, timeline: Timeline) -> None:
        """Look at what has come since the last call, a whole session at once or a slot at a time alike."""
        slots = timeline.slots
        runs = timeline.runs
        while self._run < len(runs):
            run = runs[self._run]
            stop = min(run.stop_slot, slots)
            if self._slot < run.first_slot:
                self._slot = run.first_slot
            if stop > self._slot:
                self._take_run(timeline, run, stop)
            if not run.is_over or run.stop_slot > slots:
                return
            if not self._goes_over(runs, self._run):
                self._close()
            self._run += 1
            self._slot = 0

    def _goes_over(self, runs: list[Run], at: int) -> bool:
        """Whether what ends this run, a gap or a hold, leaves the pass open."""
        next_run = runs[at + 1] if at + 1 < len(runs) else None
        return self.is_set and next_run is not None and next_run.live_pass is runs[at].live_pass

    def _take_run(self, timeline: Timeline, run: Run, stop: int) -> None:
        values = timeline.values("momentary_lufs", self._slot, stop)
        with np.errstate(invalid="ignore"):
            loud = np.flatnonzero(values >= QUIET_LUFS) + self._slot
        first, self._slot = self._slot, stop
        if self.is_set and (self._open is not None or len(loud)):
            begins = first if self._open is not None else int(loud[0])
            self._hear(timeline, run, begins, stop)
            return
        # Neighbours that are so far apart that a pass ends between them.
        cuts = np.flatnonzero(np.diff(loud) > QUIET_SLOTS) + 1
        for part in np.split(loud, cuts):
            if len(part):
                self._hear(timeline, run, int(part[0]), int(part[-1]) + 1)
        open_pass = self._open
        if open_pass is not None and stop - open_pass.heard_slot >= QUIET_SLOTS:
            self._close()

    @property
    def _open(self) -> ListedPass | None:
        return self.passes[-1] if self.passes and self.passes[-1].last_slot is None else None

    def _hear(self, timeline: Timeline, run: Run, first: int, stop: int) -> None:
        """M was not quiet in some of the slots [first, stop), and nowhere in between for long."""
        open_pass = self._open
        if open_pass is not None and not self.is_set and first - open_pass.heard_slot >= QUIET_SLOTS:
            self._close()
            open_pass = None
        if open_pass is None:
            begins = max(first - (SHORT_ROWS - 1), run.first_slot)
            open_pass = ListedPass(timeline, len(self.passes) + 1, begins, run)
            self.passes.append(open_pass)
        open_pass.heard_slot = stop
        open_pass.is_set = open_pass.is_set or self.is_set

    def _close(self) -> None:
        open_pass = self._open
        if open_pass is not None:
            open_pass.last_slot = open_pass.heard_slot
