"""How the C library keeps memory for the program's threads."""

from __future__ import annotations

import ctypes
import sys
from typing import Final

M_ARENA_MAX: Final = -8
"""Parameter of mallopt(3), glibc."""


def use_one_arena() -> None:
    """Let all threads take memory from one place, from which what is freed goes back to the system.

    Otherwise glibc gives each thread a place of its own and holds the top of it for good: 25 MB after the
    demo tune was made. Elsewhere nothing is done. Call it before there are threads.
    """
    if sys.platform.startswith("linux"):
        mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
        if mallopt is not None:
            mallopt(M_ARENA_MAX, 1)
