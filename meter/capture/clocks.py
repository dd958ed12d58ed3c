"""Time that passes while the computer sleeps too, and how long it has slept.

`time.monotonic` stands still while Linux and macOS sleep; what was lost meanwhile is counted by
a clock that does not.
"""

from __future__ import annotations

import sys
import time
from typing import Protocol


class Clock(Protocol):
    """Two times in seconds; any thread, never waits."""

    def now_s(self) -> float:
        """Steady time, sleep of the computer included."""
        ...

    def asleep_s(self) -> float:
        """How long the computer has slept so far, since any moment; 0 where that is not known."""
        ...


class SystemClock:
    """The clock of this machine.

    Source
    ------
    clock_gettime(2): CLOCK_BOOTTIME "also includes any time that the system is suspended". macOS:
    CLOCK_MONOTONIC goes on while the computer sleeps, CLOCK_UPTIME_RAW does not; Windows: the performance
    counter goes on (both from memory, not tried).
    """

    if sys.platform == "linux":

        def now_s(self) -> float:
            """Steady time, sleep of the computer included."""
            return time.clock_gettime(time.CLOCK_BOOTTIME)

        def asleep_s(self) -> float:
            """How long the computer has slept since it started."""
            # In this order: a stall between the two calls makes the result smaller, never larger.
            return time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC)

    elif sys.platform == "darwin":

        def now_s(self) -> float:
            """Steady time, sleep of the computer included."""
            return time.clock_gettime(time.CLOCK_MONOTONIC)

        def asleep_s(self) -> float:
            """How long the computer has slept since it started."""
            return time.clock_gettime(time.CLOCK_MONOTONIC) - time.clock_gettime(time.CLOCK_UPTIME_RAW)

    else:

        def now_s(self) -> float:
            """Steady time, sleep of the computer included."""
            return time.perf_counter()

        def asleep_s(self) -> float:
            """Not known here: sleep shows as a gap in time, like any other stall."""
            return 0.0
