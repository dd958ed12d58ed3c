"""How far the trying of encoders has come, two at a time, and how it is broken off."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import Final, TypeVar

Tell = Callable[[str, float], None]
"""Called often with what is being done, and the share of it that is, 0 to 1; what it raises ends the work."""

LOOK_S: Final = 0.1

T = TypeVar("T")


class Stopped(Exception):
    """Ends work in a thread whose result nobody wants any more."""


def quiet(_: str, __: float) -> None:
    """Say nothing."""


def part_of(tell: Tell, words: str, begin: float, end: float) -> Callable[[float], None]:
    """Tells a share, 0 to 1, of a stretch of the work under these words."""
    return lambda share: tell(words, begin + (end - begin) * min(share, 1.0))


def side_by_side(
    works: Sequence[Callable[[Tell], T]], *, at_once: int = 2, tell: Tell | None = None
) -> list[T]:
    """Do several things in threads, so many at once; the results in their order.

    Threads are enough: encoders and decoders leave the interpreter alone while they work.

    Parameters
    ----------
    works : sequence of callable
        Each gets what it must call often with its own words and share.
    at_once : int
        1 and more.
    tell : callable, optional
        Called some times a second in the caller's thread, with the words of those at work and the share of
        all. What it raises, as Ctrl-C does, ends the others too, and is raised when they have ended.
    """
    said: list[tuple[str, float]] = [("", 0.0)] * len(works)
    must_end = threading.Event()

    def run(index: int) -> T:
        def note(words: str, share: float) -> None:
            if must_end.is_set():
                raise Stopped
            said[index] = words, share

        note("", 0.0)
        try:
            return works[index](note)
        finally:
            said[index] = "", 1.0

    with ThreadPoolExecutor(max_workers=max(at_once, 1), thread_name_prefix="leadline encoder") as pool:
        try:
            futures: list[Future[T]] = [pool.submit(run, index) for index in range(len(works))]
            pending = set(futures)
            while pending:
                pending = wait(pending, LOOK_S).not_done
                if tell is not None and works:
                    words = "; ".join(text for text, _ in said if text)
                    tell(words, sum(share for _, share in said) / len(works))
        except BaseException:
            must_end.set()
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return [future.result() for future in futures]
