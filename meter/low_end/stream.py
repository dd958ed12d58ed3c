"""The low-end signal of a stream that no chain measures: what is heard live, or the other of two inputs.

Files are measured by a chain, which hands on what it has made anyway (`meter.low_sink.LowSink`); the samples
are the same.
"""

from __future__ import annotations

import numpy as np

from meter.dsp.decimator import Decimator
from meter.dsp.grid import Grid
from meter.dsp.samples import clean
from meter.dsp.window import Window
from meter.low_sink import LowSink
from meter.units import Samples


class LowStream:
    """Gives a sink the signal at about 3 kHz, block by block of 50 ms.

    Parameters
    ----------
    rate_hz, channels : int
        Of the stream, as a chain takes them; of more than two channels the first two are heard.
    sink : LowSink
        Fed as a chain feeds it.
    """

    def __init__(self, *, rate_hz: int, channels: int, sink: LowSink) -> None:
        self._grid = Grid(rate_hz)
        self._pair = min(channels, 2)
        self._decimator = Decimator(self._grid, channels=self._pair)
        self._window = Window(channels=self._pair, past_frames=self._decimator.past_frames)
        self._sink = sink
        self._frames = 0  # since the start, lost ones included
        self._start_grid()

    def _start_grid(self) -> None:
        self._block = 0
        self._index = round(self._frames / self._decimator.factor)
        self._pending = np.zeros((0, self._pair), np.float32)
        self._decimator.reset()
        self._window.reset()

    def process(self, frames: Samples) -> None:
        """Take any number of frames, shape (n, channels)."""
        self._frames += len(frames)
        came = np.asarray(frames[:, : self._pair], np.float32)
        pending = np.concatenate([self._pending, came]) if len(self._pending) else came
        at = 0
        while (length := self._grid.block_frames(self._block)) <= len(pending) - at:
            blocks = (len(pending) - at) // length if self._grid.is_regular else 1
            self._take(pending[at : at + blocks * length], blocks)
            at += blocks * length
        self._pending = pending[at:].copy()

    def _take(self, frames: Samples, blocks: int) -> None:
        if np.isfinite(frames.sum(dtype=np.float64)):
            self._feed(frames, blocks)
            return
        for block in np.split(frames, blocks):
            part = np.array(block, np.float32)
            self._feed(part, 1, is_clean=clean(part) is None)

    def _feed(self, frames: Samples, blocks: int, *, is_clean: bool = True) -> None:
        self._window.push(frames)
        audio = self._decimator.process(self._window, blocks=blocks)
        if is_clean:
            self._sink.process(np.broadcast_to(audio, (2, audio.shape[1])).T, self._index)
        else:
            self._sink.gap()
        self._index += audio.shape[1]
        self._block += blocks

    def gap(self, frames: int) -> None:
        """Frames were lost here; what waits for a whole block is given up with them."""
        self._frames += frames
        self._sink.gap()
        self._start_grid()

    def flush(self) -> None:
        """The stream has ended; less than 50 ms of it stay unheard."""
        self._sink.flush()
