"""Many files side by side: worker processes, results in the order of the files.

Processes and not threads: on two cores two threads measured twelve files 1.1 to 1.5 times as fast as one,
two processes 1.5 to 1.8 times, for the measures are many short calls that hold the interpreter. A process
also keeps a decoder that crashes on a damaged file from taking the rest with it.
"""

from __future__ import annotations

import importlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection, wait
from typing import Any, Final

from meter import check
from meter.check import Checked, Failed, Options, Result

LOOK_S: Final = 0.1
"""How often to look whether the run was cancelled, and to say how far a file has come."""

STUCK_S: Final = 30.0
"""How long a worker may send nothing while it reads a file. It is heard of some times a second otherwise."""

END_S: Final = 2.0
"""How long a worker may take to end when it is asked to."""

ORPHAN_S: Final = 1.0
"""How often an idle worker looks whether whom it works for is still there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunProgress:
    """How far a run has come. ``share`` is 0 to 1, every file counting alike."""

    name: str  # the file that was heard of last
    done_s: float  # of that file
    whole_s: float | None  # its length; None: not known
    files_done: int
    files: int
    share: float
    doing: str = ""  # beside measuring: the encoders that are at work


class _Cancelled(Exception):
    """Ends the reading of a file in this process."""


def check_all(
    names: Sequence[str],
    options: Options,
    *,
    workers: int | None = None,
    progress: Callable[[RunProgress], None] | None = None,
    is_cancelled: Callable[[], bool] | None = None,
) -> Generator[Result, None, None]:
    """Check files; the results in their order, each as soon as those before it are there.

    Waits in the thread that takes the results, and calls both callables there. One bad file never stops
    the rest. Close the generator to end the workers; Ctrl-C does.

    Parameters
    ----------
    names : sequence of str
    options : Options
        The same for all.
    workers : int, optional
        Processes to measure in; 0: none but this one. As many as there are cores when not given, and none
        for a single file.
    progress : callable, optional
        Called some times a second.
    is_cancelled : callable, optional
        Asked some times a second; once it says True the results end.
    """
    if workers is None:
        workers = 0 if len(names) == 1 else min(cores(), len(names))
    run = _Run(list(names), options, progress, is_cancelled or (lambda: False))
    yield from run.here() if workers == 0 else run.side_by_side(workers)


def cores() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class _Run:
    def __init__(
        self,
        names: list[str],
        options: Options,
        progress: Callable[[RunProgress], None] | None,
        is_cancelled: Callable[[], bool],
    ) -> None:
        self._names = names
        self._options = options
        self._progress = progress
        self._is_cancelled = is_cancelled
        self._shares = [0.0] * len(names)
        self._ended = 0

    def here(self) -> Generator[Result, None, None]:
        """One after the other, in this process."""
        for index, name in enumerate(self._names):
            if self._is_cancelled():
                return

            def at(done_s: float, whole_s: float | None, doing: str = "", /, *, index: int = index) -> None:
                if self._is_cancelled():
                    raise _Cancelled
                self._tell(index, done_s, whole_s, doing)

            try:
                result = check.check_one(name, self._options, progress=at)
            except _Cancelled:
                return
            self._shares[index] = 1.0
            yield result
            self._tell_end(index)

    def side_by_side(self, count: int) -> Generator[Result, None, None]:
        """In worker processes."""
        options = replace(self._options, beside=self._options.beside and 2 * count <= cores())
        context = _context()
        waiting = list(range(len(self._names)))[::-1]
        results: dict[int, Result] = {}
        workers = [_Worker(context, options) for _ in range(count)]
        try:
            for worker in workers:
                self._give(worker, waiting)
            at = 0
            while at < len(self._names):
                if self._is_cancelled():
                    return
                busy = {worker.pipe: worker for worker in workers if worker.index is not None}
                heard = wait(list(busy), LOOK_S)
                ended = []
                for pipe, worker in busy.items():
                    result = self._hear(worker) if pipe in heard else self._wait_for(worker)
                    if result is None:
                        continue
                    assert worker.index is not None
                    results[worker.index] = result
                    ended.append(worker.index)
                    self._shares[worker.index] = 1.0
                    if worker.is_dead:
                        worker.end()
                        workers.remove(worker)
                        workers.append(worker := _Worker(context, options))
                    self._give(worker, waiting)
                while at in results:
                    yield results.pop(at)
                    at += 1
                for index in ended:
                    self._tell_end(index)
        finally:
            for worker in workers:
                worker.end()

    def _give(self, worker: _Worker, waiting: list[int]) -> None:
        worker.index = waiting.pop() if waiting else None
        if worker.index is not None:
            worker.ask(self._names[worker.index])

    def _wait_for(self, worker: _Worker) -> Result | None:
        """Nothing came from a worker: a failure when that has gone on for too long."""
        assert worker.index is not None
        now_s = time.monotonic()
        # No look counts for more than a second: a program that was stopped meanwhile has waited for nobody.
        worker.silent_s += min(now_s - worker.looked_s, 1.0)
        worker.looked_s = now_s
        if worker.has_read or worker.silent_s < STUCK_S:
            return None
        worker.is_dead = True
        name = self._names[worker.index]
        return Failed(
            name=name,
            message=f"{name}: the decoder got no further for {STUCK_S:.0f} s, so the file must be damaged or "
            "its disk does not answer; export it again, or try a copy",
        )

    def _hear(self, worker: _Worker) -> Result | None:
        """What a worker has sent: a result, or how far it is."""
        assert worker.index is not None
        worker.silent_s, worker.looked_s = 0.0, time.monotonic()
        try:
            sent = worker.pipe.recv()
        except (EOFError, OSError):
            worker.is_dead = True
            name = self._names[worker.index]
            return Failed(
                name=name,
                message=f"{name}: the decoder crashed on this file, so it must be damaged; export it again",
            )
        if isinstance(sent, tuple):
            done_s, whole_s, doing = sent
            worker.has_read = whole_s is not None and done_s >= whole_s
            self._tell(worker.index, done_s, whole_s, doing)
            return None
        if isinstance(sent, Checked):
            return replace(sent, options=self._options)
        assert isinstance(sent, Failed)
        return sent

    def _tell(self, index: int, done_s: float, whole_s: float | None, doing: str) -> None:
        if whole_s:
            share = min(done_s / whole_s, 1.0)
            if self._options.encodes:  # which takes as long as measuring, about
                share = 0.5 * share + (0.5 if doing else 0.0)
            self._shares[index] = share
        self._say(index, done_s, whole_s, doing)

    def _tell_end(self, index: int) -> None:
        # Once the result is given away: Ctrl-C may come right after it was said to be done.
        self._ended += 1
        self._say(index, 0.0, None)

    def _say(self, index: int, done_s: float, whole_s: float | None, doing: str = "") -> None:
        if self._progress is not None:
            files = len(self._names)
            self._progress(
                RunProgress(
                    name=self._names[index],
                    done_s=done_s,
                    whole_s=whole_s,
                    files_done=self._ended,
                    files=files,
                    share=sum(self._shares) / files,
                    doing=doing,
                )
            )


class _Worker:
    """A process that measures one file after the other."""

    def __init__(self, context: Any, options: Options) -> None:
        self.index: int | None = None  # the file that it measures
        self.is_dead = False
        self.silent_s = 0.0  # how long nothing came from it
        self.looked_s = time.monotonic()
        self.has_read = False  # its file, so that what it waits for is no decoder
        self.pipe, other = context.Pipe()
        self._process = context.Process(target=_work, args=(other, options, os.getpid()), daemon=True)
        self._process.start()
        other.close()  # so that the end of the process is the end of the pipe

    def ask(self, name: str) -> None:
        self.silent_s, self.looked_s, self.has_read = 0.0, time.monotonic(), False
        with suppress(OSError):  # it has died already; `_hear` finds that out
            self.pipe.send(name)

    def end(self) -> None:
        self.pipe.close()
        self._process.terminate()
        self._process.join(END_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()


def _work(pipe: Connection, options: Options, parent: int) -> None:
    """What runs in a worker. Ctrl-C goes to the whole group; who started it decides what it means."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    last_s = 0.0

    def progress(done_s: float, whole_s: float | None, doing: str = "", /) -> None:
        nonlocal last_s
        now_s = time.monotonic()
        if now_s - last_s >= LOOK_S or (whole_s is not None and done_s >= whole_s):
            last_s = now_s
            pipe.send((done_s, whole_s, doing))

    try:
        while True:
            while not pipe.poll(ORPHAN_S):
                if os.getppid() != parent:
                    return
            name = pipe.recv()
            result = check.check_one(name, options, progress=progress)
            # The target goes one way only: who asked has it, and some of it may not travel.
            pipe.send(replace(result, options=Options()) if isinstance(result, Checked) else result)
    except (EOFError, OSError):  # nobody wants it any more
        return


def _context() -> Any:
    """Fork where that is sound: one thread, on Linux. All else starts anew, which takes a second."""
    if sys.platform == "linux" and threading.active_count() == 1 and len(os.listdir("/proc/self/task")) == 1:
        for name in ("soundfile", "meter.chain", "meter.passes"):  # what every worker needs, loaded once
            importlib.import_module(name)

        if len(os.listdir("/proc/self/task")) == 1:
            return multiprocessing.get_context("fork")
    return multiprocessing.get_context("spawn")
