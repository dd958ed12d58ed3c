"""The low end looked at in a process of its own, beside the one that measures a file. See `meter.forked`."""

from __future__ import annotations

from multiprocessing.connection import Connection
from typing import Any

import numpy as np

from meter.forked import FAILURES, Forked
from meter.low_end.analysis import LowEndAnalysis
from meter.low_end.clock import LowClock
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.units import Floats


class LowEndBeside:
    """The same as `LowEndAnalysis`, bit for bit; a sink for a chain. Close it.

    Parameters
    ----------
    clock : LowClock
    settings : LowEndSettings

    Raises
    ------
    ProcessEndedError, RuntimeError
        From any call: the process has ended before its time, or failed.
    """

    def __init__(self, clock: LowClock, settings: LowEndSettings) -> None:
        self._process = Forked(_look, clock, settings, name="looks at the low end")

    def process(self, samples: Floats, first_index: int) -> None:
        """See `LowEndAnalysis.process`."""
        narrow = np.ascontiguousarray(samples, np.float32)  # which they are, nearly always
        is_same = np.array_equal(narrow, samples)
        self._process.send((narrow if is_same else np.ascontiguousarray(samples), first_index))

    def gap(self) -> None:
        """See `LowEndAnalysis.gap`."""
        self._process.send("gap")

    def flush(self) -> None:
        """See `LowEndAnalysis.flush`."""
        self._process.send("flush")

    def reading(self) -> LowEnd:
        """Wait for what was found; the process ends with it."""
        self._process.send("reading")
        found = self._process.receive()
        assert isinstance(found, LowEnd)
        return found

    def close(self) -> None:
        """End the process, whatever it does."""
        self._process.close()


def _look(messages: Connection, answers: Connection, clock: LowClock, settings: LowEndSettings) -> None:
    """What the process does."""
    analysis = LowEndAnalysis(clock, settings)
    problem: BaseException | None = None
    while True:
        message = messages.recv()
        try:
            if message == "reading":
                answers.send(analysis.reading() if problem is None else problem)
                return
            if problem is None:
                _tell(analysis, message)
        except FAILURES as error:
            problem = error  # told when it is asked; what comes until then is thrown away


def _tell(analysis: LowEndAnalysis, message: Any) -> None:
    if message == "gap":
        analysis.gap()
    elif message == "flush":
        analysis.flush()
    else:
        samples, first_index = message
        analysis.process(samples.astype(np.float64, copy=False), first_index)
