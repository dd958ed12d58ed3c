"""Keeps what sound libraries print to themselves off the user's standard error.

ALSA, JACK and PortAudio write to file descriptor 2 when something does not open, past
anything Python could catch. While they are at it the descriptor leads to a temporary file; what
others wrote meanwhile is passed on afterwards, theirs is not: a sentence of ours says it better.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

STANDARD_ERROR: Final = 2

NOISE: Final = re.compile(
    r"ALSA lib |Expression '|PaAlsa|Cannot connect to server |Cannot lock down |Cannot read socket fd|"
    r"jack server is not running|connect\(2\) call to /|attempt to connect to server failed|"
    r"Failed to connect to server|CheckRes error|Jack(Shm|Socket|Client|MessageBuffer)|\s*$"
)
"""How lines begin that sound libraries print."""


@contextmanager
def kept_quiet() -> Iterator[None]:
    """For the time of a short call; not for two threads at once."""
    try:
        real = os.dup(STANDARD_ERROR)
    except OSError:  # there is no standard error, as in a program without a terminal
        yield
        return
    with tempfile.TemporaryFile() as aside:
        os.dup2(aside.fileno(), STANDARD_ERROR)
        try:
            yield
        finally:
            os.dup2(real, STANDARD_ERROR)
            os.close(real)
            aside.seek(0)
            _pass_on(aside.read())


def _pass_on(written: bytes) -> None:
    for line in written.splitlines(keepends=True):
        if not NOISE.match(line.decode("utf-8", "replace")):
            os.write(STANDARD_ERROR, line)
