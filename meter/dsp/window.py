"""The newest frames with some past before them, planar (one row a channel), float32.

Several measures look at the same frames; the one copy out of the interleaved form is made here.
"""

from __future__ import annotations

import mmap

import numpy as np
import numpy.typing as npt

from meter.units import Samples

Float32s = npt.NDArray[np.float32]


def slot_bytes(channels: int, frames: int) -> int:
    """Memory of a push, past included."""
    return channels * frames * np.dtype(np.float32).itemsize


class Window:
    """Planar view on a stream.

    Parameters
    ----------
    channels : int
        Number of channels.
    past_frames : int
        How much of the past to keep; it begins as silence.
    shared_frames : int, optional
        Lie in memory that copies of this process share; no push is longer than so many frames.
    slots : int
        How many pushes stay where they are, for a copy of the process that is not as far yet.
    """

    def __init__(
        self, *, channels: int, past_frames: int, shared_frames: int | None = None, slots: int = 1
    ) -> None:
        self._past = past_frames
        self._channels = channels
        self._slots, self.slot = slots, 0
        """Where the newest push lies."""
        self._memory: mmap.mmap | None = None
        if shared_frames is not None:
            self._slot_bytes = slot_bytes(channels, past_frames + shared_frames)
            self._memory = mmap.mmap(-1, slots * self._slot_bytes)
        self._data: Float32s = self._room(0)
        self._data[:] = 0.0
        self._planar: dict[tuple[int, int | None], Float32s] = {}
        self._strided: tuple[tuple[int | None, ...], Float32s] | None = None
        self.frames = 0
        """How many frames the last push brought."""

    def _room(self, frames: int) -> Float32s:
        shape = self._channels, self._past + frames
        if self._memory is None:
            return np.empty(shape, np.float32)
        at = self.slot * self._slot_bytes
        return np.frombuffer(self._memory, np.float32, shape[0] * shape[1], at).reshape(shape)

    def follow(self, slot: int, frames: int) -> None:
        """In a copy of the process: see what a push elsewhere, of so many frames, has brought."""
        if (slot, frames) != (self.slot, self.frames):
            self.slot, self.frames = slot, frames
            self._data = self._room(frames)
            self._planar.clear()
            self._strided = None

    def push(self, frames: Samples) -> None:
        """Take new frames, shape (n, channels); the ones before become the past."""
        tail = self._data[:, self.frames : self.frames + self._past].copy()
        self.follow((self.slot + 1) % self._slots, len(frames))
        self._data[:, : self._past] = tail
        self._data[:, self._past :] = frames.T

    def planar(self, past_frames: int = 0, *, channels: int | None = None) -> Float32s:
        """The newest frames with `past_frames` before them, shape (channels, past + n). A view.

        It stays the same object for as long as as many frames come each time.
        """
        view = self._planar.get((past_frames, channels))
        if view is None:
            view = self._data[:channels, self._past - past_frames :]
            self._planar[past_frames, channels] = view
        return view

    def strided(
        self, past_frames: int, *, blocks: int, rows: int, step: int, width: int, channels: int | None = None
    ) -> Float32s:
        """Overlapping rows, shape (blocks, channels, rows, width), `step` frames apart. A view."""
        wanted = past_frames, blocks, rows, step, width, channels
        if self._strided is None or self._strided[0] != wanted:
            view = self.planar(past_frames, channels=channels)
            item = view.itemsize
            rows_of = np.lib.stride_tricks.as_strided(
                view,
                (blocks, len(view), rows, width),
                (self.frames // blocks * item, view.strides[0], step * item, item),
                writeable=False,
            )
            self._strided = wanted, rows_of
        return self._strided[1]

    def is_silent(self) -> bool:
        """Whether what will be the past of the next frames is all zero."""
        return not self._data[:, self.frames :].any()

    def reset(self) -> None:
        """The past is silence again."""
        self._data[:] = 0.0
