"""One session on a clock of ten slots a second: what the lanes draw, and where what happened lies.

The clock is that of the sound: lost and held time counts, and so does a break of some seconds
between two passes. Every sounding stands in the slot of its beginning.
"""

from __future__ import annotations

import threading
import time
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from meter.live_pass import LivePass
from meter.slot_store import Columns, Series, SlotStore
from meter.slot_values import EAR_KEYS, KEYS, SlotValues, Values
from meter.soundings import AFTER_GAP, CUT_SHORT, SOUNDINGS_A_SECOND, Gap, Reading, Soundings
from meter.time_over import TimeOver

__all__ = ["KEYS", "SLOTS_A_SECOND", "Columns", "Event", "Run", "Timeline"]

SLOTS_A_SECOND: Final = SOUNDINGS_A_SECOND

BREAK_S: Final = 5.0
"""So much later by the clock on the wall, a new pass begins later on the timeline too. Less is what
buffers, and clocks that differ, make of it."""

LATEST_EAR_SLOTS: Final = 60

_EAR_INDEX: Final = {key: index for index, key in enumerate(EAR_KEYS)}
_INDEX: Final = {key: index for index, key in enumerate(KEYS)}
_PEAK, _OVERS = _INDEX["true_peak_dbtp"], _INDEX["overs"]
_TIME_OVER: Final = _INDEX["time_over_root"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened at a slot.

    Attributes
    ----------
    slot : int
        The first slot of it.
    kind : str
        "start", "source", "mark", "gap" or "hold".
    text : str
        A few words for people.
    """

    slot: int
    kind: str
    text: str


@dataclass(slots=True, kw_only=True)
class Run:
    """Soundings without a gap, one in each slot of [first_slot, stop_slot).

    Attributes
    ----------
    live_pass : LivePass
        Whose they are.
    pass_at_s : float
        Where that pass begins, in seconds of the timeline.
    first_row : int
        Number of the first of them in the store of the pass.
    is_over : bool
        Nothing will be added to it; set when all of it can be read.
    """

    live_pass: LivePass
    pass_at_s: float
    first_row: int
    first_slot: int
    stop_slot: int
    is_over: bool = False


class Timeline:
    """Everything a session has measured; one thread appends, any thread reads.

    Parameters
    ----------
    clock : callable, optional
        Seconds since 1970; another in tests.

    Attributes
    ----------
    patience : int
        So many soundings may come before they can be read, any thread may set it: while nobody looks,
        many at once take a fraction of the time. What they come to is the same. `catch_up` ends the wait.
    slots : int
        How many there are; told last, when all in them can be read.
    events : list of Event
        In order; only ever appended to.
    runs : list of Run
        In order; the last one grows until it is over. The last slot of a run that was cut short may be
        the first of the next.
    ended : int
        How many passes are over.
    began_unix_s : float
        When slot 0 was, by the clock on the wall.
    listed : tuple of int
        Where the passes begin that are cut out of it and listed, in order; rebound by who lists them.
    """

    def __init__(self, *, clock: Callable[[], float] = time.time) -> None:
        self._clock = clock
        self._store = SlotStore(len(KEYS))
        self._values = SlotValues(())
        self._time_over = TimeOver()
        self._ear = SlotStore(len(EAR_KEYS))
        self._ear_slots = 0
        self._pass: LivePass | None = None
        self._pass_at_s = 0.0  # where the pass begins
        self._end_s = 0.0
        self._next_frame = 0
        self._is_cut = False
        self._newest: Values = np.full(len(KEYS), np.nan, np.float32)
        self._gaps_told = self._holds_told = 0
        self._lock = threading.Lock()  # whoever writes; as good as always the one thread that appends
        self._waiting: list[Reading | None] = []  # at the end of each sounding that cannot be read yet
        self.patience = 1
        self.began_unix_s = clock()
        self.runs: list[Run] = []
        self.events: list[Event] = []
        self.slots = 0
        self.ended = 0
        self.listed: tuple[int, ...] = ()

    # --- writing

    def append(self, rows: Soundings, live_pass: LivePass, reading: Reading | None = None) -> None:
        """Take new soundings. From one thread, for the engine's `on_soundings`; well under 0.3 ms a row.

        Parameters
        ----------
        rows : ndarray of `SOUNDING`
            The newest of the pass; they are in its store already.
        live_pass : LivePass
        reading : Reading, optional
            At the end of the rows, as `Engine.reading` is while the rows are told. Values of the last
            row are its, exactly; without it they come from the rows, equal but for rounding at rates
            of whole frames in 10 ms.
        """
        if len(rows) == 0:
            return
        first_row = len(live_pass.store) - len(rows)
        assert first_row >= 0, "soundings are put into the store of their pass first"
        with self._lock:
            if self.patience > 1 and self._only_goes_on(rows, live_pass):
                self._waiting += [*[None] * (len(rows) - 1), reading]
                self._next_frame = int(rows["start_frame"][-1] + rows["frames"][-1])
                if len(self._waiting) >= self.patience:
                    self._write_waiting()
                return
            self._write_waiting()
            cuts = [0, *(np.flatnonzero(rows["flags"][1:] & AFTER_GAP) + 1).tolist(), len(rows)]
            for start, stop in pairwise(cuts):
                said = reading if stop == len(rows) else None
                self._append_unbroken(rows[start:stop], live_pass, first_row + start, said)

    def end(self, live_pass: LivePass) -> None:
        """A pass is over; from the same thread, for the engine's `on_pass`."""
        with self._lock:
            self._write_waiting()
            if self.runs and self.runs[-1].live_pass is live_pass:
                self.runs[-1].is_over = True
            self.ended += 1

    def catch_up(self) -> None:
        """Let all that has come be read now; any thread."""
        with self._lock:
            self._write_waiting()

    def _only_goes_on(self, rows: Soundings, live_pass: LivePass) -> bool:
        """Whether nothing has happened but sound: such soundings can be taken at any later time."""
        return (
            live_pass is self._pass
            and not self._is_cut
            and int(rows["start_frame"][0]) == self._next_frame
            and not (np.bitwise_or.reduce(rows["flags"]) & (AFTER_GAP | CUT_SHORT))
        )

    def _write_waiting(self) -> None:
        if not self._waiting:
            return
        run, readings = self.runs[-1], self._waiting
        first_row = run.first_row + run.stop_slot - run.first_slot
        rows = run.live_pass.store.rows(first_row, first_row + len(readings))
        self._waiting = []
        self._write(self.slots, self._values_of(rows, run.live_pass, readings))
        self._grow(run, self.slots + len(rows))

    def _append_unbroken(
        self, rows: Soundings, live_pass: LivePass, first_row: int, reading: Reading | None
    ) -> None:
        start_frame, rate_hz = int(rows["start_frame"][0]), live_pass.rate_hz
        before = self._pass
        goes_on = not self._is_cut and (
            start_frame == self._next_frame
            if live_pass is before
            else before is not None and start_frame == 0 and self._is_marked(before, live_pass)
        )
        if live_pass is not before:
            self._begin_pass(live_pass, goes_on, float(rows["frames"].sum()) / rate_hz)
        at_s = self._pass_at_s + start_frame / rate_hz
        slot = self._place(at_s, goes_on)
        if not goes_on:
            self._values = SlotValues(live_pass.weights)
        elif live_pass is not before:
            self._values.mark()
        self._tell_events(live_pass, before, slot)
        self._write(slot, self._values_of(rows, live_pass, (reading,)))
        self._next_frame = int(rows["start_frame"][-1] + rows["frames"][-1])
        self._is_cut = bool(rows["flags"][-1] & CUT_SHORT)
        if not (goes_on and live_pass is before):
            ended = self.runs[-1] if self.runs else None
            self.runs.append(
                Run(
                    live_pass=live_pass,
                    pass_at_s=self._pass_at_s,
                    first_row=first_row,
                    first_slot=slot,
                    stop_slot=slot + len(rows),
                )
            )
            if ended is not None:
                ended.is_over = True  # told last: who sees it sees what follows
        self._grow(self.runs[-1], slot + len(rows))

    def _values_of(
        self, rows: Soundings, live_pass: LivePass, readings: Sequence[Reading | None]
    ) -> Values:
        values = self._values.take(rows, readings)
        shares = self._time_over.take(
            rows,
            start_s=self._pass_at_s,
            rate_hz=live_pass.rate_hz,
            limit_dbtp=live_pass.over_limit_dbtp,
        )
        values[:, _TIME_OVER] = 10.0 * np.sqrt(shares)
        return values

    def _grow(self, run: Run, stop_slot: int) -> None:
        """What was written can be read."""
        run.stop_slot = stop_slot
        self._end_s = self._pass_at_s + self._next_frame / run.live_pass.rate_hz
        self.slots = stop_slot

    def _is_marked(self, before: LivePass, after: LivePass) -> bool:
        """Whether the second pass goes on in the chain of the first, so that M and S go on too."""
        return _how(before) == _how(after) and before.info is after.info and self._wall_s() < BREAK_S

    def _wall_s(self) -> float:
        """How much later than the end of what there is it is now, by the clock on the wall."""
        return self._clock() - self.began_unix_s - self._end_s

    def _begin_pass(self, live_pass: LivePass, goes_on: bool, rows_s: float) -> None:
        if self._pass is None:
            self.began_unix_s = self._clock() - rows_s
        elif not goes_on and self._wall_s() - rows_s >= BREAK_S:
            self._end_s += self._wall_s() - rows_s
        self._pass, self._pass_at_s = live_pass, self._end_s
        self._gaps_told = self._holds_told = 0

    def _place(self, at_s: float, goes_on: bool) -> int:
        """The slot of a sounding that begins here."""
        if goes_on:
            return self.slots
        # What is left of a row that was cut short may share its slot with what follows.
        return max(round(at_s * SLOTS_A_SECOND), self.slots - self._is_cut, 0)

    def _write(self, slot: int, values: Values) -> None:
        if slot < self.slots:
            old, new = self._newest, values[0]
            merged = np.where(np.isnan(new), old, new)
            merged[_PEAK] = max(old[_PEAK], new[_PEAK])
            merged[_OVERS] = old[_OVERS] + new[_OVERS]
            values[0] = merged
        self._store.write(slot, values)
        self._newest = values[-1].copy()

    # --- events

    def _tell_events(self, live_pass: LivePass, before: LivePass | None, slot: int) -> None:
        if before is None:
            self._tell(slot, "start", live_pass.info.name)
        elif live_pass is not before:
            is_mark = before.info is live_pass.info and before.rate_hz == live_pass.rate_hz
            if is_mark:
                is_other = before.crossover_hz != live_pass.crossover_hz
                text = f"crossover {live_pass.crossover_hz:g} Hz" if is_other else "marked"
                self._tell(slot, "mark", text)
            else:
                self._tell(slot, "source", live_pass.info.name)
        for gap in live_pass.gaps[self._gaps_told :]:
            self._tell_gap("gap", gap, live_pass, slot, "lost")
            self._gaps_told += 1
        for hold in live_pass.holds[self._holds_told :]:
            self._tell_gap("hold", hold, live_pass, slot, "held")
            self._holds_told += 1

    def _tell_gap(self, kind: str, gap: Gap, live_pass: LivePass, slot: int, word: str) -> None:
        at = round((self._pass_at_s + gap.at_s) * SLOTS_A_SECOND)
        seconds = gap.frames / live_pass.rate_hz
        text = f"{seconds:.{1 if seconds >= 0.1 else 3}f} s {word}"
        self._tell(max(0, min(at, slot)), kind, text)

    def _tell(self, slot: int, kind: str, text: str) -> None:
        self.events.append(Event(slot=slot, kind=kind, text=text))

    # --- at the ear

    def take_ear(self, values: Sequence[float]) -> None:
        """What is known at the ear now, for the slots that have come since; from one thread.

        It is a second old at most. Of a longer time only the newest 6 s are told so.

        Parameters
        ----------
        values : sequence of float
            Of `EAR_KEYS`.
        """
        slots = self.slots
        first = max(self._ear_slots, slots - LATEST_EAR_SLOTS)
        if slots > first:
            row = np.array(values, np.float32)
            self._ear.write(first, np.broadcast_to(row, (slots - first, len(row))))
            self._ear_slots = slots

    # --- reading; any thread

    def at_s(self, slot: int) -> float:
        """Seconds from the beginning of slot 0 to that of another."""
        return slot / SLOTS_A_SECOND

    def values(self, key: str, first: int, last: int) -> Series:
        """One series over the slots [first, last).

        Parameters
        ----------
        key : str
            One of `KEYS`.

        Returns
        -------
        ndarray of float32, shape (last - first,)
            NaN where there is nothing, also outside of what there is; silence is ``-inf``.
        """
        if key in _EAR_INDEX:
            return self._ear.values(_EAR_INDEX[key], first, last, slots=min(self._ear_slots, self.slots))
        return self._store.values(_INDEX[key], first, last, slots=self.slots)

    def columns(self, key: str, *, slots_a_column: int, first_column: int, count: int) -> Columns:
        """One series in columns of equal width; column k holds the slots [k·n, (k+1)·n).

        Parameters
        ----------
        key : str
            One of `KEYS` or `EAR_KEYS`.
        slots_a_column : int, >= 1
        first_column, count : int
            Columns may lie outside of what there is.
        """
        assert slots_a_column >= 1, "a column holds at least one slot"
        store, index, slots = self._store, _INDEX.get(key, -1), self.slots
        if key in _EAR_INDEX:
            store, index, slots = self._ear, _EAR_INDEX[key], min(self._ear_slots, slots)
        return store.columns(
            index, slots_a_column=slots_a_column, first=first_column, count=count, slots=slots
        )

    def rows(self, first_slot: int, last_slot: int) -> list[tuple[LivePass, Soundings]]:
        """The soundings that begin in [first_slot, last_slot), a piece for each run without a gap."""
        found = []
        for run in self.runs_in(first_slot, last_slot):
            start = run.first_row + max(first_slot - run.first_slot, 0)
            stop = run.first_row + min(last_slot, run.stop_slot) - run.first_slot
            found.append((run.live_pass, run.live_pass.store.rows(start, stop)))
        return found

    def runs_in(self, first_slot: int, last_slot: int) -> list[Run]:
        """The runs that have a slot in [first_slot, last_slot)."""
        runs = self.runs
        at = max(bisect_right(runs, first_slot, key=lambda run: run.first_slot) - 1, 0)
        while at > 0 and runs[at - 1].stop_slot > first_slot:
            at -= 1
        found = []
        for run in runs[at:]:
            if run.first_slot >= last_slot:
                break
            if run.stop_slot > first_slot and run.stop_slot > run.first_slot:
                found.append(run)
        return found

    def ring_slot(self, ring_number: int) -> float | None:
        """Where a ring began; None while nothing of it was measured."""
        for run in reversed(self.runs):
            if (live_pass := run.live_pass).ring_number == ring_number:
                return (run.pass_at_s - live_pass.ring_at_s) * SLOTS_A_SECOND
        return None

    def place(self, slot: int) -> tuple[LivePass, float] | None:
        """The pass of a slot and its seconds since the pass began; None where nothing was measured."""
        runs = self.runs_in(slot, slot + 1)
        if not runs:
            return None
        run = runs[0]
        row = run.live_pass.store.rows(
            run.first_row + slot - run.first_slot, run.first_row + slot - run.first_slot + 1
        )
        return (run.live_pass, float(row["start_frame"][0]) / run.live_pass.rate_hz) if len(row) else None

    def origin_slot(self, slot: int) -> int:
        """Where 0:00 is for what is said of a slot: where its pass begins, in the list if it is there."""
        found = self.place(slot)
        if found is None:
            return slot
        return slot - round((found[1] - self.begins_s(slot)) * SLOTS_A_SECOND)

    def begins_s(self, slot: int) -> float:
        """Where the pass of the list begins, in seconds since its live pass began; 0 where there is none."""
        runs, at = self.runs_in(slot, slot + 1), bisect_right(self.listed, slot)
        if not runs or at == 0:
            return 0.0
        return max(self.at_s(self.listed[at - 1]) - runs[0].pass_at_s, 0.0)


def _how(live_pass: LivePass) -> tuple[object, ...]:
    """What must be the same for a chain to go on over a mark; the limit of overs may be another."""
    return live_pass.rate_hz, live_pass.channels, live_pass.weights, live_pass.crossover_hz
