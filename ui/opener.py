"""Opens sources in a thread of its own, one after the other; only the newest wish counts.

Opening takes from milliseconds to seconds (a sound server that does not answer), the first time also
the import of all that measures. The window meanwhile says so and goes on.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from meter.errors import MeterError

if TYPE_CHECKING:
    from meter.capture.source import Source
    from meter.engine import Engine

LOG: Final = logging.getLogger("ui.session")

STOP_WAIT_S: Final = 12.0
"""A source that is being opened may take 6 s, its import 2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """What became of a wish; `problem` is one sentence when nothing came of it."""

    spec: str
    number: int
    problem: str | None = None


class Opener:
    """Starts the engine with the first source that can be opened, and gives it every other one.

    Parameters
    ----------
    open_source : callable
        From how a source is written to a source; may wait, may raise `MeterError`.
    new_engine : callable
        From the first source to an engine, not started.
    tell : callable
        Called from the thread with what became of each wish. Should be quick.

    Attributes
    ----------
    engine : Engine or None
        Runs once there is one.
    """

    def __init__(
        self,
        open_source: Callable[[str], Source],
        new_engine: Callable[[Source], Engine],
        tell: Callable[[Opened], None],
    ) -> None:
        self.engine: Engine | None = None
        self._open_source, self._new_engine, self._tell = open_source, new_engine, tell
        self._wishes: queue.SimpleQueue[tuple[str, int] | None] = queue.SimpleQueue()
        self._newest = 0
        self._thread = threading.Thread(target=self._run, name="leadline opening", daemon=True)
        self._thread.start()

    def wish(self, spec: str) -> int:
        """Listen to this; any thread. The number of the wish."""
        self._newest += 1
        self._wishes.put((spec, self._newest))
        return self._newest

    def stop(self) -> None:
        """Open nothing more, and wait for what is being opened. The engine is then the caller's to stop."""
        self._newest += 1
        self._wishes.put(None)
        self._thread.join(STOP_WAIT_S)
        if self._thread.is_alive():
            LOG.error("a source did not open within %g s; it is left behind", STOP_WAIT_S)

    def _run(self) -> None:
        while (wish := self._wishes.get()) is not None:
            spec, number = wish
            if number != self._newest:
                continue  # another was wished for meanwhile
            try:
                self._open(spec, number)
            except MeterError as error:
                self._tell(Opened(spec=spec, number=number, problem=str(error)))
            except Exception as error:
                LOG.exception("please report this: %s could not be opened", spec)
                sentence = f"{spec} cannot be opened ({error}); please report it with the log"
                self._tell(Opened(spec=spec, number=number, problem=sentence))

    def _open(self, spec: str, number: int) -> None:
        source = self._open_source(spec)
        if self.engine is not None:

            def say(sentence: str) -> None:
                self._tell(Opened(spec=spec, number=number, problem=sentence))

            self.engine.set_source(source, on_problem=say)
            return
        engine = self._new_engine(source)
        engine.start()
        self.engine = engine
        self._tell(Opened(spec=spec, number=number))
