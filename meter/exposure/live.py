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
from meter.exposure.heard import WEEK_S, Budget, Entry, HeardMinute, budget
from meter.exposure.rules import Rule
from meter.exposure.sound_levels import HeardSecond, SoundLevels
from meter.exposure.store import ExposureStore
from meter.ring_follower import RingFollower
from meter.units import power_to_db

LOG: Final = logging.getLogger("meter.exposure")

STEP_S: Final = 1.0
WRITE_S: Final = 5.0
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
        self._open: dict[int, HeardMinute] = {}

    def add(self, second: HeardSecond, *, unix_s: float) -> None:
        """A second that ended at this time."""
        power = max(second.a_power)
        if power <= SILENT_POWER:
            return
        minute = int((unix_s - second.seconds) // 60.0)
        known = self._open.get(minute)
        before_s = 0.0 if known is None else known.seconds
        seconds = before_s + second.seconds

        def mean(old: float, new: float) -> float:
            return (old * before_s + new * second.seconds) / seconds

        self._open[minute] = HeardMinute(
            minute=minute,
            setup=self.calibration.setup,
            seconds=seconds,
            a_power=mean(0.0 if known is None else known.a_power, power),
            c_power=mean(0.0 if known is None else known.c_power, max(second.c_power)),
            c_peak=max(0.0 if known is None else known.c_peak, second.c_peak),
            full_scale_db=self.calibration.full_scale_db,
            plus_db=self.calibration.plus_db,
            is_narrow=self.calibration.is_narrow,
        )

    def minutes(self) -> list[HeardMinute]:
        """Those that may still change."""
        return [self._open[minute] for minute in sorted(self._open)]

    def let_go(self, before_minute: int) -> None:
        """Of minutes that are over and written."""
        self._open = {minute: one for minute, one in self._open.items() if minute >= before_minute}


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
        self._before: list[HeardMinute] = []
        self._entries: list[Entry] = []
        self._next_write_s = 0.0
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
            self._before = self._kept_before()
            while not self._ends.wait(STEP_S):
                self._step()
            self._step()
            if self._levels is not None:
                self._take(self._levels.flush())
            self._write()
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

    def _take(self, seconds: list[HeardSecond]) -> None:
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
            self._sums.add(second, unix_s=self._clock())
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
        if self._given.feeds == "nothing":
            return None
        minutes = [*self._before, *self._sums.minutes()]
        return budget(self._rule, minutes, self._entries, now_s=self._clock())

    # --- what is kept

    def _kept_before(self) -> list[HeardMinute]:
        self._entries = []
        try:
            with _opened(self._folder) as journal:
                store = ExposureStore(journal)
                self._entries = store.entries()
                now_s = self._clock()
                return store.minutes(now_s - WEEK_S, now_s + 60.0)
        except JournalError as error:
            self._tell(error)
            return []

    def _write(self) -> None:
        minutes = self._sums.minutes()
        if not minutes:
            return
        if self._keeps and self._given.feeds != "nothing":
            try:
                with _opened(self._folder) as journal:
                    ExposureStore(journal).write(self._run_name, minutes)
            except JournalError as error:
                self._tell(error)
                return
        over = int(self._clock() // 60.0) - 1
        self._before += [one for one in minutes if one.minute < over]
        self._sums.let_go(over)

    def _tell(self, error: JournalError) -> None:
        tell, self._on_problem = self._on_problem, None
        LOG.warning("%s", error)
        if tell is not None:
            tell(f"what your ears get is not kept: {error}")


def _opened(folder: Path | None):  # type: ignore[no-untyped-def]  # a Journal; imported late
    from meter.journal.store import open_journal

    return open_journal(folder)
