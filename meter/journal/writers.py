"""Who writes a pass: so that one is known to be broken off as soon as the program that heard it is gone."""

from __future__ import annotations

import os
import socket
from functools import cache
from pathlib import Path


def this_writer() -> str:
    """Who is running here, as it is noted beside a pass: machine, process, and when that began."""
    number = os.getpid()
    return f"{_machine()} {number} {_began(number)}"


def is_running(writer: str | None) -> bool | None:
    """Whether a program that writes is there still; None where that cannot be told.

    Parameters
    ----------
    writer : str or None
        From `this_writer`, of this machine or another.
    """
    machine, number, began = (writer or "").split(" ") if writer and writer.count(" ") == 2 else ("", "", "")
    # On Windows, asking a process whether it is there can end it.
    if machine != _machine() or not number.isdecimal() or os.name != "posix":
        return None
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True  # another user's
    except (OSError, OverflowError):
        return None
    return _began(int(number)) == began


@cache
def _machine() -> str:
    return "_".join(socket.gethostname().split()) or "machine"


def _began(number: int) -> str:
    """When a process began, in the ticks of Linux: numbers are given anew. "-" where that is not known."""
    try:
        # Field 22, behind the name in parentheses. proc(5).
        return Path(f"/proc/{number}/stat").read_text("utf-8", "replace").rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return "-"
