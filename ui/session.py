"""One run of the program: the engine, what it has found so far, and what the window is told of it.

Threads: the engine's appends to the timeline; one opens sources; one cuts passes and looks for
findings; the window's polls all of them with a timer and never waits for any.
"""

from __future__ import annotations

import logging
import queue
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.exposure.lanes import ear_values
from meter.now import Now
from meter.set_watch import SetWatch
from meter.targets import Target
from meter.timeline import Timeline
from ui.opener import Opened, Opener
from ui.thinker import Thinker, Thoughts

if TYPE_CHECKING:
    from meter.capture.source import Source
    from meter.engine import Engine
    from meter.exposure.calibration import Calibration
    from meter.exposure.live import Ear, LiveEar
    from meter.exposure.rules import Rule
    from meter.journal.writer import JournalWriter
    from meter.live_pass import LivePass
    from meter.low_end.live import LiveLowEnd
    from meter.low_end.picture import Piece
    from meter.low_end.settings import LowEndSettings
    from meter.soundings import Soundings

LOG: Final = logging.getLogger("ui.session")

POLL_MS: Final = 33
IDLE_POLL_MS: Final = 1000
IDLE_SOUNDINGS: Final = 50
"""While nobody sees the window it is polled so often, and so many soundings, 5 s, are taken at once."""

LOAD_EVERY_S: Final = 2.0
RETRY_MS: Final = 3000
"""What could not be opened is tried again so often, until another is chosen."""

SLOW_S: Final = 0.5

RETRIED: Final = ("system", "device:")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What was last asked to be listened to; `is_open` when it is."""

    spec: str
    number: int
    is_open: bool = False
    since_s: float = field(default_factory=time.monotonic)


def open_any(spec: str) -> Source:
    """The source of this name; imports what opens it here, in the thread that may wait."""
    from meter.capture.open import open_source

    return open_source(spec)


class Session(QObject):
    """What the window shows, and what it can ask for. All calls from the window's thread.

    Parameters
    ----------
    spec : str
        What is going to be listened to, for the words until then.
    target : Target or None
    crossover_hz : float
        Upper end of the low end, 40 to 300 Hz.
    open_source : callable
        From how a source is written to a source; another in tests.
    keeps : bool
        What is heard live goes into the journal.

    Attributes
    ----------
    timeline : Timeline
        All that was heard in this session.
    set_watch : SetWatch
        What matters of it to who plays it out.
    now : Now
        The newest record.
    thoughts : Thoughts
        Passes and findings as far as they are known.
    is_set : bool
        What is heard is a set: one pass (`make_set`).
    load_pct : float or None
        Processor time of the whole program, in percent of one core.
    """

    now_changed = pyqtSignal(object)
    thoughts_changed = pyqtSignal(object)
    load_changed = pyqtSignal(float)
    problem = pyqtSignal(str)
    source_changed = pyqtSignal(str)
    polled = pyqtSignal()

    def __init__(
        self,
        *,
        spec: str = "system",
        target: Target | None = None,
        crossover_hz: float = 120.0,
        open_source: Callable[[str], Source] = open_any,
        keeps: bool = False,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self.timeline = Timeline()
        self.set_watch = SetWatch()
        self.target = target
        self._crossover_hz = crossover_hz
        self._keeps = keeps
        self.is_set = False
        self._writer: JournalWriter | None = None
        self._ear: LiveEar | None = None
        self._ear_of: tuple[Calibration, Rule] | None = None
        self._ear_spec = ""
        self._low_end: LiveLowEnd | None = None
        self._is_low_end_slow = False
        self._low_end_settings: LowEndSettings | None = None
        self._pieces: tuple[Piece, ...] = ()
        self._news: queue.SimpleQueue[Opened] = queue.SimpleQueue()
        self._ear_problems: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._is_slow = False
        self._opener = Opener(open_source, self._new_engine, self._news.put)
        self._thinker = Thinker(self.timeline, target, low_end=self.low_end)
        self._wish: Wish | None = None
        self._is_stopped = False
        self.now = _opening(spec, target)
        self.thoughts = Thoughts()
        self.load_pct: float | None = None
        self._load_from = (time.monotonic(), time.process_time())
        self._timer = QTimer(self)
        self._timer.setInterval(POLL_MS)
        self._timer.timeout.connect(self.poll)
        self._retry = QTimer(self)
        self._retry.setSingleShot(True)
        self._retry.setInterval(RETRY_MS)
        self._retry.timeout.connect(self._try_again)

    # --- the life of it

    def start(self) -> None:
        """Poll from now on."""
        self._thinker.start()
        self._timer.start()

    def stop(self) -> None:
        """End everything cleanly; may be called twice."""
        if self._is_stopped:
            return
        self._is_stopped = True
        self._timer.stop()
        self._retry.stop()
        self._opener.stop()
        if self._low_end is not None:
            self._low_end.stop()
        self._leave_ear()
        if self._opener.engine is not None:
            self._opener.engine.stop()
        if self._writer is not None:
            unkept = self._writer.stop()
            if unkept is not None:
                LOG.warning("%s", unkept)
        self._thinker.stop()

    def slow_down(self, on: bool) -> None:
        """Poll and take soundings seldom, because nobody looks; or as often as the eye wants, from now on."""
        self._timer.setInterval(IDLE_POLL_MS if on else POLL_MS)
        self.timeline.patience = IDLE_SOUNDINGS if on else 1
        if not on:
            self.timeline.catch_up()
        self._thinker.slow_down(on)
        self._is_slow = on
        if self.engine is not None:
            self.engine.slow_down(on)

    # --- what ears get

    @property
    def ear(self) -> Ear | None:
        """What is known at the ear now; None while no setup is followed."""
        return None if self._ear is None else self._ear.now

    def follow_ear(self, calibration: Calibration | None, rule: Rule) -> None:
        """Estimate the level at the ear with this setup from now on, and count it; with None no more."""
        self._leave_ear()
        self._ear_of = None if calibration is None else (calibration, rule)

    def _leave_ear(self) -> None:
        ear, self._ear = self._ear, None
        if ear is not None:
            ear.stop()

    def _look_at_ear(self) -> None:
        engine = self.engine
        if engine is None or self._ear_of is None:
            return
        if self._ear is not None and engine.now.state.info.spec != self._ear_spec:
            self._leave_ear()
        if self._ear is None and not engine.now.has_ended:
            from meter.exposure.live import LiveEar

            calibration, rule = self._ear_of
            self._ear_spec = engine.now.state.info.spec
            # Only what comes live is counted: a file may play as fast as it likes.
            keeps = self._keeps and engine.now.state.info.is_live
            self._ear = LiveEar(
                engine, calibration, rule, keeps=keeps, on_problem=self._ear_problems.put, from_now=True
            )
            self._ear.start()
        if self._ear is not None:
            self.timeline.take_ear(ear_values(self._ear.now))
        if not self._ear_problems.empty():
            self.problem.emit(self._ear_problems.get())

    # --- the low end

    def set_low_end(self, settings: LowEndSettings) -> None:
        """Judge the low end by these settings, what was heard already too."""
        self._low_end_settings = settings
        self._crossover_hz = settings.crossover_hz
        self._set_crossover()
        if self._low_end is not None:
            from meter.low_end.judged import judged_by

            self._low_end.judge_by(settings)
            self._pieces = tuple(
                replace(piece, low_end=judged_by(piece.low_end, settings)) for piece in self._pieces
            )
        self._thinker.set_low_end(settings)

    def _set_crossover(self) -> None:
        """Have the low end measured below the crossover of now, in a new pass; a set keeps the one it has."""
        if self.engine is not None and not self.is_set:
            self.engine.set_crossover(self._crossover_hz)

    def slow_low_end_down(self, on: bool) -> None:
        """Look at the low end seldom, because nobody sees it."""
        self._is_low_end_slow = on
        if self._low_end is not None:
            self._low_end.slow_down(on)

    def low_end(self) -> tuple[Piece, ...]:
        """The low end of all that was heard, the newest piece last."""
        return self._pieces

    def _look_at_low_end(self) -> None:
        from meter.low_end.picture import Piece

        engine = self.engine
        if engine is None:
            return
        if self._low_end is None:
            from meter.low_end.live import LiveLowEnd

            if not self.timeline.slots or engine.now.has_ended:
                return
            self._low_end = LiveLowEnd(engine, self._low_end_settings)
            self._low_end.slow_down(self._is_low_end_slow)
            self._low_end.start()
            return
        number, low_end = self._low_end.numbered
        newest = self._pieces[-1] if self._pieces else None
        if newest is not None and newest.ring_number == number:
            if newest.low_end is low_end:
                return
            self._pieces = (*self._pieces[:-1], replace(newest, low_end=low_end))
        else:
            first_slot = self.timeline.ring_slot(number)
            if first_slot is None:
                return  # nothing was measured of it so far
            self._pieces = (
                *self._pieces, Piece(low_end=low_end, first_slot=first_slot, ring_number=number)
            )
        self._thinker.wake()

    def _new_engine(self, source: Source) -> Engine:
        from meter.engine import Engine

        writer = self._writer = self._new_writer()

        def append(rows: Soundings) -> None:
            live_pass = engine.live_pass
            assert live_pass is not None, "soundings belong to a pass"
            self.timeline.append(rows, live_pass, engine.reading)
            self.set_watch.take(rows, live_pass)
            if writer is not None:
                writer.take(rows, live_pass)
            self._thinker.wake()

        def end(live_pass: LivePass) -> None:
            self.timeline.end(live_pass)
            if writer is not None:
                writer.end_pass(live_pass)
            self._thinker.wake()

        engine = Engine(
            source,
            target=self.target,
            crossover_hz=self._crossover_hz,
            on_soundings=append,
            on_pass=end,
        )
        return engine

    def _new_writer(self) -> JournalWriter | None:
        """Keeps what is heard, from a thread of its own; a problem of its is said like any other."""
        if not self._keeps:
            return None
        from meter.journal.writer import JournalWriter

        writer = JournalWriter(target=self.target, on_problem=self.problem.emit, is_set=self.is_set)
        writer.start()
        return writer

    @property
    def listed_at_s(self) -> float:
        """Where the newest pass in the list begins, in seconds since the engine's began."""
        return self.timeline.begins_s(self.timeline.slots - 1)

    @property
    def engine(self) -> Engine | None:
        """The engine, once the first source is open."""
        return self._opener.engine

    @property
    def opening(self) -> str | None:
        """What is being opened beside what is heard, once that takes long enough to be worth a word."""
        wish = self._wish
        if wish is None or wish.is_open or self.engine is None:
            return None
        return _info(wish.spec).name if time.monotonic() - wish.since_s > SLOW_S else None

    # --- what the user asks for

    def listen_to(self, spec: str) -> None:
        """Listen to another source; what comes of it is told by `source_changed` or `problem`."""
        self._retry.stop()
        self._wish = Wish(spec=spec, number=self._opener.wish(spec))
        if self.engine is None:
            self._take_now(_opening(spec, self.target))

    def hold(self, on: bool) -> None:
        """Measure nothing from now on, or go on."""
        if self.engine is not None:
            self.engine.hold(on)

    def mark(self) -> None:
        """End the pass here, and the set."""
        self.set_watch.begin_anew()
        if self.engine is not None:
            self.engine.mark()

    def make_set(self, on: bool) -> None:
        """From now on silence and gaps end no pass, here and in the journal; or they do again."""
        self.is_set = on
        self._set_crossover()
        self._thinker.make_set(on)
        if self._writer is not None:
            self._writer.make_set(on)

    def set_target(self, target: Target | None) -> None:
        """Hold what is heard against another target."""
        self.target = target
        self._thinker.set_target(target)
        if self._writer is not None:
            self._writer.target = target
        if self.engine is not None:
            self.engine.set_target(target)
        else:
            self._take_now(replace(self.now, target=target))

    # --- what has come

    def poll(self) -> None:
        """Take what is new; called by the timer."""
        while not self._news.empty():
            self._take_opened(self._news.get())
        engine = self.engine
        if engine is not None:
            self._take_now(engine.now)
        self._look_at_low_end()
        self._look_at_ear()
        thoughts = self._thinker.thoughts
        if thoughts is not self.thoughts:
            self.thoughts = thoughts
            self.thoughts_changed.emit(thoughts)
        self._look_at_load()
        self.polled.emit()

    def _take_now(self, now: Now) -> None:
        if now is self.now:
            return
        self.now = now
        wish = self._wish
        if wish is not None and not wish.is_open and now.state.info.spec == wish.spec and self.engine:
            self._wish = replace(wish, is_open=True)
            self.source_changed.emit(wish.spec)
        self.now_changed.emit(now)

    def _take_opened(self, opened: Opened) -> None:
        wish = self._wish
        if opened.problem is None and self.engine is not None:
            # Both may have changed while the first source was opened.
            self.engine.set_target(self.target)
            self._set_crossover()
            self.engine.slow_down(self._is_slow)
        if wish is None or opened.number != wish.number or opened.problem is None:
            return
        if self.engine is None:
            self._take_now(_not_open(opened.spec, f"no source: {opened.problem}", target=self.target))
            if opened.spec.startswith(RETRIED):
                self._retry.start()
        else:
            # The old one goes on.
            spec = self.now.state.info.spec
            self._wish = Wish(spec=spec, number=opened.number, is_open=True)
            self.problem.emit(opened.problem)
            self.source_changed.emit(spec)

    def _try_again(self) -> None:
        wish = self._wish
        if wish is not None and self.engine is None and not self._is_stopped:
            self._wish = replace(wish, number=self._opener.wish(wish.spec))

    def _look_at_load(self) -> None:
        now_s, used_s = time.monotonic(), time.process_time()
        from_s, from_used_s = self._load_from
        if now_s - from_s >= LOAD_EVERY_S:
            self._load_from = (now_s, used_s)
            self.load_pct = 100.0 * (used_s - from_used_s) / (now_s - from_s)
            self.load_changed.emit(self.load_pct)


def _opening(spec: str, target: Target | None) -> Now:
    state = SourceState(status=SourceStatus.OPENING, sentence=None, info=_info(spec))
    return Now(state=state, target=target)


def _not_open(spec: str, sentence: str, **known: Any) -> Now:
    state = SourceState(status=SourceStatus.ENDED, sentence=sentence, info=_info(spec))
    return Now(state=state, **known)


def _info(spec: str) -> SourceInfo:
    names = {"system": "what the system plays", "demo": "the demo tune"}
    return SourceInfo(spec=spec, name=names.get(spec, spec.partition(":")[2] or "no source"))
