"""What a sound system has to offer to be listened to; `meter.capture.live_source` drives it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from meter.capture.records import Frames, Look, SourceInfo

OnBlock = Callable[[Frames, float], None]
"""Takes the block, float32 (n, channels), and the time at which its first frame was captured, in
seconds of any steady clock (where the sound system tells no such time: of `time.monotonic` when the
block came, less its length). The block may be overwritten when the call has returned.
It never raises, waits or allocates an array, and keeps the interpreter's lock: call it from the
audio callback itself. Whoever reads in a loop of their own and comes late takes more at once:
another thread may keep the lock for 50 ms, and every call that gives it back (most of numpy above
500 elements) waits for it anew."""


class Backend(Protocol):
    """One source of a sound system, opened and closed again and again by one thread.

    All but `is_alive` are called from one thread, one after another; none of them may take
    longer than the time given: what can hang is run in a thread that can be abandoned.
    """

    def open(self) -> SourceInfo:
        """Find the source as it is now and open it; within 5 s.

        Returns
        -------
        SourceInfo
            With the rate and the channels that blocks will have.

        Raises
        ------
        SourceError
            One sentence: why not, and what to do.
        """
        ...

    def start(self, on_block: OnBlock) -> None:
        """Let blocks come; after `open`. Raises `SourceError` when it has gone meanwhile."""
        ...

    def close(self) -> None:
        """No block may come after this returned; within 2 s, never raises, also when never opened."""
        ...

    def is_alive(self) -> bool:
        """Whether the stream still runs, as far as it knows itself. Any thread; never waits."""
        ...

    def look(self) -> Look | None:
        """What the sound server says now; asked for every 0.5 s while open, so make it cheap.

        Returns
        -------
        Look or None
            None where there is no server to be asked.

        Raises
        ------
        SourceError
            The server does not answer; within 2 s.
        """
        ...
