"""A copy of this process that does one part of its work: the other core, without the interpreter's lock.

Many short calls hold the interpreter, so in a thread they cost whoever runs beside them as much time as
they take. A copy (fork) takes milliseconds, so it is made only where that is sound: on Linux, while no other
thread runs. Elsewhere the work is done in place, or in threads.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any, Final

from meter.errors import ProcessEndedError

LEAST_S: Final = 60.0
"""For less sound it is not worth a process: the first batch goes through all of them one after the other."""

FAILURES: Final = (
    ArithmeticError,
    LookupError,
    TypeError,
    ValueError,
    RuntimeError,
    AssertionError,
    MemoryError,
)
"""What can go wrong in a copy, and is told to who made it."""

_PIPE_BYTES: Final = 1 << 20
"""Room for some seconds' worth of what is handed over, so that neither side waits for the other."""

_END_S: Final = 2.0


def is_possible() -> bool:
    """Whether a copy of this process can be made, and has a core to run on."""
    if not sys.platform.startswith("linux") or threading.active_count() > 1:
        return False
    has_core = len(os.sched_getaffinity(0)) > 1
    return has_core and not multiprocessing.current_process().daemon  # which may have none


class Forked:
    """A process that takes messages and gives answers, in order. Close it.

    Parameters
    ----------
    work : callable
        What it does: called there with where messages come from, where answers go, and `given`. It ends when
        the messages do (EOFError).
    given : objects
        As they are now; what happens to them later is another matter on either side.
    name : str
        What it does, in words that fit behind "the process that".
    """

    def __init__(self, work: Callable[..., None], *given: object, name: str) -> None:
        context: Any = multiprocessing.get_context("fork")
        self._name = name
        messages, self._messages = _pipe(context)
        self._answers, answers = _pipe(context)
        ours = self._messages, self._answers
        self._process = context.Process(
            target=_run, args=(work, messages, answers, ours, given), name=name, daemon=True
        )
        gc.freeze()  # else the first look for dead objects, on either side, parts what both share
        try:
            self._process.start()
        finally:
            gc.unfreeze()
        messages.close()
        answers.close()

    def send(self, message: object) -> None:
        """Hand over a message.

        Raises
        ------
        ProcessEndedError
            It has ended before its time.
        """
        try:
            self._messages.send(message)
        except OSError:
            raise self._gone() from None

    def has_answered(self) -> bool:
        """Whether `receive` would not wait."""
        return self._answers.poll()

    def receive(self) -> Any:
        """Wait for the next answer.

        Raises
        ------
        ProcessEndedError
            It has ended before its time.
        RuntimeError
            It failed.
        """
        try:
            answer = self._answers.recv()
        except (EOFError, OSError):
            raise self._gone() from None
        if isinstance(answer, BaseException):
            raise RuntimeError(f"the process that {self._name} failed: {answer!r}") from answer
        return answer

    def close(self) -> None:
        """End the process, whatever it does. May be called twice."""
        self._messages.close()
        self._answers.close()
        # Not left to find out by itself: a copy that was made after it may hold the other end open.
        with suppress(ProcessLookupError):
            self._process.terminate()
        self._process.join(_END_S)
        if self._process.exitcode is None:
            self._process.kill()
            self._process.join()

    def _gone(self) -> ProcessEndedError:
        self._process.join(_END_S)
        return ProcessEndedError(
            f"the process that {self._name} was ended from outside (exit status {self._process.exitcode}), "
            "as happens when memory runs out; close other programs and try again"
        )


def _pipe(context: Any) -> tuple[Connection, Connection]:
    """Where to read, where to write."""
    import fcntl  # which not every system has

    reader, writer = context.Pipe(duplex=False)
    with suppress(OSError):  # what the system grants serves too
        fcntl.fcntl(writer.fileno(), fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    return reader, writer


def _run(
    work: Callable[..., None],
    messages: Connection,
    answers: Connection,
    of_caller: tuple[Connection, ...],
    given: tuple[object, ...],
) -> None:
    """What runs in the copy."""
    for connection in of_caller:
        connection.close()  # else it would never hear that the caller has gone
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the caller hears Ctrl-C, and ends this
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    with suppress(EOFError, OSError):  # nobody wants it any more
        work(messages, answers, *given)
