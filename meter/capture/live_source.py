"""A live source, watched: opened, listened to, and opened again whenever it was lost.

Threads: the sound system's own calls `Feed.take`; one thread makes all calls to the backend, which
may take their time; one looks five times a second whether all is well, and never waits. So the
state stays true while a sound server stands still.

What is noticed: a stream that ended, blocks that stay away, a server that does not answer, a source that
vanished, moved or changed its rate, sleep of the computer. A stream that is only quiet is kept as long
as its server does not answer, for it may go on by itself and then knows best what was lost; when the
server answers and the stream stays quiet, it is opened again.
"""

from __future__ import annotations

import logging
import math
import threading
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Final

from meter.capture import notices
from meter.capture.backend import Backend, OnBlock
from meter.capture.beside import Beside, Threads
from meter.capture.clocks import Clock, SystemClock
from meter.capture.feed import Feed, Tally
from meter.capture.records import Look, SourceInfo, SourceState, SourceStatus
from meter.capture.ring import Reader, Ring
from meter.errors import SourceError

__all__ = ["Backend", "LiveSource", "OnBlock"]

LOG: Final = logging.getLogger("meter.capture")

TICK_S: Final = 0.2
QUIET_S: Final = 0.75
"""No block for so long is said; blocks come every 0.5 s or more often."""

FIRST_QUIET_S: Final = 1.5
"""The first block of a stream may take longer."""

LOOK_EVERY_S: Final = 0.5
TRY_EVERY_S: Final = 0.5
GRACE_S: Final = 0.7
"""A quiet stream may go on by itself when its server answers again; after this it is opened anew."""

OBEY_EVERY_S: Final = 2.0
"""Not opened again more often for what a look says, as long as no look is content with it."""

OPEN_WAIT_S: Final = 6.0
"""The first opening; a backend may take 5 s."""

CLOSE_WAIT_S: Final = 2.5

LATE_S: Final = 1.0
"""When the watch itself was kept from looking for so long, so was the stream: it is given time."""


class _Opening:
    """One attempt to open, in the thread that may wait."""

    def __init__(self, asked_s: float) -> None:
        self.asked_s = asked_s
        self.is_done = threading.Event()
        self.feed: Feed | None = None
        self.info: SourceInfo | None = None
        self.error: str | None = None


class _Looking:
    """One question to the server, in the thread that may wait."""

    def __init__(self, asked_s: float) -> None:
        self.asked_s = asked_s
        self.answered_s: float | None = None
        self.look: Look | None = None
        self.error: str | None = None


class LiveSource:
    """Listens to a backend and never gives up on it.

    Parameters
    ----------
    backend : Backend
        Belongs to this source from now on.
    info : SourceInfo, optional
        What is known before it is open.
    clock, beside : optional
        Time and threads; others in tests.
    """

    def __init__(
        self,
        backend: Backend,
        *,
        info: SourceInfo | None = None,
        clock: Clock | None = None,
        beside: Beside | None = None,
    ) -> None:
        self._backend = backend
        self._clock: Clock = SystemClock() if clock is None else clock
        self._beside = beside
        info = SourceInfo(spec="", name="the source") if info is None else info
        self._state = SourceState(status=SourceStatus.OPENING, sentence=None, info=info)
        self._tally = Tally()
        self._notices = notices.Notices()
        self._ring: Ring | None = None
        self._feed: Feed | None = None
        self._opening: _Opening | None = None
        self._looking: _Looking | None = None
        self._why_lost: str | None = None
        self._is_stopped = False
        self._tick_s = self._patient_s = self._clock.now_s()
        self._seen: Look | None = None  # the last good answer about this opening
        self._answered_s: float | None = None  # first good answer since blocks stay away
        self._quiet_from_s: float | None = None  # when it was noticed that they do
        self._try_s = self._look_s = 0.0  # when to do it next
        self._obeyed_s = -math.inf  # when a look last made us open it again
        self._news: str | None = None  # what is another after it was opened again

    # --- what others call

    @property
    def ring(self) -> Ring:
        """Where the frames go, from `start` on; another one when rate or channels have changed."""
        assert self._ring is not None, "a source has its ring from start() on"
        return self._ring

    @property
    def weights(self) -> tuple[float, ...] | None:
        """Not known of live sources: by the count of channels."""
        return None

    def state(self) -> SourceState:
        """How it is now; any thread, cheap, never waits."""
        state, lost_frames = self._state, self._tally.lost_frames
        return state if state.lost_frames == lost_frames else replace(state, lost_frames=lost_frames)

    def needs(self, reader: Reader) -> None:
        """Nothing: a live source waits for nobody."""

    def start(self) -> None:
        """Open it; up to 6 s.

        Raises
        ------
        SourceError
            One sentence: why it cannot be listened to. The source is over then.
        """
        info = self._state.info
        if self._beside is None:
            self._beside = Threads(f"leadline {info.spec}".strip())
        opening = self._open(self._clock.now_s())
        opening.is_done.wait(OPEN_WAIT_S)
        error = opening.error
        if not opening.is_done.is_set():
            error = f"{info.name} cannot be opened: the sound system does not answer; start it anew"
        if error is not None:
            self.stop()
            raise SourceError(error)
        self._settle(opening, self._clock.now_s())
        self._publish(self._clock.now_s())
        self._beside.every(TICK_S, self._tick)

    def stop(self) -> None:
        """End for good; within 3 s, whatever the sound system does."""
        if self._is_stopped:
            return
        self._is_stopped = True
        if self._beside is not None:
            self._beside.stop(self._backend.close, wait_s=CLOSE_WAIT_S)
        if self._feed is not None:
            self._feed.close()
        self._state = replace(self.state(), status=SourceStatus.ENDED, sentence=None)

    # --- the watch

    def _tick(self) -> None:
        now_s = self._clock.now_s()
        if now_s - self._tick_s > LATE_S:
            self._patient_s = now_s
        self._tick_s = now_s
        if self._opening is not None:
            self._await(self._opening, now_s)
        elif self._feed is None:
            if now_s >= self._try_s:
                self._open(now_s)
        else:
            self._watch(self._feed, now_s)
        self._publish(now_s)

    def _watch(self, feed: Feed, now_s: float) -> None:
        if not self._backend.is_alive():
            self._reopen(feed, now_s, why=notices.gone(self._state.info))
            return
        self._look_if_due(now_s)
        why = self._what_a_look_says(feed.ring)
        if why is None and self._seen is not None:
            self._obeyed_s = -math.inf
        if why is not None and now_s - self._obeyed_s >= OBEY_EVERY_S:
            self._obeyed_s = now_s
            self._reopen(feed, now_s, why=why)
        elif self._is_quiet(feed, now_s):
            self._wait_quietly(feed, now_s)
        elif feed.blocks:
            self._quiet_from_s = self._answered_s = None
            if self._why_lost is not None:
                self._why_lost = None
                self._notices.happened(self._news or notices.back(self._state.info), now_s)
            self._news = None

    def _is_quiet(self, feed: Feed, now_s: float) -> bool:
        last_s, limit_s = feed.opened_s, FIRST_QUIET_S
        if feed.blocks and self._tally.last_s is not None:
            last_s, limit_s = self._tally.last_s, QUIET_S
        return now_s - max(last_s, self._patient_s) > limit_s

    def _wait_quietly(self, feed: Feed, now_s: float) -> None:
        if self._quiet_from_s is None:
            self._quiet_from_s = now_s
        if self._answered_s is not None and now_s - self._answered_s >= GRACE_S:
            self._reopen(feed, now_s, why=notices.quiet(self._state.info))
            return
        looking = self._looking
        is_unanswered = (
            looking is not None and looking.answered_s is None and now_s - looking.asked_s > LATE_S
        )
        if looking is not None and looking.error is not None:
            self._why_lost = looking.error
        elif is_unanswered:
            self._why_lost = notices.no_answer()
        elif self._answered_s is not None or self._why_lost is None:
            self._why_lost = notices.quiet(self._state.info)

    # --- asking the server

    def _look_if_due(self, now_s: float) -> None:
        looking = self._looking
        if looking is not None:
            if looking.answered_s is None:
                return
            self._take_answer(looking)
        if now_s >= self._look_s:
            self._look_s = now_s + LOOK_EVERY_S
            self._looking = _Looking(now_s)
            self._run(partial(self._look_job, self._looking))

    def _look_job(self, looking: _Looking) -> None:
        try:
            looking.look = self._backend.look()
        except SourceError as error:
            looking.error = str(error)
        except Exception as error:
            LOG.exception("please report this: a look at %s failed", self._state.info.name)
            looking.error = f"{self._state.info.name} cannot be asked after ({error})"
        looking.answered_s = self._clock.now_s()
        if looking.look != self._seen:
            self._tick_soon()

    def _take_answer(self, looking: _Looking) -> None:
        if looking.error is not None:
            self._answered_s = None
            return
        self._seen = looking.look
        if (
            self._quiet_from_s is not None
            and looking.asked_s >= self._quiet_from_s
            and self._answered_s is None
        ):
            self._answered_s = looking.answered_s

    def _what_a_look_says(self, ring: Ring) -> str | None:
        """Why the stream is not the one that is meant now; None when it is."""
        look = self._seen
        if look is None:
            return None
        if look.info.why_not is not None:
            return look.info.why_not
        if look.has_moved:
            return notices.moved(self._state.info)
        rate_hz, channels = look.info.rate_hz or ring.rate_hz, look.info.channels or ring.channels
        if (rate_hz, channels) != (ring.rate_hz, ring.channels):
            return notices.reformed(look.info)
        return None

    # --- opening

    def _run(self, job: Callable[[], None]) -> None:
        assert self._beside is not None
        self._beside.run(job)

    def _tick_soon(self) -> None:
        """There is an answer: it is not left lying until the next look at all."""
        assert self._beside is not None
        self._beside.tick_soon()

    def _open(self, now_s: float) -> _Opening:
        self._try_s = now_s + TRY_EVERY_S
        self._opening = _Opening(now_s)
        self._run(partial(self._open_job, self._opening))
        return self._opening

    def _reopen(self, feed: Feed, now_s: float, *, why: str) -> None:
        LOG.info("%s", why)
        feed.close()
        self._why_lost = why
        self._feed = self._looking = self._seen = self._quiet_from_s = self._answered_s = None
        self._open(now_s)

    def _open_job(self, opening: _Opening) -> None:
        feed = None
        try:
            self._backend.close()
            info = self._backend.open()
            feed = Feed(self._ring_for(info), self._clock, self._tally)
            self._backend.start(feed.take)
            feed.opened_s = self._clock.now_s()
            opening.info, opening.feed = info, feed
        except SourceError as error:
            opening.error = str(error)
        except Exception as error:
            LOG.exception("please report this: opening %s failed", self._state.info.name)
            opening.error = f"{self._state.info.name} cannot be opened ({error})"
        if opening.error is not None:
            self._backend.close()
            if feed is not None:
                feed.close()
        opening.is_done.set()
        self._tick_soon()

    def _ring_for(self, info: SourceInfo) -> Ring:
        if not info.rate_hz or not info.channels:
            raise SourceError(f"{info.name} does not say its rate or its channels; choose another source")
        ring = self._ring
        if ring is not None and (ring.rate_hz, ring.channels) == (info.rate_hz, info.channels):
            return ring
        return Ring(info.rate_hz, info.channels)

    def _await(self, opening: _Opening, now_s: float) -> None:
        if opening.is_done.is_set():
            self._settle(opening, now_s)
        elif now_s - opening.asked_s > LATE_S:
            self._why_lost = notices.no_answer()

    def _settle(self, opening: _Opening, now_s: float) -> None:
        self._opening = None
        self._look_s = now_s
        if opening.feed is None or opening.info is None:
            self._why_lost = notices.cannot(str(opening.error))
            return
        epoch = self._state.epoch
        if self._ring is not None:
            self._news = notices.changed(self._state.info, opening.info)
            epoch += opening.feed.ring is not self._ring
        self._feed, self._ring = opening.feed, opening.feed.ring
        # The ring before the epoch: who sees the new epoch finds the new ring.
        self._state = replace(self._state, info=opening.info, epoch=epoch)

    def _publish(self, now_s: float) -> None:
        feed, seen = self._feed, self._seen
        sentence = self._notices.sentence(now_s, lost_s=self._tally.lost_s, slept_s=self._tally.slept_s)
        if self._why_lost is not None:
            status, sentence = SourceStatus.LOST, self._why_lost
        elif feed is not None and feed.blocks:
            status = SourceStatus.RUNNING
        else:
            status = SourceStatus.OPENING
        state = replace(self._state, status=status, sentence=sentence, lost_frames=self._tally.lost_frames)
        if seen is not None:
            state = replace(state, volume_db=seen.volume_db, is_muted=seen.is_muted)
        if state != self._state:
            self._state = state
