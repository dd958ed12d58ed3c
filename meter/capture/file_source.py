"""A file, or the demo tune, as a source: in real time, or as fast as it is read.

In real time each block is due when its last frame would have been captured, counted from the first
one, so nothing adds up. A stall of a second or more moves everything that comes: unlike a live
source, a file can wait, and so it does for a reader that must not lose anything.
"""

from __future__ import annotations

import logging
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final, Protocol

import numpy as np

from meter.audio_file import AudioFile
from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.capture.ring import Reader, Ring
from meter.errors import MeterError
from meter.files import open_audio
from meter.units import Samples

LOG: Final = logging.getLogger("meter.capture")

BLOCK_S: Final = 0.05
"""In real time: what the eye is shown comes every 50 ms."""

FAST_BLOCK_S: Final = 1.0
"""As fast as it goes: what the reader of files likes best."""

LATE_S: Final = 1.0
"""A stall of this length is not made up for."""

ROOM_S: Final = 0.002
"""How often to look whether a reader has made room."""

STOP_WAIT_S: Final = 2.0


class Pace(Protocol):
    """Time and waiting; others in tests."""

    def now_s(self) -> float:
        """Steady time."""
        ...

    def wait(self, seconds: float) -> bool:
        """Wait, or be stopped; whether it was stopped. Not even once when 0 or less."""
        ...

    def stop(self) -> None:
        """End every wait, from any thread."""
        ...


class RealPace:
    """The monotonic clock."""

    def __init__(self) -> None:
        self._is_over = threading.Event()

    def now_s(self) -> float:
        """Steady time; it stands still while the computer sleeps, and so does what is played."""
        return time.monotonic()

    def wait(self, seconds: float) -> bool:
        """Wait, or be stopped; whether it was stopped."""
        return self._is_over.wait(seconds) if seconds > 0.0 else self._is_over.is_set()

    def stop(self) -> None:
        """End every wait."""
        self._is_over.set()


class PlayedSource(ABC):
    """What is played from an end to the other by a thread of its own. See `meter.capture.source`.

    Parameters
    ----------
    info : SourceInfo
    as_fast : bool
        As fast as it is read; the ring then never overwrites what nobody has read: without a
        reader that `needs` it, it fills the ring and waits.
    pace : Pace, optional
        Time; another in tests.
    """

    def __init__(self, info: SourceInfo, *, as_fast: bool = False, pace: Pace | None = None) -> None:
        self._as_fast = as_fast
        self._pace: Pace = RealPace() if pace is None else pace
        self._state = SourceState(status=SourceStatus.OPENING, sentence=None, info=info)
        self._ring: Ring | None = None
        self._readers: tuple[Reader, ...] = ()
        self._thread: threading.Thread | None = None
        self._is_stopped = False

    @abstractmethod
    def _open(self) -> SourceInfo:
        """Make ready; with rate and channels. Raises `MeterError`."""

    @abstractmethod
    def _blocks(self, seconds: float) -> Iterator[Samples]:
        """Blocks of this length; may raise `MeterError`. In the thread that plays."""

    def _close(self) -> None:  # noqa: B027
        """Give back what `_open` took. In the thread that plays."""

    def _end(self) -> SourceState:
        """What is said when all was played."""
        return replace(self._state, status=SourceStatus.ENDED, sentence=None)

    @property
    def ring(self) -> Ring:
        """Where the frames go, from `start` on."""
        assert self._ring is not None, "a source has its ring from start() on"
        return self._ring

    @property
    def weights(self) -> tuple[float, ...] | None:
        """Loudness weight of each channel, where the file has a channel mask; from `start` on."""
        return None

    def state(self) -> SourceState:
        """How it is now; any thread, cheap, never waits."""
        return self._state

    def needs(self, reader: Reader) -> None:
        """Do not overwrite what this reader has not read; any thread, best before much was played."""
        self._readers += (reader,)

    def start(self) -> None:
        """Open it and begin to play.

        Raises
        ------
        MeterError
            One sentence: why it cannot be played.
        """
        info = self._open()
        assert info.rate_hz is not None and info.channels is not None
        self._ring = Ring(info.rate_hz, info.channels)
        self._state = replace(self._state, info=info)
        name = f"leadline {info.spec}"
        self._thread = threading.Thread(target=self._run, args=(self._ring,), name=name, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End for good; may be called twice, and without `start`."""
        self._is_stopped = True
        self._pace.stop()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(STOP_WAIT_S)
        if self._state.status is not SourceStatus.ENDED:
            self._state = replace(self._state, status=SourceStatus.ENDED, sentence=None)

    def _run(self, ring: Ring) -> None:
        try:
            self._play(ring)
            state = self._end()
        except MeterError as error:
            state = replace(self._state, status=SourceStatus.ENDED, sentence=str(error))
        except Exception as error:
            LOG.exception("please report this: playing %s failed", self._state.info.name)
            sentence = f"{self._state.info.name} cannot be played on ({error})"
            state = replace(self._state, status=SourceStatus.ENDED, sentence=sentence)
        finally:
            self._close()
        self._state = state

    def _play(self, ring: Ring) -> None:
        start_s = None
        blocks = self._blocks(FAST_BLOCK_S if self._as_fast else BLOCK_S)
        for block in blocks:
            if self._is_stopped:
                return
            if self._state.status is not SourceStatus.RUNNING:
                self._state = replace(self._state, status=SourceStatus.RUNNING, sentence=None)
            if start_s is None:
                start_s = self._pace.now_s()
            if not self._as_fast:
                due_s = start_s + (ring.written + len(block)) / ring.rate_hz
                late_s = self._pace.now_s() - due_s
                if late_s > LATE_S:
                    start_s += late_s
                if self._pace.wait(-late_s):
                    return
            if not self._wait_for_room(ring, len(block)):
                return
            ring.write(np.asarray(block, np.float32))

    def _wait_for_room(self, ring: Ring, frames: int) -> bool:
        """Whether it may be written; False when stopped."""
        while not self._has_room(ring, frames):
            if self._pace.wait(ROOM_S):
                return False
        return True

    def _has_room(self, ring: Ring, frames: int) -> bool:
        behind = max((reader.behind_frames for reader in self._readers), default=0)
        if self._as_fast and not self._readers:
            behind = ring.written
        return behind + frames <= ring.capacity_frames


class FileSource(PlayedSource):
    """An audio file, played.

    Parameters
    ----------
    path : str or Path
    as_fast : bool
        As fast as it is read, not in real time.
    pair : tuple of two int, optional
        Channels to hear as left and right, counted from 1.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        as_fast: bool = False,
        pair: tuple[int, int] | None = None,
        pace: Pace | None = None,
    ) -> None:
        self._path, self._pair = Path(path), pair
        self._audio: AudioFile | None = None
        info = SourceInfo(spec=f"file:{path}", name=self._path.name)
        super().__init__(info, as_fast=as_fast, pace=pace)

    @property
    def weights(self) -> tuple[float, ...] | None:
        """Loudness weight of each channel, from the file's channel mask where it has one."""
        return None if self._audio is None else self._audio.weights

    def _open(self) -> SourceInfo:
        self._audio = audio = open_audio(self._path, pair=self._pair)
        return replace(
            self._state.info, rate_hz=audio.rate_hz, channels=audio.channels, is_lossy=audio.is_lossy
        )

    def _blocks(self, seconds: float) -> Iterator[Samples]:
        assert self._audio is not None
        return self._audio.blocks(seconds=seconds)

    def _close(self) -> None:
        if self._audio is not None:
            self._audio.close()

    def _end(self) -> SourceState:
        state = super()._end()
        if self._audio is None or self._is_stopped:
            return state
        # As `check` does: what the header promised and the file does not hold is lost.
        sentence = "; ".join(self._audio.notes) or None
        return replace(state, sentence=sentence, lost_frames=self._audio.lost_frames)


class DemoSource(PlayedSource):
    """The demo tune, played once.

    Parameters
    ----------
    as_fast : bool
        As fast as it goes, not in real time.
    """

    def __init__(self, *, as_fast: bool = False, pace: Pace | None = None) -> None:
        info = SourceInfo(spec="demo", name="the demo tune")
        super().__init__(info, as_fast=as_fast, pace=pace)

    def _open(self) -> SourceInfo:
        from demo_signals.pattern import RATE_HZ

        self._state = replace(self._state, sentence="the demo tune is being made; that takes some seconds")
        return replace(self._state.info, rate_hz=RATE_HZ, channels=2)

    def _blocks(self, seconds: float) -> Iterator[Samples]:
        from demo_signals import RATE_HZ, stream

        return stream(round(seconds * RATE_HZ))
