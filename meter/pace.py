"""When to look for frames again: right behind the deliveries, and only when there is something new to say.

Every look costs: after 50 ms of sleep and more a processor has forgotten what it was about (measured: the
same few lines take ten times as long as in a loop). So there is one for each sounding, and looks are not put
at a distance from each other, where what delays one delays all that follow, but on a line of their own that
follows the deliveries: a little earlier each time, and later when what was due had not come.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

EARLIER_S: Final = 0.0002
"""Each time; so that lateness that is over is given up, in some seconds."""

SOON_S: Final = 0.008
"""It was due and has not come, or only a part: it is on its way."""

IDLE_S: Final = 0.025
"""Nor is it here after that: deliveries are long, or there are none."""

LONGEST_S: Final = 0.110


class Pace:
    """The line of looks; one thread.

    Parameters
    ----------
    now_s : callable
        A steady time in seconds.
    """

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        self._now_s = now_s
        self._due_s = -1.0
        self._is_late = False

    def wait_s(self, wanted_s: float, *, is_met: bool) -> float:
        """Seconds until the next look.

        Parameters
        ----------
        wanted_s : float
            Sound that is missing until there is something new to say.
        is_met : bool
            Whether the look that was just taken found what it was taken for.
        """
        now_s = self._now_s()
        if is_met:
            due_s = self._due_s + wanted_s - EARLIER_S
            if not now_s < due_s <= now_s + LONGEST_S:  # at the start, and after a stall
                due_s = now_s + min(wanted_s, LONGEST_S)
        else:
            due_s = now_s + (IDLE_S if self._is_late else SOON_S)
        self._is_late = not is_met
        self._due_s = due_s
        return due_s - now_s
