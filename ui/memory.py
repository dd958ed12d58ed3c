"""How memory is kept: by the C library for the program's threads, and by the interpreter."""

from __future__ import annotations

import ctypes
import gc
import sys
from typing import Final

M_ARENA_MAX: Final = -8
"""Parameter of mallopt(3), glibc."""


def use_one_arena() -> None:
    """Let all threads take memory from one place, from which what is freed goes back to the system.

    Otherwise glibc gives each thread a place of its own and holds the top of it for good: 25 MB after the
    demo tune was made. Elsewhere nothing is done. Call it before there are threads.
    """
    _call("mallopt", M_ARENA_MAX, 1)


def give_back() -> None:
    """Let what was freed go back to the system now; takes some milliseconds."""
    _call("malloc_trim", 0)


def leave_what_stays() -> None:
    """Let the interpreter look for rings of dead objects only among those that come from now on.

    What the program is made of stays until its end: to walk through all of it takes 23 ms, in which nothing
    is painted and no sounding comes.
    """
    gc.freeze()


def _call(name: str, *arguments: int) -> None:
    if sys.platform.startswith("linux"):
        function = getattr(ctypes.CDLL(None), name, None)
        if function is not None:
            function(*arguments)
