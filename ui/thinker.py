"""Cuts passes and looks for findings in a thread of its own, a few times a second at most."""

from __future__ import annotations

import logging
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from meter.targets import Target
from meter.timeline import Timeline
from ui.memory import give_back

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meter.findings import Finder, Finding
    from meter.low_end.heard_findings import HeardFindings
    from meter.low_end.picture import Piece
    from meter.low_end.settings import LowEndSettings
    from meter.pass_cutter import ListedPass, PassCutter

LOG: Final = logging.getLogger("ui.session")

EVERY_S: Final = 0.5
IDLE_EVERY_S: Final = 30.0
STOP_WAIT_S: Final = 5.0

GIVE_BACK_EVERY_S: Final = 20.0
"""What was needed for a while goes back to the system so often; 10 ms of work, 20 MB of hours."""

STILL_S: Final = 2.0
"""When nothing has come for so long, because it is held or lost, the numbers are made exact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassLine:
    """A pass as the list shows it; `last_slot` is None while it goes on."""

    number: int
    first_slot: int
    last_slot: int | None
    text: str
    change: str = ""  # from the pass before it to this one, once it has ended


@dataclass(frozen=True, slots=True, kw_only=True)
class Thoughts:
    """What is known of the session: passes, the newest last, and findings."""

    passes: tuple[PassLine, ...] = ()
    findings: tuple[Finding, ...] = ()


class Thinker:
    """Looks at what is new in a timeline.

    Parameters
    ----------
    timeline : Timeline
    target : Target or None
        What findings are held against.
    low_end : callable, optional
        Gives the low end of all that was heard, in pieces; any thread may call it.

    Attributes
    ----------
    thoughts : Thoughts
        Rebound whenever they have changed; any thread may read it.
    """

    def __init__(
        self,
        timeline: Timeline,
        target: Target | None,
        *,
        low_end: Callable[[], Sequence[Piece]] = tuple,
    ) -> None:
        self.thoughts = Thoughts()
        self._low_end = low_end
        self._low_end_settings: LowEndSettings | None = None
        self._of_low_end: HeardFindings | None = None
        self._timeline = timeline
        self._wanted_target = target
        self._target: Any = _NONE_YET
        self._is_set = False
        self._cutter: PassCutter | None = None
        self._finder: Finder | None = None
        self._seen: tuple[object, ...] = ()
        self._summed = 0
        self._changes: dict[int, str] = {}
        self._suggested: tuple[Finding, ...] = ()
        self._every_s = EVERY_S
        self._gave_back_s = time.monotonic()
        self._has_news = threading.Event()
        self._must_end = False
        self._rested = threading.Event()  # the pause is over, before its time
        self._thread = threading.Thread(target=self._run, name="leadline findings", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self) -> None:
        """End; what was found stays."""
        self._must_end = True
        self._rested.set()
        self._has_news.set()
        if self._thread.is_alive():
            self._thread.join(STOP_WAIT_S)

    def wake(self) -> None:
        """There is something new; any thread, never waits."""
        self._has_news.set()

    def slow_down(self, on: bool) -> None:
        """Look seldom, or at once and as often as a reader wants."""
        was_slow, self._every_s = self._every_s != EVERY_S, IDLE_EVERY_S if on else EVERY_S
        if was_slow and not on:
            self._rested.set()
            self._has_news.set()

    def set_target(self, target: Target | None) -> None:
        """Look for what misses another target, from the beginning; any thread."""
        self._wanted_target = target
        self._has_news.set()

    def set_low_end(self, settings: LowEndSettings) -> None:
        """Judge the low end by these, what was heard already too; any thread."""
        self._low_end_settings = settings
        self._has_news.set()

    def make_set(self, on: bool) -> None:
        """From now on silence and gaps end no pass, or do again; any thread."""
        self._is_set = on
        self._has_news.set()

    def _run(self) -> None:
        has_failed = is_exact = False
        while not self._must_end:
            is_exact = not self._has_news.wait(None if is_exact else STILL_S)
            self._has_news.clear()
            try:
                self.think(exactly=is_exact)
            except Exception:
                if not has_failed:
                    LOG.exception("please report this: passes and findings are not up to date")
                has_failed = True
            self._rested.wait(self._every_s)
            if not self._must_end:
                self._rested.clear()

    def think(self, *, exactly: bool = False) -> None:
        """Take what is new, or make what is known exact. Called by the thread; by tests without one."""
        from meter.findings import Finder
        from meter.pass_cutter import PassCutter

        target, pieces = self._wanted_target, tuple(self._low_end())
        seen = self._timeline.slots, self._timeline.ended, pieces, self._low_end_settings
        is_behind = self._finder is not None and self._finder.is_behind
        if target is self._target and seen == self._seen and not is_behind and not exactly:
            return
        if self._cutter is None:
            self._cutter = PassCutter()
        self._cutter.is_set = self._is_set
        if self._finder is None or target is not self._target:
            self._finder = Finder(target, cutter=self._cutter)
        self._target, self._seen = target, seen
        self._finder.take(self._timeline)
        self._timeline.listed = tuple(one.first_slot for one in self._cutter.passes)
        self._sum_up(self._cutter.passes)
        found = Thoughts(
            passes=tuple(
                PassLine(
                    number=one.number,
                    first_slot=one.first_slot,
                    last_slot=one.last_slot,
                    text=one.one_line(exactly=exactly),
                    change=self._changes.get(one.number, ""),
                )
                for one in self._cutter.passes
            ),
            findings=(*self._finder.findings, *self._suggested, *self._look_low(pieces, exactly=exactly)),
        )
        if found != self.thoughts:
            self.thoughts = found
        if self._finder.is_behind:
            self._has_news.set()
        elif is_behind or time.monotonic() - self._gave_back_s >= GIVE_BACK_EVERY_S:
            give_back()  # what it took to catch up with hours, or to sum up passes, here and in the journal
            self._gave_back_s = time.monotonic()

    def _look_low(self, pieces: Sequence[Piece], *, exactly: bool) -> tuple[Finding, ...]:
        """What is found in the low end of the passes, once it is known."""
        if not pieces or self._cutter is None:
            return ()
        from meter.low_end.heard_findings import HeardFindings
        from meter.low_end.settings import LowEndSettings

        if self._of_low_end is None:
            self._of_low_end = HeardFindings()
        self._of_low_end.take(
            self._cutter.passes,
            self._timeline,
            {piece.ring_number: piece.low_end for piece in pieces},
            self._low_end_settings or LowEndSettings(),
            exactly=exactly,
        )
        return self._of_low_end.findings

    def _sum_up(self, passes: Sequence[ListedPass]) -> None:
        """Of each pass that has ended, once: what changed, and what may not belong to it."""
        from meter.pass_changes import changes_text

        while self._summed < len(passes) and passes[self._summed].last_slot is not None:
            at, self._summed = self._summed, self._summed + 1  # first: what fails once is not tried for ever
            one = passes[at]
            if at > 0:
                before = passes[at - 1].summary()
                self._changes[one.number] = changes_text(before, one.summary(), most=2)
            self._suggested += one.suggestions()


_NONE_YET: Final = object()
