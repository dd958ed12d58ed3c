"""Decoding beside measuring: a thread that reads some blocks ahead.

Worth it for compressed files, whose decoding costs up to half of what measuring does, and
which gives the interpreter free meanwhile.
"""

from __future__ import annotations

import threading
from collections.abc import Generator, Iterator
from queue import Full, Queue
from typing import Final

from meter.units import Samples

DEPTH_BLOCKS: Final = 4
"""How many blocks may wait: memory stays bounded whatever is slower."""

LOOK_S: Final = 0.1
"""How often a waiting reader looks whether anybody still wants its blocks."""


def read_ahead(
    blocks: Iterator[Samples], *, depth_blocks: int = DEPTH_BLOCKS
) -> Generator[Samples, None, None]:
    """The same blocks, each in memory of its own, read in a thread of their own.

    The thread ends with the blocks, with an error, which is raised here in its place, or when
    the generator is closed, which waits for it.

    Parameters
    ----------
    blocks : iterator of arrays
        It belongs to the thread until that has ended.
    depth_blocks : int, >= 1
        How far to read ahead.
    """
    queue: Queue[Samples | BaseException | None] = Queue(depth_blocks)
    unwanted = threading.Event()

    def put(item: Samples | BaseException | None) -> None:
        while not unwanted.is_set():
            try:
                queue.put(item, timeout=LOOK_S)
                return
            except Full:
                continue

    def read() -> None:
        try:
            for block in blocks:
                put(block.copy())
                if unwanted.is_set():
                    return
            put(None)
        except BaseException as error:  # raised where somebody can act on it
            put(error)

    thread = threading.Thread(target=read, name="read ahead", daemon=True)
    thread.start()
    try:
        while True:
            item = queue.get()
            if item is None:
                return
            if isinstance(item, BaseException):
                raise item
            yield item
    finally:
        unwanted.set()
        thread.join()
