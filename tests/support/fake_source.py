"""A source that brings what a test gives it: known frames, gaps and states, when the test says so."""

from __future__ import annotations

import threading
import time
from dataclasses import replace

import numpy as np

from meter.capture.records import SourceInfo, SourceState, SourceStatus
from meter.capture.ring import Ring
from meter.errors import SourceError


class FakeSource:
    """Does nothing by itself.

    Parameters
    ----------
    weights, sentence : as a source has them
    refuses : str, optional
        `start` fails with this sentence.
    seconds : float
        What the ring holds.
    """

    def __init__(
        self,
        *,
        rate_hz=48_000,
        channels=2,
        weights=None,
        volume_db=None,
        is_muted=None,
        refuses=None,
        seconds=15.0,
        spec="device:fake",
        name="a made-up input",
    ):
        self._seconds = seconds
        self.weights = weights
        self._refuses = refuses
        self.ring = Ring(rate_hz, channels, seconds)
        self.calls: list[str] = []
        self._state = SourceState(
            status=SourceStatus.RUNNING,
            sentence=None,
            info=SourceInfo(spec=spec, name=name, rate_hz=rate_hz, channels=channels),
            volume_db=volume_db,
            is_muted=is_muted,
        )

    # --- what the engine calls

    def start(self):
        self.calls.append("start")
        if self._refuses is not None:
            raise SourceError(self._refuses)

    def stop(self):
        self.calls.append("stop")
        self.become(status=SourceStatus.ENDED, sentence=None)

    def state(self):
        return self._state

    def needs(self, reader):
        self.calls.append("needs")

    # --- what a test calls

    def bring(self, frames):
        """Write frames, in blocks of 25 ms like a sound server."""
        for start in range(0, len(frames), 1200):
            self.ring.write(np.asarray(frames[start : start + 1200], np.float32))

    def lose(self, frames):
        """Frames were lost here."""
        self.ring.note_gap(frames)
        self.become(lost_frames=self._state.lost_frames + frames)

    def become(self, **changes):
        """Another state."""
        self._state = replace(self._state, **changes)

    def reopen(self, *, rate_hz=48_000, channels=2):
        """Go on in another ring."""
        info = replace(self._state.info, rate_hz=rate_hz, channels=channels)
        self.ring = Ring(rate_hz, channels, self._seconds)
        self.become(info=info, epoch=self._state.epoch + 1)

    def end(self, sentence=None):
        """Nothing comes any more."""
        self.become(status=SourceStatus.ENDED, sentence=sentence)


class PacedSource(FakeSource):
    """Brings the given frames in real time, again and again, 25 ms at a time, from its own thread.

    Attributes
    ----------
    written : list of (float, int)
        When each block was in the ring, by `time.perf_counter`, and frames written by then.
    """

    BLOCK_S = 0.025

    def __init__(self, frames, **how):
        super().__init__(**how)
        self._frames = np.asarray(frames, np.float32)
        self.written: list[tuple[float, int]] = []
        self.cpu_s = 0.0
        self._must_end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="paced source", daemon=True)

    def start(self):
        super().start()
        self._thread.start()

    def stop(self):
        self._must_end.set()
        self._thread.join()
        super().stop()

    def _run(self):
        count = round(self.BLOCK_S * self.ring.rate_hz)
        began_s, blocks = time.perf_counter(), 0
        while not self._must_end.wait(max(0.0, began_s + (blocks + 1) * self.BLOCK_S - time.perf_counter())):
            at = (blocks * count) % (len(self._frames) - count + 1)
            self.ring.write(self._frames[at : at + count])
            blocks += 1
            self.written.append((time.perf_counter(), self.ring.written))
        self.cpu_s = time.thread_time()
