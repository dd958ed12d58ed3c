"""Work that may take a while, one piece after the other in a thread; its result comes to the window's."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from typing import Any, Final

from PyQt6.QtCore import QObject, pyqtSignal

from meter.errors import MeterError

LOG: Final = logging.getLogger("ui")

STOP_WAIT_S: Final = 10.0


class Errands(QObject):
    """Runs them.

    Signals
    -------
    failed : str
        One sentence on an errand that came to nothing.
    """

    failed = pyqtSignal(str)
    _done = pyqtSignal(object, object)

    def __init__(self, name: str) -> None:
        super().__init__()
        self._name = name
        self._errands: queue.SimpleQueue[tuple[Callable[[], Any], Callable[[Any], None]] | None] = (
            queue.SimpleQueue()
        )
        self._thread: threading.Thread | None = None
        self._must_end = False
        self._done.connect(self._take)

    def run(self, work: Callable[[], Any], then: Callable[[Any], None]) -> None:
        """Do this there, and that with its result here."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name=f"leadline {self._name}", daemon=True)
            self._thread.start()
        self._errands.put((work, then))

    def stop(self) -> None:
        """The end; what has begun is waited for."""
        self._must_end = True
        self._errands.put(None)
        if self._thread is not None:
            self._thread.join(STOP_WAIT_S)

    def _take(self, then: Callable[[Any], None], result: Any) -> None:
        if not self._must_end:
            then(result)

    def _run(self) -> None:
        while (errand := self._errands.get()) is not None and not self._must_end:
            work, then = errand
            try:
                result = work()
            except MeterError as error:
                self._tell(str(error))
            except Exception as error:
                LOG.exception("please report this: an errand of the %s failed", self._name)
                self._tell(f"that failed ({error}); please report it with the log")
            else:
                if not self._must_end:
                    self._done.emit(then, result)

    def _tell(self, sentence: str) -> None:
        if not self._must_end:
            self.failed.emit(sentence)
