"""The low end looked at in a process of its own, beside the one that measures a file.

Notes and kicks are many short calls that hold the interpreter: in a thread they cost the measuring as much
time as they take. The process is a copy of this one (fork), which takes milliseconds, so it is made only
where that is sound: on Linux, while no other thread runs. Elsewhere the file is looked at in place.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from multiprocessing.connection import Connection
from typing import Any, Final

import numpy as np

from meter.low_end.analysis import LowEndAnalysis
from meter.low_end.clock import LowClock
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.units import Floats

LEAST_S: Final = 20.0
"""For less sound it is not worth a process."""
_FAILURES: Final = (ArithmeticError, LookupError, TypeError, ValueError, RuntimeError, AssertionError)
_SHORT_S: Final = 0.2
_END_S: Final = 2.0


def is_possible() -> bool:
    """Whether a copy of this process can be made, and has a core to run on."""
    if not sys.platform.startswith("linux") or threading.active_count() > 1:
        return False
    has_core = len(os.sched_getaffinity(0)) > 1
    return has_core and not multiprocessing.current_process().daemon  # which may have none


class LowEndBeside:
    """The same as `LowEndAnalysis`, bit for bit; a sink for a chain. Close it.

    Parameters
    ----------
    clock : LowClock
    settings : LowEndSettings

    Raises
    ------
    RuntimeError
        From any call: the process has ended before its time, or failed.
    """

    def __init__(self, clock: LowClock, settings: LowEndSettings) -> None:
        context: Any = multiprocessing.get_context("fork")
        self._ours, theirs = context.Pipe()
        self._process = context.Process(
            target=_look, args=(self._ours, theirs, clock, settings), name="low end", daemon=True
        )
        self._process.start()
        theirs.close()

    def process(self, samples: Floats, first_index: int) -> None:
        """See `LowEndAnalysis.process`."""
        self._send((np.ascontiguousarray(samples), first_index))

    def gap(self) -> None:
        """See `LowEndAnalysis.gap`."""
        self._send("gap")

    def flush(self) -> None:
        """See `LowEndAnalysis.flush`."""
        self._send("flush")

    def reading(self) -> LowEnd:
        """Wait for what was found; the process ends with it."""
        self._send("reading")
        try:
            found = self._ours.recv()
        except (EOFError, OSError):
            raise RuntimeError(self._gone()) from None
        if isinstance(found, BaseException):
            raise RuntimeError(f"looking at the low end failed: {found!r}") from found
        assert isinstance(found, LowEnd)
        return found

    def close(self) -> None:
        """End the process, whatever it does."""
        self._ours.close()  # which is what it waits for
        self._process.join(_SHORT_S)
        if self._process.exitcode is None:
            self._process.terminate()
            self._process.join(_END_S)

    def _send(self, message: object) -> None:
        try:
            self._ours.send(message)
        except OSError:
            raise RuntimeError(self._gone()) from None

    def _gone(self) -> str:
        self._process.join(_END_S)
        return f"the process that looks at the low end has ended (exit status {self._process.exitcode})"


def _look(theirs_of_caller: Connection, ours: Connection, clock: LowClock, settings: LowEndSettings) -> None:
    """What the process does."""
    theirs_of_caller.close()  # else it would never hear that the caller has gone
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the caller hears Ctrl-C, and ends this
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    analysis = LowEndAnalysis(clock, settings)
    problem: BaseException | None = None
    try:
        while True:
            message = ours.recv()
            try:
                if message == "reading":
                    ours.send(analysis.reading() if problem is None else problem)
                    return
                if problem is None:
                    _tell(analysis, message)
            except _FAILURES as error:
                problem = error  # told when it is asked; what comes until then is thrown away
    except (EOFError, OSError):
        return  # nobody wants it any more


def _tell(analysis: LowEndAnalysis, message: Any) -> None:
    if message == "gap":
        analysis.gap()
    elif message == "flush":
        analysis.flush()
    else:
        samples, first_index = message
        analysis.process(samples, first_index)
