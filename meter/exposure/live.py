"""The level at the ear while one listens: a thread of its own beside the engine, which pays nothing for it.

Only sound is counted, and only of a setup that feeds ears. With another source than the one that the setup
was calibrated for, levels are shown as a wide range and no dose is made of them.
"""

from __future__ import annotations

import logging
import math
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from meter.engine import Engine
from meter.errors import JournalError, MeterError
from meter.exposure.calibration import Calibration, unknown
from meter.exposure.heard import WEEK_S, Budget, Entry, HeardMinute, budget, day_began_s
from meter.exposure.rules import Rule
from meter.exposure.same_time import once
from meter.exposure.sound_levels import HeardSecond, SoundLevels
from meter.exposure.store import ExposureStore
from meter.ring_follower import RingFollower
from meter.units import power_to_db

LOG: Final = logging.getLogger("meter.exposure")

STEP_S: Final = 1.0
WRITE_S: Final = 5.0
LOOK_S: Final = 60.0
"""So often it is read what other programs keep."""
ADD_UP_S: Final = 600.0
"""So often all is added up anew, so that what is older than the period goes."""
SILENT_POWER: Final = 1e-9
"""A-weighted mean square, -90 dB: what is less is no sound."""
QUARTER_H_S: Final = 900
PAUSE_S: Final = 300.0
"""So long without sound is a pause. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ear:
    """What is known at a moment; every level is an estimate.

    Attributes
    ----------
    calibration : Calibration
        As it is used: with another source a wide one.
    level_dba : tuple of float or None
        Over the last second, and the ends of its interval; None in silence.
    quarter_dba, session_dba : tuple of float or None
        Equivalent over the newest 15 minutes, and since the start; over the time in which there was sound.
    c_minus_a_db : float or None
        How much more there is by C: bass that A nearly ignores.
    peak_dbc : tuple of float or None
        Highest C-weighted peak since the start.
    budget : Budget or None
        Of the chosen rule's period, this session included.
    unbroken_s : float
        Of sound since the last pause of 5 minutes.
    """

    calibration: Calibration
    level_dba: tuple[float, float, float] | None = None
    quarter_dba: tuple[float, float, float] | None = None
    session_dba: tuple[float, float, float] | None = None
    c_minus_a_db: float | None = None
    peak_dbc: tuple[float, float, float] | None = None
    budget: Budget | None = None
    unbroken_s: float = 0.0


class MinuteSums:
    """Adds seconds up to minutes; no thread, no clock of its own."""

    def __init__(self, calibration: Calibration) -> None:
        self.calibration = calibration
        self._of: dict[int, HeardMinute] = {}
        self._changed: set[int] = set()

    def add(self, second: HeardSecond, *, unix_s: float, clock_s: float = 0.0) -> None:
        """A second that ended at this time, with the clock on the wall so far ahead of the other one."""
        power = max(second.a_power)
        if power <= SILENT_POWER:
            return
        middle_s = unix_s - second.seconds / 2.0
        minute, in_minute_s = divmod(middle_s, 60.0)
        known = self._of.get(int(minute))
        self._changed.add(int(minute))
        before_s = 0.0 if known is None else known.seconds
        seconds = before_s + second.seconds

        def mean(old: float, new: float) -> float:
            return (old * before_s + new * second.seconds) / seconds

        self._of[int(minute)] = HeardMinute(
            minute=int(minute),
            setup=self.calibration.setup,
            seconds=seconds,
            a_power=mean(0.0 if known is None else known.a_power, power),
            c_power=mean(0.0 if known is None else known.c_power, max(second.c_power)),
            c_peak=max(0.0 if known is None else known.c_peak, second.c_peak),
            full_scale_db=self.calibration.full_scale_db,
            plus_db=self.calibration.plus_db,
            is_narrow=self.calibration.is_narrow,
            marks=(0 if known is None else known.marks) | 1 << int(in_minute_s),
            clock_s=clock_s if known is None else known.clock_s,
        )

    def minutes(self, from_minute: int = 0) -> list[HeardMinute]:
        """Those from a minute on, in order."""
        return [self._of[minute] for minute in sorted(self._of) if minute >= from_minute]

    def changed(self) -> list[HeardMinute]:
        """What has come to another value since `written`, in order: also older ones, of a clock set back."""
        return [self._of[minute] for minute in sorted(self._changed) if minute in self._of]

    def written(self) -> None:
        """All of it is kept."""
        self._changed.clear()

    def let_go(self, before_minute: int) -> None:
        """Of minutes that no dose looks at any more."""
        self._of = {minute: one for minute, one in self._of.items() if minute >= before_minute}


class LiveEar:
    """Follows an engine, second by second.

    Parameters
    ----------
    engine : Engine
        Started.
    calibration : Calibration
        Of the setup that the source feeds.
    rule : Rule
    store : callable, optional
        Opens the store, in the thread that uses it; nothing is kept without one.
    on_problem : callable, optional
        Called from the thread with one sentence, once, when nothing can be kept.
    clock : callable
        Seconds since 1970.
    from_now : bool
        Count nothing of what the engine has heard before: another may have counted it.

    Attributes
    ----------
    now : Ear
        Newest reading, rebound; any thread may read it.
    """

    def __init__(
        self,
        engine: Engine,
        calibration: Calibration,
        rule: Rule,
        *,
        journal_folder: Path | None = None,
        keeps: bool = True,
        on_problem: Callable[[str], None] | None = None,
        clock: Callable[[], float] = time.time,
        from_now: bool = False,
    ) -> None:
        self._engine, self._given, self._rule, self._clock = engine, calibration, rule, clock
        self._folder, self._keeps, self._on_problem = journal_folder, keeps, on_problem
        self._follower: RingFollower = engine.slow_reader(from_now=from_now)
        self._run_name = uuid.uuid4().hex
        self._seconds: deque[HeardSecond] = deque(maxlen=QUARTER_H_S)
        self._session = (0.0, 0.0)  # energy, seconds
        self._peak = 0.0
        self._unbroken_s = self._pause_s = 0.0
        self._others: list[HeardMinute] = []
        self._entries: list[Entry] = []
        self._closed: Budget | None = None
        self._open_from = 0
        self._day_s = 0.0
        self._next_write_s = self._next_look_s = self._next_sum_s = 0.0
        self._sums = MinuteSums(self._for_source())
        self.now = Ear(calibration=self._sums.calibration)
        self._ends = threading.Event()
        self._thread = threading.Thread(target=self._run, name="leadline ear", daemon=True)

    def _for_source(self) -> Calibration:
        """The calibration, or a wide one when something else is listened to."""
        spec = self._engine.state.info.spec
        given = self._given
        if given.source in ("", spec):
            return given
        return replace(unknown(given.setup, given.feeds, date=given.date), source=spec)

    def start(self) -> None:
        """Begin."""
        self._begin()
        self._thread.start()

    def stop(self) -> None:
        """Take what has come, keep it. May be called twice."""
        self._ends.set()
        if self._thread.is_alive():
            self._thread.join()

    def _begin(self) -> None:
        ring = self._follower.ring
        self._read_frames = ring.rate_hz
        self._levels: SoundLevels | None = None
        try:
            # What a dose is made of needs no F and no S.
            self._levels = SoundLevels(rate_hz=ring.rate_hz, channels=ring.channels, moves=False)
        except MeterError as error:  # the engine says so too
            LOG.info("no level at the ear: %s", error)

    def _run(self) -> None:
        try:
            self._look()
            while not self._ends.wait(STEP_S):
                self._step()
            self._step()
            if self._levels is not None:
                self._take(self._levels.flush())
            self._write()
            self.now = replace(self.now, budget=self._budget())
        except Exception:
            LOG.exception("please report this: the level at the ear is followed no more")

    def _step(self) -> None:
        while True:
            chunk = self._follower.read(self._read_frames)
            if chunk is None:
                self._follower.turn()
                self._begin()
                self._sums.calibration = self._for_source()
                continue
            if len(chunk.frames) == 0 and chunk.lost_before == 0:
                break
            if self._levels is not None and len(chunk.frames):
                self._take(self._levels.process(chunk.frames))
        if self._clock() >= self._next_write_s:
            self._write()
            self._next_write_s = self._clock() + WRITE_S
        now_s = self._clock()
        is_due = not 0.0 <= self._next_look_s - now_s <= LOOK_S  # also when the clock was set back
        if is_due or day_began_s(now_s) != self._day_s:
            self._look()

    def _take(self, seconds: list[HeardSecond]) -> None:
        unix_s = self._clock()
        clock_s = unix_s - time.monotonic()
        # What waits in the ring came later than what is taken here.
        unix_s -= self._follower.reader.behind_frames / self._follower.ring.rate_hz
        for second in seconds:
            self._seconds.append(second)
            self._peak = max(self._peak, second.c_peak)
            if self._given.feeds == "nothing":
                continue
            power = max(second.a_power)
            self._pause_s = 0.0 if power > SILENT_POWER else self._pause_s + second.seconds
            if self._pause_s >= PAUSE_S:
                self._unbroken_s = 0.0
            if power > SILENT_POWER:
                self._unbroken_s += second.seconds
                energy, length = self._session
                self._session = energy + power * second.seconds, length + second.seconds
            self._sums.add(second, unix_s=unix_s, clock_s=clock_s)
        if seconds:
            self.now = self._reading(seconds[-1])

    def _reading(self, last: HeardSecond) -> Ear:
        calibration = self._sums.calibration
        energy, length = self._session
        power = max(last.a_power)
        heard = [one for one in self._seconds if max(one.a_power) > SILENT_POWER]
        quarter_s = math.fsum(one.seconds for one in heard)
        quarter = math.fsum(max(one.a_power) * one.seconds for one in heard)

        def at_ear(part: float, of: float) -> tuple[float, float, float] | None:
            return calibration.at_ear_db(power_to_db(part / of)) if of > 0.0 and part > 0.0 else None

        return Ear(
            calibration=calibration,
            level_dba=at_ear(power, 1.0) if power > SILENT_POWER else None,
            quarter_dba=at_ear(quarter, quarter_s),
            session_dba=at_ear(energy, length),
            c_minus_a_db=last.lceq_db - last.laeq_db if power > SILENT_POWER else None,
            peak_dbc=at_ear(self._peak**2, 1.0),
            budget=self._budget(),
            unbroken_s=self._unbroken_s,
        )

    def _budget(self) -> Budget | None:
        closed = self._closed
        if self._given.feeds == "nothing" or closed is None:
            return None
        heard = once([*self._others, *self._sums.minutes(self._open_from)])
        return closed.and_then(budget(self._rule, heard, [], now_s=self._clock()))

    def _look(self) -> None:
        """See what others have kept; now and then add up all that does not change any more."""
        from meter.journal.store import read_journal

        now_s = self._clock()
        is_whole = not 0.0 <= self._next_sum_s - now_s <= ADD_UP_S or day_began_s(now_s) != self._day_s
        from_s = now_s - WEEK_S if is_whole else 60.0 * self._open_from
        self._next_look_s = now_s + LOOK_S
        try:
            with read_journal(self._folder) as journal:
                store = ExposureStore(journal)
                entries = store.entries()
                if entries != self._entries and not is_whole:
                    is_whole, from_s = True, now_s - WEEK_S
                self._entries = entries
                self._others = store.rows(from_s, now_s + 60.0, besides=self._run_name)
        except JournalError as error:
            self._tell(error)
        if is_whole:
            self._add_up(now_s)

    def _add_up(self, now_s: float) -> None:
        self._next_sum_s, self._day_s = now_s + ADD_UP_S, day_began_s(now_s)
        self._open_from = int((now_s - LOOK_S) // 60.0)
        self._sums.let_go(int((now_s - WEEK_S) // 60.0))
        heard = once([*self._others, *self._sums.minutes()])
        closed = [one for one in heard if one.minute < self._open_from]
        self._closed = budget(self._rule, closed, self._entries, now_s=now_s)
        self._others = [one for one in self._others if one.minute >= self._open_from]

    # --- what is kept

    def _write(self) -> None:
        minutes = self._sums.changed()
        if not minutes or not self._keeps or self._given.feeds == "nothing":
            return
        from meter.journal.store import open_journal

        try:
            with open_journal(self._folder) as journal:
                ExposureStore(journal).write(self._run_name, minutes)
        except JournalError as error:
            self._tell(error)
            return
        self._sums.written()

    def _tell(self, error: JournalError) -> None:
        tell, self._on_problem = self._on_problem, None
        LOG.warning("%s", error)
        if tell is not None:
            tell(f"what your ears get is not kept: {error}")
