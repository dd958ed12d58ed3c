"""The low end of what is heard live: a thread of its own beside the engine, which pays nothing for it."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from typing import Final

from meter.engine import Engine
from meter.errors import MeterError
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.ring_follower import RingFollower

LOG: Final = logging.getLogger("meter.low_end")

STEP_S: Final = 0.25
IDLE_STEP_S: Final = 4.0
"""While nobody looks at the low end: much at once costs far less than often a little; the ring holds 15 s."""

ENDED_S: Final = 2.0
READ_S: Final = 1.0
"""The most that is taken at once, so that other threads get their turn between."""


class LiveLowEnd:
    """Follows an engine four times a second.

    Parameters
    ----------
    engine : Engine
        Started.
    settings : LowEndSettings, optional

    Attributes
    ----------
    now : LowEnd
        Newest reading of the pass, rebound by each step that brought something; any thread may read it. Its
        times count from the beginning of the ring that it is read from.
    numbered : tuple of int, LowEnd
        The same with the number of that ring, 0 before there is anything; rebound with it.
    """

    def __init__(self, engine: Engine, settings: LowEndSettings | None = None) -> None:
        self._engine = engine
        self._follower = engine.slow_reader(from_now=False)
        self.now = LowEnd()
        self.numbered = (0, self.now)
        self._ended: queue.SimpleQueue[LowEnd] = queue.SimpleQueue()
        self._settings = LowEndSettings() if settings is None else settings
        self._has_other_settings = threading.Event()
        self._ends = threading.Event()
        self._wakes = threading.Event()
        self._step_s = STEP_S
        self._thread = threading.Thread(target=self._run, name="leadline low end", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Take what has come, and end the pass. May be called twice."""
        self._ends.set()
        self._wakes.set()
        if self._thread.is_alive():
            self._thread.join()

    def slow_down(self, on: bool) -> None:
        """Look seldom, because nobody sees it; or as often as the eye wants, from now on. Any thread."""
        step_s = IDLE_STEP_S if on else STEP_S
        if step_s != self._step_s:
            self._step_s = step_s
            self._wakes.set()

    def take_ended(self) -> LowEnd | None:
        """What was found in the pass that ended last, given once; waits a moment for it.

        None where nothing came of it.
        """
        found: LowEnd | None = None
        try:
            found = self._ended.get(timeout=ENDED_S)
            while True:
                found = self._ended.get_nowait()
        except queue.Empty:
            return found

    def judge_by(self, settings: LowEndSettings) -> None:
        """Use other settings, also for what was found already; any thread."""
        self._settings = settings
        self._has_other_settings.set()
        self._wakes.set()

    def _run(self) -> None:
        try:
            # Made here: it takes a moment that who starts it need not wait.
            steps = _Steps(self._follower, self._settings, self._ended.put)
            while not self._ends.is_set():
                self._wakes.wait(self._step_s)
                self._wakes.clear()
                self._step(steps)
            self._step(steps)
            steps.end()
            self._publish(steps)
        except Exception:
            LOG.exception("please report this: the low end is looked at no more")

    def _step(self, steps: _Steps) -> None:
        is_other = self._has_other_settings.is_set()
        if is_other:
            self._has_other_settings.clear()
            steps.judge_by(self._settings)
        has_ended = self._engine.now.has_ended  # asked first: all that it heard is in the ring by then
        if steps.take() or (has_ended and steps.end()) or is_other:
            self._publish(steps)

    def _publish(self, steps: _Steps) -> None:
        self.now = steps.reading()
        self.numbered = (steps.number, self.now)


class _Steps:
    """Reads rings and feeds the analysis; one thread."""

    def __init__(
        self, follower: RingFollower, settings: LowEndSettings, on_ended: Callable[[LowEnd], None]
    ) -> None:
        self._follower, self._settings, self._on_ended = follower, settings, on_ended
        self.begin()

    def judge_by(self, settings: LowEndSettings) -> None:
        """Use other settings, for all of this pass."""
        self._settings = settings
        if self._analysis is not None:
            self._analysis.judge_by(settings)

    def begin(self) -> None:
        """A new pass, of the ring of now."""
        from meter.low_end.analysis import LowEndAnalysis
        from meter.low_end.clock import low_clock
        from meter.low_end.stream import LowStream

        ring = self._follower.ring
        self.number = ring.number
        self._read_frames = max(1, round(READ_S * ring.rate_hz))
        self._analysis: LowEndAnalysis | None = None
        self._is_open = True
        try:
            self._analysis = LowEndAnalysis(low_clock(ring.rate_hz), self._settings)
            self._stream = LowStream(rate_hz=ring.rate_hz, channels=ring.channels, sink=self._analysis)
        except MeterError as error:  # the engine says so too
            LOG.info("the low end is not looked at: %s", error)
            self._analysis = None

    def take(self) -> bool:
        """Take all that has come; whether that was anything."""
        took = False
        while True:
            chunk = self._follower.read(self._read_frames)
            if chunk is None:
                self.end()
                self._follower.turn()
                self.begin()
                took = True
                continue
            if chunk.lost_before == 0 and len(chunk.frames) == 0:
                return took
            took = True
            if not self._is_open:
                self.begin()
            if self._analysis is None:
                continue
            if chunk.lost_before:
                self._stream.gap(chunk.lost_before)
            self._stream.process(chunk.frames)

    def end(self) -> bool:
        """End the pass, once; whether it was open."""
        was_open = self._analysis is not None and self._is_open
        if self._analysis is not None and was_open:
            self._is_open = False
            self._stream.flush()
            self._on_ended(self._analysis.reading())
        return was_open

    def reading(self) -> LowEnd:
        """What is known now."""
        return LowEnd() if self._analysis is None else self._analysis.reading()
