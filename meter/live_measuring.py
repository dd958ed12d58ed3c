"""The chain at work on a live stream: a sounding at a time, with gaps, holds and marks.

The chain costs nearly the same for 50 ms as for 100 ms, and half as much more for 500, so frames wait here
until they complete a sounding, or several where nobody waits for them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from meter.capture.records import Frames, SourceInfo
from meter.live_pass import LivePass
from meter.readings import LiveReadings, eye_levels_of
from meter.soundings import CELLS_A_SOUNDING, EyeLevels, Gap, Over, Reading, Soundings

if TYPE_CHECKING:
    from meter.chain import Chain


@dataclass(frozen=True, slots=True, kw_only=True)
class How:
    """How to measure: what may change from one chain to the next."""

    weights: tuple[float, ...] | None = None
    crossover_hz: float = 120.0
    over_limit_dbtp: float = 0.0


OnRows = Callable[[Soundings, Reading], None]
"""Takes new rows, which are in the pass already, and the reading at their end."""

OnPass = Callable[[LivePass], None]
"""Takes a pass that has ended."""


class Measuring:
    """Measures one ring; the engine's thread only.

    Parameters
    ----------
    rate_hz, channels : int
        Of the ring.
    info : SourceInfo
        Written into the passes.
    how : How
    number : int
        Of the first pass.
    ring_number : int
        Written into the passes.
    on_rows, on_pass : callable
        Called as soon as there are rows, and when a pass with rows has ended.

    Attributes
    ----------
    live_pass : LivePass
        The pass that is being made.
    is_held : bool
    is_withheld : bool
        Set by the caller: what comes has gone through a system volume that is not 0 dB.

    Raises
    ------
    UsageError
        What comes cannot be measured.
    """

    def __init__(
        self,
        *,
        rate_hz: int,
        channels: int,
        info: SourceInfo,
        how: How,
        number: int,
        on_rows: OnRows,
        on_pass: OnPass,
        ring_number: int = 0,
    ) -> None:
        self.rate_hz, self.channels = rate_hz, channels
        self._info, self._how = info, how
        self._on_rows, self._on_pass = on_rows, on_pass
        self._ring_number, self._came_frames = ring_number, 0
        self._chain = self._new_chain(how, is_excerpt=info.is_live)
        self._readings = LiveReadings()
        self._at_once = 1
        self._filled = 0
        self._make_room()
        self._start_grid()
        self.live_pass = self._new_pass(number)
        self.is_held = False
        self.is_withheld = False
        self._held_frames = 0

    def _new_chain(self, how: How, *, is_excerpt: bool) -> Chain:
        from meter.chain import Chain

        return Chain(
            rate_hz=self.rate_hz,
            channels=self.channels,
            weights=how.weights,
            crossover_hz=how.crossover_hz,
            over_limit_dbtp=how.over_limit_dbtp,
            is_excerpt=is_excerpt,
        )

    def _new_pass(self, number: int) -> LivePass:
        self._is_fresh = True  # nothing was measured in it
        return LivePass(
            number=number,
            info=self._info,
            rate_hz=self.rate_hz,
            channels=self.channels,
            weights=self._chain.weights,
            crossover_hz=self._how.crossover_hz,
            over_limit_dbtp=self._how.over_limit_dbtp,
            ring_number=self._ring_number,
            ring_at_s=self._came_frames / self.rate_hz,
        )

    def _start_grid(self) -> None:
        self._fed = 0  # frames the chain had since its grid began
        self._soundings = 0
        self._readings.start()
        self._set_edge()

    def _set_edge(self) -> None:
        """Where the open soundings end."""
        self._next_edge = self._edge(self._soundings + self._at_once)

    def _edge(self, soundings: int) -> int:
        return self._chain.grid.cell_edge(soundings * CELLS_A_SOUNDING)

    def _make_room(self) -> None:
        self._waiting = np.zeros((self._edge(self._at_once) + 1, self.channels), np.float32)

    # --- what is known

    @property
    def over_limit_dbtp(self) -> float:
        """Where overs begin now."""
        return self.live_pass.over_limit_dbtp

    @property
    def last_over(self) -> Over | None:
        """The newest over that is known with its place."""
        overs = self._chain.overs
        return overs[-1] if overs else None

    @property
    def highest_over(self) -> Over | None:
        """The highest over that is known with its place."""
        return max(self._chain.overs, key=lambda over: over.peak_dbtp, default=None)

    @property
    def recent(self) -> Soundings:
        """The newest 3 s of soundings."""
        return self._chain.recent.rows

    @property
    def eye(self) -> tuple[EyeLevels, ...]:
        """Levels of each 50 ms of the newest sounding; none while nothing is measured."""
        return () if self.is_held else eye_levels_of(self._chain)

    @property
    def room_frames(self) -> int:
        """Frames until there is something to measure; `take` no more at once."""
        return self._next_edge - self._fed - self._filled

    # --- the stream

    def take(self, frames: Frames) -> None:
        """Measure frames, or let them pass by while held.

        Parameters
        ----------
        frames : array of float32, shape (n, channels)
            No more than `room_frames`.
        """
        self._came_frames += len(frames)
        if self.is_held:
            self._held_frames += len(frames)
            return
        room = self.room_frames
        if self._filled == 0 and len(frames) == room:
            self._feed(frames)
            return
        self._waiting[self._filled : self._filled + len(frames)] = frames
        self._filled += len(frames)
        if len(frames) == room:
            self._feed_waiting()

    def _feed_waiting(self) -> None:
        if self._filled:
            frames, self._filled = self._waiting[: self._filled], 0
            self._feed(frames)

    def _feed(self, frames: Frames) -> None:
        self._is_fresh = False
        self._fed += len(frames)
        rows = self._chain.process(frames)
        if self._fed == self._next_edge:
            self._soundings += self._at_once
            self._set_edge()
        if len(rows):
            self._hand_on(rows, self._known(self._readings.reading(self._chain, soundings=len(rows))))
        if self.live_pass.is_full:
            self.mark()

    def _known(self, reading: Reading) -> Reading:
        """With the frames that were lost in all of the pass."""
        lost_frames = self.live_pass.lost_frames
        return reading if reading.lost_frames == lost_frames else replace(reading, lost_frames=lost_frames)

    def _hand_on(self, rows: Soundings, reading: Reading) -> None:
        if len(rows):
            self.live_pass.add(rows, is_withheld=self.is_withheld)
            self._on_rows(rows, reading)

    def lose(self, frames: int) -> None:
        """Frames were lost here."""
        self._came_frames += frames
        if self.is_held:
            self._held_frames += frames
            return
        gap = self._leave_out(frames)
        self.live_pass.gaps.append(gap)

    def _leave_out(self, frames: int) -> Gap:
        self._feed_waiting()
        self._is_fresh = False
        reading = self._known(self._chain.reading())  # the chain knows nothing any more behind a gap
        gap = Gap(at_s=self._chain.frames / self.rate_hz, frames=frames)
        rows = self._chain.gap(frames)
        self._start_grid()
        self._hand_on(rows, reading)
        return gap

    def lose_the_end(self, frames: int) -> None:
        """Frames are missing behind the last one; call before `end`."""
        self._feed_waiting()
        self.live_pass.gaps.append(Gap(at_s=self._chain.frames / self.rate_hz, frames=frames))

    # --- what the user asks for

    def hold(self, on: bool) -> None:
        """Measure nothing from here on, or go on.

        What passes by meanwhile is a gap in time and not lost: no zeros stand for it, and no
        window holds both its sides.
        """
        if on == self.is_held:
            return
        self.is_held = on
        self._feed_waiting()
        if not on and self._held_frames:
            # A pass that was begun while held begins when it is over.
            if self._is_fresh:
                self.live_pass.ring_at_s = self._came_frames / self.rate_hz
            else:
                self.live_pass.holds.append(self._leave_out(self._held_frames))
            self._held_frames = 0

    def set_at_once(self, soundings: int) -> None:
        """Measure so many soundings at once from here on: they are the same, and together take far less."""
        self._feed_waiting()
        self._at_once = soundings
        self._make_room()
        while self._edge(self._soundings + 1) <= self._fed:
            self._soundings += 1
        self._set_edge()

    def set_over_limit(self, limit_dbtp: float) -> None:
        """Count overs against another limit from the open sounding on."""
        self._how = replace(self._how, over_limit_dbtp=limit_dbtp)
        self._chain.set_over_limit(limit_dbtp)
        self.live_pass.over_limit_dbtp = limit_dbtp

    def mark(self) -> None:
        """End the pass here; a new one begins with the next sounding, while held with the next frame."""
        self._feed_waiting()
        if self.is_held:
            self._renew_chain()
        else:
            self._chain.mark()
            self._readings.start()
        self._turn_page()

    def set_crossover(self, crossover_hz: float) -> None:
        """Measure the low end below another crossover: the pass ends here, and all is measured anew."""
        self._feed_waiting()
        self._how = replace(self._how, crossover_hz=crossover_hz)
        self._renew_chain()
        self._turn_page()

    def _renew_chain(self) -> None:
        self._flush()
        self._chain = self._new_chain(self._how, is_excerpt=True)
        self._start_grid()
        self._held_frames = 0

    def _turn_page(self) -> None:
        before = self.live_pass
        self._end_pass()
        self.live_pass = self._new_pass(before.number + (len(before.store) > 0))
        self._is_fresh = self._chain.frames == 0

    def end(self) -> None:
        """End the last pass; nothing may come afterwards."""
        self._feed_waiting()
        self._flush()
        self._end_pass()

    def _flush(self) -> None:
        if self._is_fresh:
            return
        reading = self._known(self._chain.reading())
        rows = self._chain.flush()
        self._start_grid()
        self._hand_on(rows, reading)

    def _end_pass(self) -> None:
        if len(self.live_pass.store):
            self._on_pass(self.live_pass)
