"""One run of `leadline listen`: the engine, what is shown of it, and its end.

All output is written by the main thread. A terminal or a pipe that takes its time never holds up
the engine: what it found waits in a queue.
"""

from __future__ import annotations

import queue
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Protocol

from meter.capture.records import SourceStatus
from meter.capture.source import Source
from meter.check import Checked
from meter.check_json import as_line
from meter.check_text import block as summary_block
from meter.console import say
from meter.engine import Engine
from meter.errors import SourceError
from meter.journal.writer import JournalWriter
from meter.live_json import sounding_object, summary_object
from meter.live_pass import LivePass
from meter.live_summary import heard, with_low_end
from meter.live_text import block, line
from meter.low_end.live import LiveLowEnd
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.now import Now
from meter.screen import Screen, can_redraw, fit, size_of
from meter.sentence import sentence
from meter.sentence_kinds import Keeper, Sentence
from meter.set_settings import SetSettings
from meter.set_watch import SetNow, SetWatch
from meter.set_words import end_text, set_line, set_object
from meter.soundings import Soundings
from meter.targets import Target

if TYPE_CHECKING:
    from meter.exposure.live import LiveEar
    from meter.second_screen.server import SecondScreen

REDRAW_S: Final = 0.25
LINE_S: Final = 1.0
"""Where nothing can be redrawn."""

LATE_S: Final = 1.0
"""A source that is lost when the time is over is waited for no longer than this."""

OPENING_S: Final = 60.0
"""The same of a source from which nothing has come yet."""

MOST_WAITING: Final = 6000
"""Soundings kept for a reader of the output that does not read: ten minutes."""


class Hearer(Protocol):
    """Makes what follows the level at the ear, for an engine that has started."""

    def __call__(self, engine: Engine, *, on_problem: Callable[[str], None]) -> LiveEar:
        """`on_problem` gets one sentence when nothing can be kept."""


class ScreenMaker(Protocol):
    """Makes the second screen."""

    def __call__(self, *, look: Callable[[], Now], on_problem: Callable[[str], None]) -> SecondScreen:
        """`look` tells what is known now; `on_problem` gets one sentence when it breaks off."""


class Stop:
    """The wish to stop, in the queue of news."""


class Listening:
    """Listens until the source or the time ends, or somebody stops it.

    Parameters
    ----------
    source : Source
        Not started.
    target, pair, crossover_hz, seconds
        As the user said.
    as_json : bool
        Objects instead of text.
    keeps : bool
        Whether what is heard goes into the journal.
    of_set : SetSettings, optional
        It is a set: told as one, and kept as one pass, which silence and gaps do not end, wherever it comes
        from.
    low_end : LowEndSettings, optional
        Look for notes, kicks and what mono does to them, in a thread of its own.
    hearer : callable, optional
        Makes what follows the level at the ear.
    second_screen : callable, optional
        Makes a page for a phone; what it shows is told as of a set.
    """

    def __init__(
        self,
        source: Source,
        *,
        target: Target | None = None,
        pair: tuple[int, int] | None = None,
        crossover_hz: float = 120.0,
        seconds: float | None = None,
        as_json: bool = False,
        keeps: bool = False,
        of_set: SetSettings | None = None,
        low_end: LowEndSettings | None = None,
        hearer: Hearer | None = None,
        second_screen: ScreenMaker | None = None,
    ) -> None:
        self._low_end_settings = low_end
        self._low_end: LiveLowEnd | None = None
        self._hearer = hearer
        self._ear: LiveEar | None = None
        self._target, self._pair, self._seconds = target, pair, seconds
        # Its `put` may be called from a signal handler.
        self._news: queue.SimpleQueue[Now | LivePass | str | type[Stop]] = queue.SimpleQueue()
        is_set = of_set is not None
        self._is_set = is_set
        self._watch = SetWatch() if is_set or second_screen is not None else None
        self._keeper = (
            JournalWriter(target=target, on_problem=self._news.put, is_set=is_set, keeps_all=is_set)
            if keeps
            else None
        )
        self._is_json = as_json
        self._engine = Engine(
            source,
            target=target,
            crossover_hz=crossover_hz,
            seconds=seconds,
            on_soundings=self._put_sounding if as_json or keeps or self._watch is not None else None,
            on_pass=self._put_pass,
            on_end=lambda now: self._news.put(Stop),
        )
        self._unwritten = 0
        self._passes = 0
        self._is_asked_to_stop = False
        self._form: _Json | _Lines | _Block = _Json() if as_json else _form_of_text(of_set)
        self._second_screen = (
            None
            if second_screen is None
            else second_screen(look=self._now_of_set, on_problem=self._news.put)
        )

    def run(self) -> int:
        """Listen.

        Returns
        -------
        int
            0.

        Raises
        ------
        MeterError
            The source cannot be opened, what it brings cannot be measured, or nothing was heard.
        """
        with _stopped_by_signals(self._ask_to_stop):
            self._engine.start()
            if self._low_end_settings is not None:
                self._low_end = LiveLowEnd(self._engine, self._low_end_settings)
                self._low_end.start()
            if self._keeper is not None:
                self._keeper.start()
            self._start_ear()
            self._start_second_screen()
            try:
                self._last = self._engine.now
                self._follow()
            finally:
                self._engine.stop()
                if self._low_end is not None:
                    self._low_end.stop()
                if self._ear is not None:
                    self._ear.stop()
                if self._second_screen is not None:
                    self._second_screen.stop()
                unkept = None if self._keeper is None else self._keeper.stop()
            self._show_rest()
            self._form.show_ear_at_the_end()
            if unkept is not None:
                say(unkept, sys.stderr)
        if self._engine.failure is not None:
            raise self._engine.failure
        if self._passes == 0:
            return self._say_nothing_was_heard()
        return 0

    def _start_ear(self) -> None:
        if self._hearer is not None:
            self._ear = self._hearer(self._engine, on_problem=self._news.put)
            self._ear.start()
            self._form.ear = self._ear

    def _start_second_screen(self) -> None:
        if self._second_screen is not None:
            self._second_screen.start()
            say(self._second_screen.announcement, sys.stderr)

    def _follow(self) -> None:
        started_s = time.monotonic()
        while True:
            # Shown before anything else: what is wrong with the source is said, however late it is.
            self._last = self._now()
            self._form.show(self._last)
            if self._is_overdue(time.monotonic() - started_s):
                break
            try:
                news = self._news.get(timeout=REDRAW_S)
            except queue.Empty:
                news = None
            if news is Stop:
                return
            self._take(news)
        say(f"the time is over: {sentence(self._last).text}", sys.stderr)

    def _now(self) -> Now:
        """What is known now, and of a set what is known of it."""
        return self._now_of_set() if self._is_set else self._engine.now

    def _now_of_set(self) -> Now:
        """The same with what is watched; any thread, since both are records that are only rebound."""
        now = self._engine.now
        return now if self._watch is None else replace(now, of_set=self._watch.look(has_ended=now.has_ended))

    def _take(self, news: Now | LivePass | str | type[Stop] | None) -> None:
        if isinstance(news, LivePass):
            self._passes += 1
            state = self._engine.now.state
            # A file that has ended tells what was wrong with it.
            note = state.sentence if state.status is SourceStatus.ENDED else None
            made = heard(news, target=self._target, pair=self._pair, note=note)
            if self._low_end is not None and self._low_end_settings is not None:
                made = with_low_end(made, self._low_end.take_ended(), self._low_end_settings)
            self._form.show_pass(made, news, self._now().of_set)
        elif isinstance(news, Now):
            self._form.show_sounding(news, None if self._low_end is None else self._low_end.now)
        elif isinstance(news, str):
            self._form.leave()
            say(news, sys.stderr)

    def _show_rest(self) -> None:
        """What came while the engine was stopped; above all the last pass."""
        while True:
            try:
                self._take(self._news.get_nowait())
            except queue.Empty:
                break
        self._form.leave()
        if self._unwritten:
            say(f"{self._unwritten} soundings were not written: nobody read them in time", sys.stderr)

    def _say_nothing_was_heard(self) -> int:
        now = self._last
        why = "no sound came" if now.state.status is SourceStatus.RUNNING else sentence(now).text
        if not self._is_asked_to_stop:
            raise SourceError(f"nothing was heard from {now.state.info.name}: {why}")
        say(f"nothing was heard: {why}", sys.stderr)
        return 0

    def _is_overdue(self, elapsed_s: float) -> bool:
        """Whether the time that was asked for is over although so much sound has not come."""
        if self._seconds is None:
            return False
        status = self._engine.now.state.status
        late_s = {SourceStatus.LOST: LATE_S, SourceStatus.OPENING: OPENING_S}.get(status)
        return late_s is not None and elapsed_s > self._seconds + late_s

    # --- called from other places than the main thread's loop

    def _put_sounding(self, rows: Soundings) -> None:
        live_pass = self._engine.live_pass
        if live_pass is not None and self._keeper is not None:
            self._keeper.take(rows, live_pass)
        if live_pass is not None and self._watch is not None:
            self._watch.take(rows, live_pass)
        if not self._is_json:
            return
        if self._news.qsize() >= MOST_WAITING:
            self._unwritten += 1
        else:
            self._news.put(self._engine.now)

    def _put_pass(self, live_pass: LivePass) -> None:
        if self._keeper is not None:
            self._keeper.end_pass(live_pass)
        self._news.put(live_pass)

    def _ask_to_stop(self) -> None:
        self._is_asked_to_stop = True
        self._news.put(Stop)


@contextmanager
def _stopped_by_signals(stop: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C and the wish to terminate end the listening; a second Ctrl-C ends the program."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(number: int, frame: Any) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        stop()

    before = {number: signal.signal(number, handle) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


# --- three ways of showing it


def _form_of_text(of_set: SetSettings | None = None) -> _Lines | _Block:
    return _Block(of_set) if can_redraw(sys.stdout) else _Lines(of_set)


class _Text:
    """What both forms of text have in common."""

    ear: LiveEar | None = None

    def __init__(self, of_set: SetSettings | None = None) -> None:
        self._keeper = Keeper()
        self._of_set = of_set

    def _more_lines(self, now: Now, said: Sentence) -> list[str]:
        """What is known of the set beside what is said, and what the ears have."""
        of_set = [] if self._of_set is None else [set_line(now, self._of_set, beside=said.kind)]
        return [*of_set, *self._ear_lines()]

    def _ear_lines(self) -> list[str]:
        if self.ear is None:
            return []
        from meter.exposure.ear_text import ear_line

        return [ear_line(self.ear.now)]

    def show_ear_at_the_end(self) -> None:
        """What the ears have had, and the caution."""
        if self.ear is not None:
            from meter.exposure.ear_text import end_text

            say("\n" + end_text(self.ear.now), sys.stdout)

    def _sentence(self, now: Now) -> Sentence:
        return self._keeper.keep(sentence(now), time.monotonic())

    def show_sounding(self, now: Now, low_end: LowEnd | None) -> None:
        """Soundings are shown by the clock, not one by one."""

    def show_pass(self, checked: Checked, live_pass: LivePass, of_set: SetNow | None) -> None:
        """The summary of a pass that has ended, and what the set has come to."""
        self.leave()
        say("\n" + summary_block(checked), sys.stdout)
        if of_set is not None:
            say("\n" + end_text(of_set), sys.stdout)

    def leave(self) -> None:
        """Go on below."""


class _Block(_Text):
    """A block that is redrawn in place a few times a second."""

    def __init__(self, of_set: SetSettings | None = None) -> None:
        super().__init__(of_set)
        self._screen = Screen(sys.stdout)
        self._next_s = 0.0

    def show(self, now: Now) -> None:
        if time.monotonic() < self._next_s:
            return
        self._next_s = time.monotonic() + REDRAW_S / 2
        columns, rows = size_of(sys.stdout)
        said = self._sentence(now)
        lines = block(now, said.text, columns=columns)
        lines += [fit(f" {one}", columns - 1) for one in self._more_lines(now, said)]
        if rows <= len(lines):
            # Too low for all of it: what matters most.
            lines = lines[:4] if rows > 4 else lines[1:2]
        self._screen.draw(lines)

    def leave(self) -> None:
        self._screen.leave()


class _Lines(_Text):
    """One line a second, for files and pipes."""

    def __init__(self, of_set: SetSettings | None = None) -> None:
        super().__init__(of_set)
        self._next_s = 0.0

    def show(self, now: Now) -> None:
        if time.monotonic() >= self._next_s:
            self._next_s = time.monotonic() + LINE_S
            said = self._sentence(now)
            say("  ".join([line(now, said.text), *self._more_lines(now, said)]), sys.stdout)


class _Json:
    """One object a line; what is to be said of the source goes to standard error."""

    ear: LiveEar | None = None

    def __init__(self) -> None:
        self._said: Sentence | None = None

    def show_sounding(self, now: Now, low_end: LowEnd | None) -> None:
        say(as_line(sounding_object(now, low_end)), sys.stdout)

    def show_ear_at_the_end(self) -> None:
        if self.ear is not None:
            from meter.exposure.ear_text import ear_object

            say(as_line(ear_object(self.ear.now)), sys.stdout)

    def show(self, now: Now) -> None:
        state = now.state
        is_plain = state.status is SourceStatus.OPENING and state.sentence is None
        if state.status is SourceStatus.ENDED or is_plain:
            return  # the summary, or the first sounding, tells
        found = sentence(now)
        if found.kind.is_about_source and found != self._said:
            say(found.text, sys.stderr)
        self._said = found if found.kind.is_about_source else None

    def show_pass(self, checked: Checked, live_pass: LivePass, of_set: SetNow | None) -> None:
        if of_set is not None:
            say(as_line(set_object(of_set)), sys.stdout)
        made = summary_object(checked, spec=live_pass.info.spec, is_judged=live_pass.has_verdict)
        say(as_line(made), sys.stdout)
        for text in checked.notes:
            say(f"{checked.name}: {text}", sys.stderr)

    def leave(self) -> None:
        """Nothing is left open."""
