"""Calls into sound systems that may never come back, each in a thread that can be left behind.

A sound server that stands still, or has died, holds whoever opens or closes a stream. The call
then runs in a thread of its own and the caller goes on after a limit. A result that comes
later is handed to `undo`, so that nothing stays open that nobody waits for.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, Generic, TypeVar

T = TypeVar("T")


class Abandoned(Exception):
    """The call did not come back within its time; its thread was left behind."""


def within(limit_s: float, call: Callable[[], T], *, undo: Callable[[T], Any] | None = None) -> T:
    """Run a call in a thread and wait for it, but not longer than the limit.

    Parameters
    ----------
    limit_s : float
        Seconds.
    call : callable
        Takes nothing.
    undo : callable, optional
        Takes the result when it comes after the limit, in the thread of the call.

    Raises
    ------
    Abandoned
        The limit passed. Otherwise whatever the call raises.
    """
    task = _Task(call, undo)
    threading.Thread(target=task.run, name="leadline-may-hang", daemon=True).start()
    return task.result(limit_s)


class _Task(Generic[T]):
    def __init__(self, call: Callable[[], T], undo: Callable[[T], Any] | None) -> None:
        self._call, self._undo = call, undo
        self._done = threading.Event()
        self._lock = threading.Lock()
        self._is_abandoned = False
        self._made: list[T] = []
        self._error: BaseException | None = None

    def run(self) -> None:
        try:
            made = self._call()
        except BaseException as error:
            self._error = error
        else:
            with self._lock:
                if not self._is_abandoned:
                    self._made.append(made)
            if self._is_abandoned and self._undo is not None:
                self._undo(made)
        self._done.set()

    def result(self, limit_s: float) -> T:
        self._done.wait(limit_s)
        with self._lock:
            if not self._made and self._error is None:
                self._is_abandoned = True
                raise Abandoned
        if self._error is not None:
            raise self._error
        return self._made[0]
