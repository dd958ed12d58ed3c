"""Writes what is heard live into the journal, from a thread of its own.

The engine only puts its soundings into a queue. A commit a second: a kill loses at most 2 s. What
cannot be written waits in memory and is tried again, and it is said once why.
"""

from __future__ import annotations

import logging
import queue
import sqlite3
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np

from meter.errors import MeterError
from meter.journal.closing import Closer, left_open
from meter.journal.coarser import due
from meter.journal.cutting import Cutter, Piece
from meter.journal.opening import journal_path, set_aside
from meter.journal.problems import DAMAGED, kind_of
from meter.journal.records import HELD, LOST, KeptFinding, KeptGap, PassStart
from meter.journal.replay import findings_in
from meter.journal.store import Journal, open_journal
from meter.journal.writers import this_writer
from meter.live_pass import LivePass
from meter.soundings import SOUNDINGS_A_SECOND, Soundings, empty_soundings
from meter.targets import Target

LOG: Final = logging.getLogger("meter.journal")

COMMIT_S: Final = 1.0
TOUCH_S: Final = 4.0
"""A pass to which nothing comes is touched so often, so that nobody takes it for one that was broken off."""

PATIENCE_S: Final = 0.5
"""Another program that writes is waited for no longer at once; it is tried again later."""

LAST_TRIES_S: Final = 5.0
"""At the end it is tried for so long."""

LONGEST_PAUSE: Final = 30
"""A journal that cannot be written is tried ever more seldom, at last after so many times `COMMIT_S`."""

STOP_WAIT_S: Final = 30.0
"""A disk that does not answer holds nobody up for longer than this at the end."""

MOST_WAITING_ROWS: Final = 6 * 3600 * SOUNDINGS_A_SECOND
"""Soundings that wait in memory for a journal that cannot be written: six hours, 35 MB."""


@dataclass(slots=True)
class _Waiting:
    """Soundings of one pass that were not written yet; with `start` the pass begins with them."""

    start: PassStart | None
    parts: list[Soundings] = field(default_factory=list)
    withheld_rows: int = 0
    gaps: list[KeptGap] = field(default_factory=list)
    becomes_set: bool = False
    ends: bool = False


@dataclass(frozen=True, slots=True)
class _News:
    """Soundings from the engine; rows of None: the pass has ended."""

    live_pass: LivePass
    rows: Soundings | None
    is_withheld: bool
    gaps: tuple[KeptGap, ...] = ()


@dataclass(frozen=True, slots=True)
class _Seen:
    """What was told of a pass: soundings without a verdict, what was lost, what was held."""

    live_pass: LivePass | None = None
    withheld_rows: int = 0
    gaps: int = 0
    holds: int = 0


class JournalWriter:
    """Keeps what an engine hears from the system or a device.

    Files and the demo can be measured again, and are kept only when that is asked for.

    Parameters
    ----------
    folder : Path, optional
        Of the journal; that of the settings unless given.
    target : Target, optional
        What findings are held against.
    on_problem : callable, optional
        Called from the writer's thread with one sentence when the journal cannot be written, once,
        and when it is written again.
    is_set : bool
        All that is heard is one pass, which neither silence nor a gap ends.
    keeps_all : bool
        Keep also what a file or the demo brings.
    """

    def __init__(
        self,
        folder: Path | None = None,
        *,
        target: Target | None = None,
        on_problem: Callable[[str], None] | None = None,
        is_set: bool = False,
        keeps_all: bool = False,
    ) -> None:
        self._folder, self.target, self._on_problem = folder, target, on_problem
        self._news: queue.SimpleQueue[_News | bool | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="leadline journal", daemon=True)
        self._has_end = threading.Event()  # the end has been put into the queue
        self._must_end = False
        self._seen = _Seen()  # the engine's thread only
        # All below belongs to the writer's thread.
        self._is_set, self._keeps_all = is_set, keeps_all
        self._closer = Closer(folder, lambda one: self._findings_in(one), lambda text: self._tell(text))
        self._touched_s = time.monotonic()
        self._journal: Journal | None = None
        self._live_pass: LivePass | None = None
        self._cutter: Cutter | None = None
        self._waiting: list[_Waiting] = []
        self._waiting_rows = 0
        self._pause_s = COMMIT_S
        self._number: int | None = None  # of the pass that is being written
        self._start: PassStart | None = None  # of the same
        self._first_frame = 0
        self._is_broken = False
        self._dropped_rows = 0
        self._problem: str | None = None

    # --- the engine's thread

    def take(self, rows: Soundings, live_pass: LivePass) -> None:
        """New soundings, which are in the pass already. Never waits, never fails."""
        if not (live_pass.info.is_live or self._keeps_all):
            return
        before, gaps = self._new_gaps(live_pass)
        if self._is_broken:
            self._dropped_rows += len(rows)
            return
        self._news.put(_News(live_pass, rows.copy(), live_pass.withheld_rows > before.withheld_rows, gaps))

    def end_pass(self, live_pass: LivePass) -> None:
        """The pass has ended. Never waits, never fails."""
        if live_pass.info.is_live or self._keeps_all:
            self._news.put(_News(live_pass, None, False, self._new_gaps(live_pass)[1]))

    def _new_gaps(self, live_pass: LivePass) -> tuple[_Seen, tuple[KeptGap, ...]]:
        """What was told before, and what was lost and held since."""
        before = self._seen if self._seen.live_pass is live_pass else _Seen(live_pass)
        gaps, holds = live_pass.gaps[before.gaps :], live_pass.holds[before.holds :]
        self._seen = _Seen(
            live_pass, live_pass.withheld_rows, before.gaps + len(gaps), before.holds + len(holds)
        )
        kinds = [(LOST, gap) for gap in gaps] + [(HELD, hold) for hold in holds]
        return before, tuple(KeptGap(at_s=gap.at_s, frames=gap.frames, kind=kind) for kind, gap in kinds)

    # --- anybody

    def make_set(self, on: bool) -> None:
        """From now on silence and gaps end no pass, or do again; never waits."""
        self._news.put(on)

    # --- whoever started it

    def start(self) -> None:
        """Begin to write."""
        self._thread.start()

    def stop(self) -> str | None:
        """Write what is there and end; call when the engine has stopped.

        Returns
        -------
        str or None
            One sentence on what could not be written.
        """
        self._news.put(None)
        self._has_end.set()
        self._thread.join(STOP_WAIT_S)
        if self._thread.is_alive():
            LOG.error("the journal's writer did not end within %g s; it is left behind", STOP_WAIT_S)
            return f"{journal_path(self._folder)}: the disk does not answer; the end may be missing there"
        if self._is_broken:
            return f"some of what was heard is not in the journal: {self._problem}"
        lost_s = self.unwritten_rows / SOUNDINGS_A_SECOND
        if lost_s == 0.0:
            return None
        return f"{lost_s:.1f} s of what was heard are not in the journal: {self._problem}"

    @property
    def problem(self) -> str | None:
        """Why nothing can be written now, one sentence; None while all is well."""
        return self._problem

    @property
    def unwritten_rows(self) -> int:
        """Soundings that wait for the journal, and those for which there was no room any more."""
        return self._waiting_rows + self._dropped_rows

    # --- the writer's thread

    def _run(self) -> None:
        try:
            self._try(self._begin)
            while not self._must_end:
                self._gather(self._pause_s)
                self._write()
            until_s = time.monotonic() + LAST_TRIES_S
            while self._waiting and time.monotonic() < until_s:
                time.sleep(0.1)
                self._write()
            self._closer.stop(STOP_WAIT_S / 2)
        except Exception as error:
            self._is_broken = True
            LOG.critical("please report this: the journal's writer broke off", exc_info=error)
            self._say(f"the journal is not written any more ({error}); please report it with the log")
        finally:
            self._close()

    def _gather(self, seconds: float) -> None:
        """Take what has come in so long; a thread that wakes for every sounding costs twice as much."""
        self._has_end.wait(seconds)
        for _ in range(self._news.qsize()):  # not what comes meanwhile: it may never end
            news = self._news.get()
            if news is None:
                self._cut(None)
                self._must_end = True
                return
            if isinstance(news, bool):
                self._make_set(news)
            else:
                self._take_news(news)

    def _take_news(self, news: _News) -> None:
        if news.live_pass is not self._live_pass:
            self._cut(news.live_pass)
        cutter = self._cutter
        assert cutter is not None
        if news.rows is not None:
            self._keep(cutter.take(news.rows, is_withheld=news.is_withheld))
        if cutter.is_open:
            first_s = self._first_frame / news.live_pass.rate_hz
            gaps = [replace(gap, at_s=gap.at_s - first_s) for gap in news.gaps]
            self._open_waiting().gaps += [gap for gap in gaps if gap.at_s > 0.0]
        if news.rows is None:
            self._cut(None)

    def _make_set(self, on: bool) -> None:
        self._is_set = on
        if self._cutter is not None:
            self._cutter.is_set = on
            if on and self._cutter.is_open:
                self._open_waiting().becomes_set = True

    def _open_waiting(self) -> _Waiting:
        """Where what belongs to the open pass waits."""
        if not self._waiting or self._waiting[-1].ends:
            self._waiting.append(_Waiting(None))
        return self._waiting[-1]

    def _cut(self, next_pass: LivePass | None) -> None:
        """The live pass is over."""
        if self._cutter is not None:
            self._keep(self._cutter.end())
        self._live_pass = next_pass
        self._cutter = None if next_pass is None else Cutter(next_pass.weights, is_set=self._is_set)

    def _keep(self, pieces: list[Piece]) -> None:
        """Remember what is to be written, with frames that count from the beginning of each pass."""
        for piece in pieces:
            rows, start = piece.rows, None
            if piece.begins:
                assert self._live_pass is not None
                self._first_frame = int(rows["start_frame"][0])
                start = _start_of(self._live_pass, self._first_frame, is_set=self._is_set)
            if self._waiting_rows + len(rows) > MOST_WAITING_ROWS:
                self._dropped_rows += len(rows)
                rows = empty_soundings()
            rows["start_frame"] -= self._first_frame
            self._waiting_rows += len(rows)
            if start is not None:
                self._waiting.append(_Waiting(start))
            last = self._open_waiting()
            last.parts.append(rows)
            last.withheld_rows += piece.withheld_rows
            last.ends = piece.ends

    def _write(self) -> None:
        if not self._waiting:
            self._touch()
            return
        if self._try(self._write_waiting):
            self._pause_s = COMMIT_S
            self._say(None)
        else:
            self._pause_s = min(2.0 * self._pause_s, LONGEST_PAUSE * COMMIT_S)

    def _try(self, work: Callable[[], None]) -> bool:
        """Whether it could be done; where not, why is said, and the journal is opened anew next time."""
        try:
            work()
        except MeterError as error:  # of the journal, or of the folder that is to hold it
            self._say(str(error))
            self._close()
            if isinstance(error.__cause__, sqlite3.Error) and kind_of(error.__cause__) in DAMAGED:
                self._set_aside()
            return False
        return True

    def _set_aside(self) -> None:
        """The journal is damaged inside; another one is begun, and the pass goes on in it."""
        path = journal_path(self._folder)
        try:
            self._tell(f"{path}: the journal is damaged; it is kept as {set_aside(path).name}")
        except OSError as error:
            self._tell(f"{path}: the journal is damaged and cannot be given another name ({error})")
        self._number = None

    def _open(self) -> Journal:
        self._journal = open_journal(self._folder, patience_s=PATIENCE_S)
        for note in self._journal.notes:
            self._tell(note)
        return self._journal

    def _begin(self) -> None:
        journal = self._open()
        if left_open(journal) or due(journal):
            self._closer.wake()

    def _touch(self) -> None:
        """Let others see that a pass to which nothing comes is heard still."""
        if self._number is None or time.monotonic() - self._touched_s < TOUCH_S:
            return
        self._touched_s = time.monotonic()
        number = self._number
        self._try(lambda: (self._journal or self._open()).touch(number))

    def _write_waiting(self) -> None:
        journal = self._journal or self._open()
        number, start, has_ended = self._number, self._start, False
        with journal.change():
            for one in self._waiting:
                if one.start is not None:
                    number, start = None, one.start
                assert start is not None, "a pass begins with its first piece"
                if one.becomes_set:
                    start = replace(start, is_set=True)
                if number is None or not journal.has_pass(number):
                    number = journal.begin_pass(start, writer=this_writer())
                elif one.becomes_set:
                    journal.mark_set(number)
                rows = np.concatenate([empty_soundings(), *one.parts])
                journal.add_rows(number, rows, withheld_rows=one.withheld_rows, gaps=one.gaps)
                if one.ends:
                    journal.mark_ended(number)
                    number, has_ended = None, True
        self._number, self._start = number, start
        self._waiting, self._waiting_rows = [], 0
        self._touched_s = time.monotonic()
        if has_ended:
            self._closer.wake()

    def _findings_in(self, live_pass: LivePass) -> tuple[KeptFinding, ...]:
        try:
            return findings_in(live_pass, self.target)
        except Exception:
            LOG.exception("please report this: the findings of pass %d are missing", live_pass.number)
            return ()

    def _close(self) -> None:
        if self._journal is not None:
            self._journal.close()
            self._journal = None

    def _say(self, problem: str | None) -> None:
        """Say why it does not go on, or that it does again; each once."""
        before, self._problem = self._problem, problem
        if (problem is None) == (before is None):
            if problem != before:
                LOG.info("%s", problem)  # said already: once is enough, whatever else comes of it
            return
        again = "the journal is written again; what was heard meanwhile is in it"
        self._tell(again if problem is None else problem)

    def _tell(self, text: str) -> None:
        if self._on_problem is None:
            LOG.warning("%s", text)
        else:
            LOG.info("%s", text)  # a warning without a log would be printed, and said twice
            self._on_problem(text)


def _start_of(live_pass: LivePass, first_frame: int, *, is_set: bool) -> PassStart:
    return PassStart(
        began_unix_s=live_pass.began_unix_s + first_frame / live_pass.rate_hz,
        spec=live_pass.info.spec,
        name=live_pass.info.name,
        rate_hz=live_pass.rate_hz,
        channels=live_pass.channels,
        weights=live_pass.weights,
        crossover_hz=live_pass.crossover_hz,
        over_limit_dbtp=live_pass.over_limit_dbtp,
        is_set=is_set,
    )
