"""Encoders tried in a process of their own, so that a window goes on, and hears and draws meanwhile.

To measure what comes back are many short calls that hold the interpreter; in a thread of the window they
would come between the callback of live sound and its reader. The process is polite (nice) and can be ended
at any moment, which is also what becomes of an encoder that crashes.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Sequence
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final

from meter.check_part import Part
from meter.delivery.codecs import Wish
from meter.delivery.encoded import Encoded
from meter.delivery.of_file import encodes_of
from meter.delivery.progress import Tell
from meter.errors import MeterError
from meter.files import open_audio

LOOK_S: Final = 0.1
END_S: Final = 2.0
NICE: Final = 10
CRASHED: Final = "the encoders crashed on it; export it again, or try one encoder at a time"

Tried = tuple[list[Encoded], list[str]]
"""What each encoder makes of a file, and sentences on those that could not be tried."""


Task = tuple[str, tuple[Wish, ...], float, float | None]
"""File, encoders, ceiling in dBTP, I of the file in LUFS."""


class Cancelled(Exception):
    """Nobody wants it any more."""


def encodes_apart(
    name: str,
    wishes: Sequence[Wish],
    *,
    ceiling_dbtp: float,
    integrated_lufs: float | None,
    tell: Tell,
    is_cancelled: Callable[[], bool],
    apart: bool = True,
) -> Tried:
    """Try encoders with all of a file.

    Waits in the caller's thread, and calls both callables there.

    Parameters
    ----------
    apart : bool
        In a process of its own; else in this one.

    Raises
    ------
    Cancelled
        `is_cancelled` has said so; whatever ran has ended.
    """
    task: Task = (name, tuple(wishes), ceiling_dbtp, integrated_lufs)
    if not apart:

        def note(words: str, share: float) -> None:
            if is_cancelled():
                raise Cancelled
            tell(words, share)

        return _tried(*task, note)
    context = multiprocessing.get_context("spawn")  # whoever calls has threads: no copy of it can be made
    ours, theirs = context.Pipe()
    process = context.Process(target=_work, args=(theirs, task), name="encoders", daemon=True)
    process.start()
    theirs.close()
    try:
        return _result(ours, tell, is_cancelled)
    finally:
        ours.close()
        _end(process)


def _result(pipe: Connection, tell: Tell, is_cancelled: Callable[[], bool]) -> Tried:
    while not is_cancelled():
        try:
            if not pipe.poll(LOOK_S):
                continue
            kind, sent = pipe.recv()
        except (EOFError, OSError):
            return [], [CRASHED]
        if kind == "done":
            done: Tried = sent
            return done
        tell(*sent)
    raise Cancelled


def _end(process: Any) -> None:
    process.terminate()
    process.join(END_S)
    if process.is_alive():
        process.kill()
        process.join()
    process.close()


def _tried(
    name: str, wishes: Sequence[Wish], ceiling_dbtp: float, integrated_lufs: float | None, tell: Tell
) -> Tried:
    try:
        with open_audio(Path(name)) as audio:
            return encodes_of(
                audio,
                Part(),
                wishes,
                ceiling_dbtp=ceiling_dbtp,
                integrated_lufs=integrated_lufs,
                tell=tell,
            )
    except MeterError as error:  # it was moved since it was measured
        return [], [str(error)]
    except MemoryError:
        return [], [f"{name}: there is too little memory for all of it; try a part of it"]


def _work(pipe: Connection, task: Task) -> None:
    """What the process does. Ctrl-C goes to the whole group; who started it decides what it means."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if hasattr(os, "nice"):
        os.nice(NICE)

    def tell(words: str, share: float) -> None:
        pipe.send(("at", (words, share)))

    with suppress(OSError):  # nobody is there any more
        pipe.send(("done", _tried(*task, tell)))
