"""What is said of a source when it is not simply running, or has not been until just now."""

from __future__ import annotations

from typing import Final

from meter.capture.records import SourceInfo
from meter.soundings import as_text_time

NOTICE_S: Final = 8.0
"""How long it is said what happened after all is well again."""


def seconds_text(seconds: float) -> str:
    """A length for people: "0.4 s", "12 s", or "2:05.0 min" from a minute on."""
    unit = "min" if seconds < 3599.95 else "h"
    return f"{seconds:.1f} s" if seconds < 59.95 else f"{as_text_time(seconds)} {unit}"


def gone(info: SourceInfo) -> str:
    """Its stream has ended."""
    return f"{info.name} has gone; listening goes on when it is back"


def cannot(error: str) -> str:
    """It cannot be opened again, for now."""
    return f"{error}; Leadline tries again by itself"


def quiet(info: SourceInfo) -> str:
    """Nothing comes, though the server answers."""
    return f"nothing comes from {info.name}, not even silence; listening goes on when something does"


def no_answer() -> str:
    """Nothing comes, and the server does not answer."""
    return "the sound system does not answer; listening goes on when it does"


def moved(info: SourceInfo) -> str:
    """What is meant is something else now."""
    return f"the sound has moved away from {info.name}; listening follows it"


def reformed(info: SourceInfo) -> str:
    """It runs in another form now."""
    return f"{info.name} now runs at {_form(info)}; it is opened anew"


def _form(info: SourceInfo) -> str:
    count = "1 channel" if info.channels == 1 else f"{info.channels} channels"
    return f"{info.rate_hz} Hz with {count}"


def changed(before: SourceInfo, after: SourceInfo) -> str:
    """It was opened again: what is another now, or that it is back."""
    is_new_format = (before.rate_hz, before.channels) != (after.rate_hz, after.channels)
    if before.name != after.name:
        text = f"now listening to {after.name}"
        return f"{text} at {_form(after)}; measuring starts anew" if is_new_format else text
    return f"{after.name} now runs at {_form(after)}; measuring starts anew" if is_new_format else back(after)


def back(info: SourceInfo) -> str:
    """It was lost and is heard again."""
    return f"{info.name} is back"


class Notices:
    """The sentence that stays for a while after something happened, with what was lost by it."""

    def __init__(self) -> None:
        self._head: str | None = None
        self._until_s = 0.0
        self._lost_before_s = 0.0  # when the notice began
        self._lost_s = 0.0
        self._slept_s = 0.0

    def happened(self, head: str, now_s: float) -> None:
        """Begin to say something; what is lost from now on belongs to it, and what nothing has told yet."""
        if now_s >= self._until_s:
            self._lost_before_s = self._lost_s
        self._head, self._until_s = head, now_s + NOTICE_S

    def sentence(self, now_s: float, *, lost_s: float, slept_s: float) -> str | None:
        """What is to be said now.

        Parameters
        ----------
        now_s : float
        lost_s, slept_s : float
            Sums since the start: of all that was lost, and of the computer's sleep.
        """
        if slept_s > self._slept_s:
            self.happened(f"the computer slept for {seconds_text(slept_s - self._slept_s)}", now_s)
            self._slept_s = slept_s
        elif lost_s > self._lost_s:
            if now_s >= self._until_s:
                self._head = None
                self._lost_before_s = self._lost_s
            self._until_s = now_s + NOTICE_S
        self._lost_s = lost_s
        if now_s >= self._until_s:
            return None
        lost = lost_s - self._lost_before_s
        if self._head is None:
            return (
                f"{seconds_text(lost)} of sound came too late to be kept; "
                "close what keeps the computer busy if it comes again"
            )
        return f"{self._head}; {seconds_text(lost)} were lost" if lost >= 0.05 else self._head
