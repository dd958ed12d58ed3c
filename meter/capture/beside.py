"""The two threads of a live source: one that may wait for the sound system, one that watches."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Final, Protocol

LOG: Final = logging.getLogger("meter.capture")

Job = Callable[[], None]


class Beside(Protocol):
    """What runs beside the caller."""

    def run(self, job: Job) -> None:
        """Run a job in the thread that may wait; one after another."""
        ...

    def every(self, interval_s: float, tick: Job) -> None:
        """Call `tick` again and again from now on, in a thread that never waits for a job."""
        ...

    def tick_soon(self) -> None:
        """Let the next tick come at once; any thread."""
        ...

    def stop(self, last: Job, *, wait_s: float) -> None:
        """No more ticks; then `last` after the jobs before it. Waits, but not longer than `wait_s`."""
        ...


class Threads:
    """`Beside` with two daemon threads; what hangs is left behind."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._jobs: SimpleQueue[Job | None] = SimpleQueue()
        self._is_over = False
        self._wake = threading.Event()
        self._watch: threading.Thread | None = None
        self._work = threading.Thread(target=self._work_off, name=f"{name} calls", daemon=True)
        self._work.start()

    def run(self, job: Job) -> None:
        """Run a job in the thread that may wait; one after another."""
        self._jobs.put(job)

    def every(self, interval_s: float, tick: Job) -> None:
        """Call `tick` again and again from now on."""

        def watch() -> None:
            while True:
                self._wake.wait(interval_s)
                self._wake.clear()
                if self._is_over:
                    return
                _guarded(tick)

        self._watch = threading.Thread(target=watch, name=f"{self._name} watch", daemon=True)
        self._watch.start()

    def tick_soon(self) -> None:
        """Let the next tick come at once; any thread."""
        self._wake.set()

    def stop(self, last: Job, *, wait_s: float) -> None:
        """No more ticks; then `last` after the jobs before it."""
        self._is_over = True
        self._wake.set()
        if self._watch is not None and self._watch is not threading.current_thread():
            self._watch.join()
        self._jobs.put(last)
        self._jobs.put(None)
        self._work.join(wait_s)

    def _work_off(self) -> None:
        while (job := self._jobs.get()) is not None:
            _guarded(job)


def _guarded(job: Job) -> None:
    """A broken promise inside is logged and ends no thread: the watch must go on."""
    try:
        job()
    except Exception:
        LOG.exception("please report this: the watch over a source broke a promise")
