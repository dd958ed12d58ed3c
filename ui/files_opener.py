"""Measures files in a thread of its own, which lets worker processes do it; the window goes on.

A core is left for what is heard live. What comes of each file is told as soon as it is there.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QObject, pyqtSignal

from meter.low_end.settings import LowEndSettings
from meter.targets import Target

if TYPE_CHECKING:
    from meter.check_run import RunProgress

LOG: Final = logging.getLogger("ui.files")

STOP_WAIT_S: Final = 10.0

MOST_FILES: Final = 300
"""Taken at once: their soundings stay in memory, 2000 bytes for every second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is to be measured, and how."""

    paths: tuple[str, ...]
    target: Target | None
    low_end: LowEndSettings


class FilesOpener(QObject):
    """Takes orders, one after the other.

    Parameters
    ----------
    workers : int, optional
        Processes to measure in, 0: none but this one; as many as there are cores but one, unless given.

    Signals
    -------
    progressed : str, float
        Words, and the share that is done, 0 to 1.
    measured : FilePass
    ended : str
        What could not be done, a sentence a line; empty when all is well.
    """

    progressed = pyqtSignal(str, float)
    measured = pyqtSignal(object)
    ended = pyqtSignal(str)

    def __init__(self, *, workers: int | None = None) -> None:
        super().__init__()
        self._workers = workers
        self._orders: queue.SimpleQueue[Order | None] = queue.SimpleQueue()
        self._is_cancelled = threading.Event()
        self._must_end = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def is_apart(self) -> bool:
        """Whether files are measured in processes of their own."""
        return self._workers != 0

    def measure(
        self,
        paths: Sequence[str],
        *,
        target: Target | None = None,
        low_end: LowEndSettings | None = None,
    ) -> None:
        """Measure these files, and all in these folders; the shipped settings of the low end unless given."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="leadline files", daemon=True)
            self._thread.start()
        self._orders.put(Order(paths=tuple(paths), target=target, low_end=low_end or LowEndSettings()))

    def cancel(self) -> None:
        """Measure no more of what was ordered; what is there stays."""
        self._is_cancelled.set()

    def stop(self) -> None:
        """The end."""
        self._must_end.set()
        self._is_cancelled.set()
        self._orders.put(None)
        if self._thread is not None:
            self._thread.join(STOP_WAIT_S)

    def _run(self) -> None:
        while (order := self._orders.get()) is not None:
            if self._must_end.is_set():
                return
            self._is_cancelled.clear()
            try:
                said = self._measure(order)
            except Exception as error:
                LOG.exception("please report this: the files could not be measured")
                said = f"the files could not be measured ({error}); please report it with the log"
            if not self._must_end.is_set():
                self.ended.emit(said)

    def _measure(self, order: Order) -> str:
        from meter.check import Checked, Options
        from meter.check_paths import find_files
        from meter.check_run import check_all, cores
        from meter.file_pass import file_pass_of
        from meter.file_words import cancelled_text, problems_text, progress_text, too_many_text

        found = find_files(order.paths)
        problems = list(found.notes)
        names = found.names[:MOST_FILES]
        if len(names) < len(found.names):
            problems.insert(0, too_many_text(len(found.names), MOST_FILES))
        options = Options(
            target=order.target,
            crossover_hz=order.low_end.crossover_hz,
            keep_soundings=True,
            low_end=order.low_end,
        )
        workers = self._workers
        if workers is None:
            workers = max(1, min(cores() - 1, len(names)))

        def progress(at: RunProgress) -> None:
            if not self._must_end.is_set():
                self.progressed.emit(progress_text(at), at.share)

        done = 0
        for result in check_all(
            names,
            options,
            workers=workers,
            progress=progress,
            is_cancelled=self._is_cancelled.is_set,
        ):
            if isinstance(result, Checked):
                made = file_pass_of(result)
                if not self._must_end.is_set():
                    self.measured.emit(made)
                    done += 1
            else:
                LOG.warning("%s", result.message)
                problems.append(result.message)
        if self._is_cancelled.is_set():
            problems.insert(0, cancelled_text(done, len(names)))
        return problems_text(problems)
