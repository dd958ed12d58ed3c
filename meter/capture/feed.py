"""The way of one stream from the audio callback into the ring, and the count of what is missing.

A `Feed` lives as long as one opening of a stream. Three kinds of gaps are noted where they lie:
frames lost inside the stream (`meter.capture.loss_clock`), sleep of the computer, and the time
between the last block of the stream before and the first of this one.
"""

from __future__ import annotations

import time
from typing import Final

from meter.capture.clocks import Clock
from meter.capture.loss_clock import LossClock
from meter.capture.records import Frames
from meter.capture.ring import Ring

SLEEP_S: Final = 0.5
"""Shorter sleep of the computer is none."""


class Tally:
    """What all feeds of a source have lost; written by one thread at a time."""

    def __init__(self) -> None:
        self.lost_frames = 0
        self.last_s: float | None = None
        """When the last block came."""
        self.lost_s = 0.0
        """The same as `lost_frames`, in seconds: rates may change."""
        self.slept_s = 0.0


class Feed:
    """One opening of a stream.

    Parameters
    ----------
    ring : Ring
    clock : Clock
    tally : Tally
        Goes on from feed to feed.
    """

    def __init__(self, ring: Ring, clock: Clock, tally: Tally) -> None:
        self.ring = ring
        self.opened_s = clock.now_s()
        self.blocks = 0
        self._clock, self._tally = clock, tally
        self._loss = LossClock(ring.rate_hz)
        self._frames = 0
        self._asleep_s = max(clock.asleep_s(), clock.asleep_s())
        self._is_held = False
        self._is_closed = False
        self._is_busy = False

    def take(self, block: Frames, adc_time_s: float) -> None:
        """Audio callback only. Never waits, allocates no array, never fails."""
        # Busy first, then the look: `close` says closed first, then looks whether anybody is busy.
        self._is_busy = True
        try:
            if not self._is_closed and len(block):
                self._take(block, adc_time_s)
        finally:
            self._is_busy = False

    def _take(self, block: Frames, adc_time_s: float) -> None:
        now_s, asleep_s = self._clock.now_s(), self._clock.asleep_s()
        if self.blocks == 0:
            self._note_time_between(now_s, len(block))
        if asleep_s > self._asleep_s + SLEEP_S:
            self._note_sleep(asleep_s - self._asleep_s)
            self._asleep_s = asleep_s
        lost = self._loss.note(self._frames, adc_time_s)
        if lost:
            self._note_gap(lost, frames_ago=self._frames - self._loss.lost_at_frames)
        if self._loss.suspects != self._is_held:
            self._is_held = not self._is_held
            if self._is_held:
                self.ring.hold()
            else:
                self.ring.release()
        self.ring.write(block)
        self._frames += len(block)
        self.blocks += 1
        self._tally.last_s = now_s

    def _note_gap(self, frames: int, *, frames_ago: int = 0) -> None:
        self.ring.note_gap(frames, frames_ago=frames_ago)
        self._tally.lost_frames += frames
        self._tally.lost_s += frames / self.ring.rate_hz

    def _note_time_between(self, now_s: float, frames: int) -> None:
        if self._tally.last_s is None:
            return
        missing_s = now_s - frames / self.ring.rate_hz - self._tally.last_s
        # Two streams are never one: filters must not run on from one into the other.
        self._note_gap(max(round(missing_s * self.ring.rate_hz), 1))

    def _note_sleep(self, slept_s: float) -> None:
        if self.blocks:  # else the time between holds it already
            self._note_gap(round(slept_s * self.ring.rate_hz))
        self._tally.slept_s += slept_s
        # Its clock may or may not have stood still.
        self._conclude()
        self._loss = LossClock(self.ring.rate_hz)

    def close(self) -> None:
        """Take nothing any more; not from the audio callback. A call that is under way is waited for."""
        self._is_closed = True
        while self._is_busy:
            time.sleep(0.0005)
        self._conclude()

    def _conclude(self) -> None:
        lost = self._loss.conclude()
        if lost:
            self._note_gap(lost, frames_ago=self._frames - self._loss.lost_at_frames)
        if self._is_held:
            self._is_held = False
            self.ring.release()
