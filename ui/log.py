"""The log: a file that stays small, and mistakes of the program that are said and never end it.

| level | meaning |
|---|---|
| INFO | something happened that explains what follows: a source opened, lost, back |
| WARNING | something did not go as the user wanted, and why |
| ERROR, CRITICAL | a mistake in the program: please report it with the file |
"""

from __future__ import annotations

import logging
import sys
import threading
from collections import deque
from collections.abc import Callable
from logging.handlers import RotatingFileHandler
from pathlib import Path
from types import TracebackType
from typing import Final

from meter.errors import MeterError
from meter.settings import folders

LOG: Final = logging.getLogger("ui")
NAMES: Final = ("meter", "ui")
FILE_NAME: Final = "leadline.log"
MOST_BYTES: Final = 1_000_000
KEPT_LINES: Final = 2000
LAYOUT: Final = "%(asctime)s %(levelname)s %(name)s: %(message)s"


class Kept(logging.Handler):
    """The newest lines, for a report."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: deque[str] = deque(maxlen=KEPT_LINES)
        self.setFormatter(logging.Formatter(LAYOUT))

    def emit(self, record: logging.LogRecord) -> None:
        """Keep a line."""
        self.lines.append(self.format(record))


class LogFile(RotatingFileHandler):
    """Stays quiet where its disk takes nothing: a traceback in the terminal would help nobody."""

    def handleError(self, record: logging.LogRecord) -> None:
        """Whatever a line could not be written for, but the disk, is told as usual."""
        if not isinstance(sys.exc_info()[1], OSError):
            super().handleError(record)


def start() -> Path | None:
    """Write the log to its file; None where none can be written."""
    handlers: list[logging.Handler] = [Kept()]
    path = None
    try:
        folder = folders().logs
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / FILE_NAME
        handlers.append(LogFile(path, maxBytes=MOST_BYTES, backupCount=1, encoding="utf-8", delay=True))
    except (OSError, MeterError):
        path = None
    for name in NAMES:
        logger = logging.getLogger(name)
        logger.setLevel(logging.INFO)
        for handler in handlers:
            handler.setFormatter(logging.Formatter(LAYOUT))
            logger.addHandler(handler)
    return path


class Mishaps:
    """Takes exceptions that nobody caught, in slots and in threads: they are logged, and said.

    Qt would end the process at one in a slot.

    Parameters
    ----------
    tell : callable
        Called with one sentence; from any thread.
    """

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._before = sys.excepthook, threading.excepthook
        self._known: set[tuple[type[BaseException], str]] = set()

    def watch(self) -> None:
        """From now on."""
        sys.excepthook = self._take
        threading.excepthook = self._take_of_thread

    def leave(self) -> None:
        """As it was before."""
        sys.excepthook, threading.excepthook = self._before

    def _take(self, kind: type[BaseException], error: BaseException, traceback: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            return  # `ui.app` has a handler for it
        mishap = kind, str(error)
        if mishap in self._known:
            return  # in a slot of a timer it comes thirty times a second
        self._known.add(mishap)
        LOG.error("please report this: it was not caught", exc_info=(kind, error, traceback))
        what = str(error).splitlines()[0] if str(error) else kind.__name__
        self._tell(f"something went wrong in the program ({what}); it goes on. Please report it with the log")

    def _take_of_thread(self, args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            self._take(args.exc_type, args.exc_value, args.exc_traceback)
