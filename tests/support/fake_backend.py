"""A sound system by hand: its clock, its threads and its source do what a test says, at once.

Every frame carries the number of its moment, so that a test knows what was truly lost. Time moves only
in `World.pass_time`, which plays all parts: the device that captures, the server that queues,
the callback, the watch of the source.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from meter.capture.records import Look, SourceInfo
from meter.errors import SourceError

NUMBERS = 1 << 23
"""Frame numbers begin anew here: float32 holds them exactly."""

STEP_S = 0.025
SERVER_QUEUE_S = 10.9
"""Measured on PulseAudio 16.1."""


@dataclass
class Stream:
    """One opening: what it has delivered so far, and how it is."""

    on_block: object
    rate_hz: int
    channels: int
    next_frame: int
    is_alive: bool = True
    is_quiet: bool = False


@dataclass
class World:
    """The machine and its sound server."""

    rate_hz: int = 48_000
    channels: int = 2
    device: str = "Deck"
    volume_db: float | None = None
    is_muted: bool | None = None
    has_moved: bool = False
    is_present: bool = True
    stands_still: bool = False  # the server: nothing comes, and calls do not return
    is_stalled: bool = False  # this program: no callback, no watch
    ppm: float = 0.0
    true_s: float = 1000.0
    slept_s: float = 0.0
    streams: list[Stream] = field(default_factory=list)
    opened: int = 0
    tick: object = None
    tick_every_s: float = 0.2
    jobs: deque = field(default_factory=deque)
    _next_tick_s: float = 0.0

    # --- as a clock

    def now_s(self) -> float:
        return self.true_s

    def asleep_s(self) -> float:
        return self.slept_s

    # --- as the two threads

    def run(self, job) -> None:
        self.jobs.append(job)
        self._work()

    def every(self, interval_s, tick) -> None:
        self.tick, self.tick_every_s = tick, interval_s
        self._next_tick_s = self.true_s + interval_s

    def tick_soon(self) -> None:
        self._next_tick_s = self.true_s

    def stop(self, last, *, wait_s) -> None:
        self.tick = None
        self.run(last)

    def _work(self) -> None:
        while self.jobs and not self.stands_still and not self.is_stalled:
            self.jobs.popleft()()

    # --- what happens

    def pass_time(self, seconds: float) -> None:
        """Let time pass."""
        for _ in range(round(seconds / STEP_S)):
            self.true_s += STEP_S
            self._deliver()
            self._work()
            if self.tick is not None and self.true_s >= self._next_tick_s - 1e-9 and not self.is_stalled:
                self._next_tick_s = self.true_s + self.tick_every_s
                self.tick()

    def sleep(self, seconds: float) -> None:
        """The computer sleeps: nothing runs, and the device captures nothing."""
        self.true_s += seconds
        self.slept_s += seconds
        for stream in self.streams:
            stream.next_frame = self.frame_now(stream.rate_hz)

    def frame_now(self, rate_hz: int) -> int:
        return math.floor((self.true_s - 1000.0) * rate_hz * (1 + self.ppm * 1e-6))

    def end_streams(self) -> None:
        """What is open ends, as when a device is pulled out or its server dies."""
        for stream in self.streams:
            stream.is_alive = False

    def _deliver(self) -> None:
        for stream in list(self.streams):
            now = self.frame_now(stream.rate_hz)
            if not stream.is_alive or stream.is_quiet or self.stands_still:
                stream.next_frame = now
            elif self.is_stalled:
                continue
            else:
                self._deliver_queued(stream, now)

    def _deliver_queued(self, stream: Stream, now: int) -> None:
        # A server queues for a program that stalls, and drops what does not fit.
        block = round(STEP_S * stream.rate_hz)
        queued_until = min(now, stream.next_frame + round(SERVER_QUEUE_S * stream.rate_hz))
        for start in range(stream.next_frame, queued_until, block):
            self._hand_over(stream, start, min(start + block, queued_until))
        if queued_until < now:
            stream.next_frame = now
        else:
            stream.next_frame = queued_until

    def _hand_over(self, stream: Stream, start: int, end: int) -> None:
        frames = np.zeros((end - start, stream.channels), np.float32)
        frames[:, 0] = np.arange(start, end) % NUMBERS
        captured_s = start / stream.rate_hz / (1 + self.ppm * 1e-6) + 1000.0 - self.slept_s
        stream.on_block(frames, captured_s)


class FakeBackend:
    """A backend on a `World`."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.stream: Stream | None = None
        self.is_open = False
        self.fails_to_start = False
        self.breaks: Exception | None = None

    def open(self) -> SourceInfo:
        if self.breaks is not None:
            raise self.breaks
        if not self.world.is_present:
            raise SourceError("Deck is not there; plug it in")
        self.is_open = True
        self.world.opened += 1
        self.world.has_moved = False
        return self._info()

    def start(self, on_block) -> None:
        assert self.is_open
        if self.fails_to_start:
            raise SourceError("Deck has gone while it was opened; plug it in")
        world = self.world
        self.stream = Stream(on_block, world.rate_hz, world.channels, world.frame_now(world.rate_hz))
        world.streams.append(self.stream)

    def close(self) -> None:
        if self.stream is not None:
            self.world.streams.remove(self.stream)
        self.stream = None
        self.is_open = False

    def is_alive(self) -> bool:
        return self.stream is not None and self.stream.is_alive

    def look(self) -> Look | None:
        world = self.world
        return Look(
            info=self._info(),
            volume_db=world.volume_db,
            is_muted=world.is_muted,
            has_moved=world.has_moved,
        )

    def _info(self) -> SourceInfo:
        world = self.world
        return SourceInfo(
            spec=f"device:{world.device}", name=world.device, rate_hz=world.rate_hz, channels=world.channels
        )


class Listener:
    """Reads a source as an engine does, and compares each counted loss with the true one."""

    def __init__(self, source) -> None:
        self.source = source
        self.reader = None
        self.ring = None
        self.next_number: int | None = None
        self.gaps_s: list[tuple[float, float]] = []
        """(true, counted) of each, seconds."""
        self.frames = 0

    def read(self) -> None:
        if self.ring is None:
            self._follow()
        self._read_empty()
        if self.source.ring is not self.ring:
            self._follow()
            self._read_empty()

    def _follow(self) -> None:
        self.ring = self.source.ring
        self.reader = self.ring.reader(from_now=False)
        self.next_number = None

    def _read_empty(self) -> None:
        while True:
            chunk = self.reader.read(1 << 30)
            self._take(chunk)
            if not len(chunk.frames) and not chunk.lost_before:
                return

    def _take(self, chunk) -> None:
        numbers = chunk.frames[:, 0].astype(np.int64)
        if not len(numbers):
            assert not chunk.lost_before
            return
        assert (np.diff(numbers) % NUMBERS == 1).all(), "frames of both sides of a gap in one chunk"
        if self.next_number is not None:
            missing = int(numbers[0] - self.next_number) % NUMBERS
            if missing or chunk.lost_before:
                rate_hz = self.ring.rate_hz
                self.gaps_s.append((missing / rate_hz, chunk.lost_before / rate_hz))
        elif chunk.lost_before:
            self.gaps_s.append((math.nan, chunk.lost_before / self.ring.rate_hz))
        self.next_number = int(numbers[-1]) + 1
        self.frames += len(numbers)
