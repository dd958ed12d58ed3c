"""The live engine: one thread that takes what a source brings, measures it, and says what it found.

Who listens is called from that thread; everybody else reads `Engine.now`, one frozen record that
is rebound, and `Engine.live_pass`. What the user asks for goes through a queue and is done
between two steps, so that nothing is ever changed while it is measured with.
"""

from __future__ import annotations

import logging
import queue
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from meter.capture.records import SourceState
from meter.capture.source import Source
from meter.errors import MeterError
from meter.listener import Listener
from meter.live_pass import LivePass
from meter.now import Now
from meter.ring_follower import RingFollower
from meter.soundings import Reading, Soundings
from meter.targets import Target
from meter.worker import Worker

LOG: Final = logging.getLogger("meter.engine")

SWITCH_S: Final = 0.0005
"""A tenth of the interpreter's own: threads that compute give way to the audio callback sooner."""

STOP_WAIT_S: Final = 10.0
"""The longest that a thread takes to end is the opening of another source."""


def keep_threads_apart() -> None:
    """Let threads give way sooner, and linear algebra use one of them only. For the whole process."""
    import threadpoolctl

    sys.setswitchinterval(SWITCH_S)
    threadpoolctl.threadpool_limits(limits=1, user_api="blas")


class Engine:
    """Measures a source while it sounds.

    Parameters
    ----------
    source : Source
        Not started; belongs to the engine from `start` on.
    target : Target, optional
        What the readings are held against.
    crossover_hz : float
        Upper end of the low end, 40 to 300 Hz.
    seconds : float, optional
        End after so much sound, lost and held sound included.
    on_soundings : callable, optional
        Called from the engine's thread with each new sounding, one row as a rule, when
        `now` already tells of it. Should be quick; that it fails is logged and ends nothing.
    on_pass : callable, optional
        The same, with each pass that has ended.
    on_end : callable, optional
        Called from the same thread with the last `Now` when nothing more will come, unless
        another source is set.

    Attributes
    ----------
    failure : Exception or None
        What the measuring broke off with: a mistake in the program.
    """

    def __init__(
        self,
        source: Source,
        *,
        target: Target | None = None,
        crossover_hz: float = 120.0,
        seconds: float | None = None,
        on_soundings: Callable[[Soundings], None] | None = None,
        on_pass: Callable[[LivePass], None] | None = None,
        on_end: Callable[[Now], None] | None = None,
    ) -> None:
        self._source = source
        self._target = target
        self._crossover_hz = crossover_hz
        self._seconds = seconds
        self._on_soundings, self._on_pass = on_soundings, on_pass
        self._end_listener = Listener[Now]("the end", on_end)
        self._end_is_told = False
        self._commands: queue.SimpleQueue[Callable[[Worker], None] | None] = queue.SimpleQueue()
        self._worker: Worker | None = None
        self._thread: threading.Thread | None = None
        self._failed_now: Now | None = None
        self.failure: Exception | None = None

    # --- the life of it

    def start(self) -> None:
        """Start the source and measure it.

        Raises
        ------
        MeterError
            One sentence: it cannot be listened to, or what it brings cannot be measured.
        """
        assert self._thread is None, "an engine is started once"
        keep_threads_apart()
        import meter.chain  # noqa: F401  # takes a second, the first time; frames would wait meanwhile

        self._source.start()
        try:
            self._worker = self._new_worker()
        except BaseException:
            self._source.stop()
            raise
        self._source.needs(self._worker.reader)
        self._thread = threading.Thread(target=self._run, name="leadline engine", daemon=True)
        self._thread.start()

    def _new_worker(self) -> Worker:
        worker = Worker(
            self._source,
            target=self._target,
            crossover_hz=self._crossover_hz,
            seconds=self._seconds,
            on_soundings=self._on_soundings,
            on_pass=self._on_pass,
        )
        if worker.now.problem is not None:
            raise MeterError(worker.now.problem)
        return worker

    def stop(self) -> None:
        """Measure what has come, end the pass, stop the source. May be called twice, and from a listener."""
        thread, worker = self._thread, self._worker
        if thread is None or worker is None:
            return
        self._commands.put(None)
        if thread is threading.current_thread():
            return
        thread.join(STOP_WAIT_S)
        if thread.is_alive():
            LOG.error("the engine did not end within %g s; it is left behind", STOP_WAIT_S)

    def __enter__(self) -> Engine:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    # --- what is known; any thread

    @property
    def now(self) -> Now:
        """What is known at this moment."""
        if self._failed_now is not None:
            return self._failed_now
        return Now(state=self._source.state()) if self._worker is None else self._worker.now

    @property
    def reading(self) -> Reading | None:
        """The newest reading; None before the first."""
        return self.now.reading

    @property
    def state(self) -> SourceState:
        """What the source is doing."""
        return self.now.state

    @property
    def live_pass(self) -> LivePass | None:
        """The pass that is being made, with its soundings."""
        return None if self._worker is None else self._worker.live_pass

    def slow_reader(self, *, from_now: bool = True) -> RingFollower:
        """A reader of its own for slow analyses, for one thread; after `start`.

        It may fall behind by as much as the ring holds: the loss is its own.

        Parameters
        ----------
        from_now : bool
            Begin with what comes next; else with the oldest frame that the ring has, which is the first one
            right after the start.
        """
        worker = self._worker
        assert worker is not None, "an engine has its ring from start() on"
        return RingFollower(lambda: worker.source, from_now=from_now)

    # --- what the user asks for; any thread, done within one step

    def hold(self, on: bool) -> None:
        """Measure nothing from now on, or go on. What passes by meanwhile is not lost, only left out."""
        self._commands.put(lambda worker: worker.hold(on))

    def slow_down(self, on: bool) -> None:
        """Look twice a second, because nobody waits for what is new; or ten times, from now on.

        The soundings are the same; they come five together. What costs is to begin anew each time.
        """
        self._commands.put(lambda worker: worker.slow_down(on))

    def mark(self) -> None:
        """End the pass here; a new one begins with the next sounding."""
        self._commands.put(lambda worker: worker.mark())

    def set_target(self, target: Target | None) -> None:
        """Hold what is heard against another target."""
        self._commands.put(lambda worker: worker.set_target(target))

    def set_crossover(self, crossover_hz: float) -> None:
        """Measure the low end below another crossover, 40 to 300 Hz, in a new pass, unless it is the same."""
        self._commands.put(lambda worker: worker.set_crossover(crossover_hz))

    def set_source(self, source: Source, *, on_problem: Callable[[str], None] | None = None) -> None:
        """Listen to another source, not started; a new pass begins.

        Parameters
        ----------
        source : Source
            Belongs to the engine from now on.
        on_problem : callable, optional
            Called from the engine's thread with one sentence when it cannot be listened to;
            the old one goes on then.
        """

        def change(worker: Worker) -> None:
            try:
                worker.set_source(source)
            except MeterError as error:
                LOG.warning("%s", error)
                if on_problem is not None:
                    on_problem(str(error))

        self._commands.put(change)

    # --- the thread

    def _run(self) -> None:
        worker = self._worker
        assert worker is not None
        try:
            self._listen(worker)
            self._stop_source(worker)
            self._take_rest(worker)
        except Exception as error:
            self._break_off(worker, error)
            self._stop_source(worker)
        self._tell_end(self.now)

    def _listen(self, worker: Worker) -> None:
        while True:
            wait_s = worker.step()
            self._tell_end(worker.now)
            try:
                command = self._commands.get(timeout=wait_s)
            except queue.Empty:
                continue
            if command is None:
                return
            worker.step()
            command(worker)

    def _take_rest(self, worker: Worker) -> None:
        # A source hands out what it was not sure of when it is stopped.
        while worker.step() == 0.0 and not worker.now.has_ended:
            pass
        worker.finish()

    def _tell_end(self, now: Now) -> None:
        if now.has_ended and not self._end_is_told:
            self._end_listener.tell(now)
        self._end_is_told = now.has_ended

    def _break_off(self, worker: Worker, error: Exception) -> None:
        """A mistake in the program itself: what was measured stays, and it is said."""
        LOG.critical("please report this: the engine broke off", exc_info=error)
        self.failure = error
        try:
            worker.finish()
        except Exception:
            LOG.exception("the last pass could not be ended either")
        sentence = f"measuring broke off ({error}); please report it with the log"
        self._failed_now = replace(worker.now, has_ended=True, problem=sentence)

    def _stop_source(self, worker: Worker) -> None:
        try:
            worker.source.stop()
        except Exception:
            LOG.exception("please report this: the source could not be stopped")
