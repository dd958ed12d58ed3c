"""Sound at another rate, piece by piece, in floating point.

A polyphase filter (Kaiser, beta 12, ten zeros on each side: the length that scipy takes) of which every
piece gets as much of what lies beside it as the filter reaches: the same as all of it at once.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from meter.delivery.codecs import Float32s

REACH: Final = 10
"""Zeros of the filter on each side, at the lower of the two rates. The default of scipy's `resample_poly`."""
PIECE_FRAMES: Final = 1 << 18
BETA: Final = 12.0


class Resampler:
    """A stream at another rate.

    Parameters
    ----------
    rate_hz, to_hz : int
    channels : int
    """

    def __init__(self, rate_hz: int, to_hz: int, channels: int) -> None:
        common = math.gcd(rate_hz, to_hz)
        self._up, self._down = to_hz // common, rate_hz // common
        reach = math.ceil(REACH * max(self._up, self._down) / self._up) + 1
        self._margin = self._down * math.ceil(reach / self._down)
        self._piece = self._down * max(PIECE_FRAMES // self._down, 1)
        self._kept: list[Float32s] = []
        self._frames = 0
        self._done = 0  # of what is kept, as much as was given out already and lies before
        self._channels = channels

    def push(self, block: Float32s) -> list[Float32s]:
        """Take frames, of which it keeps a copy; what is ready, in pieces."""
        self._kept.append(np.array(block, np.float32))
        self._frames += len(block)
        if self._frames < self._done + self._piece + self._margin:
            return []
        whole, made = np.concatenate(self._kept), []
        while len(whole) >= self._done + self._piece + self._margin:
            stop = self._done + self._piece
            made.append(self._part(whole[: stop + self._margin], self._piece))
            whole = whole[stop - self._margin :]
            self._done = self._margin
        self._kept, self._frames = [whole.copy()], len(whole)
        return made

    def finish(self) -> Float32s:
        """The rest."""
        if not self._kept:
            return np.zeros((0, self._channels), np.float32)
        whole = np.concatenate(self._kept)
        return self._part(whole, len(whole) - self._done)

    def _part(self, frames: Float32s, count: int) -> Float32s:
        """Of frames with what lies beside them, `count` from where they are not given out yet."""
        if count <= 0:
            return np.zeros((0, self._channels), np.float32)
        from scipy import signal  # takes a second: only where a rate must change

        made = signal.resample_poly(frames, self._up, self._down, axis=0, window=("kaiser", BETA))
        first = self._done * self._up // self._down
        last = first + math.ceil(count * self._up / self._down)
        return np.asarray(made[first:last], np.float32)


class Room:
    """One array for what comes in pieces.

    Parameters
    ----------
    frames : int
        That are expected; more are taken too.
    channels : int
    """

    def __init__(self, frames: int, channels: int) -> None:
        self._all = np.empty((frames, channels), np.float32)
        self._at = 0

    def add(self, block: Float32s) -> None:
        """Behind the others."""
        stop = self._at + len(block)
        if stop > len(self._all):
            more = np.empty((max(len(self._all) // 2, len(block)), self._all.shape[1]), np.float32)
            self._all = np.concatenate([self._all[: self._at], more])
        self._all[self._at : stop] = block
        self._at = stop

    @property
    def frames(self) -> Float32s:
        """What has come."""
        return self._all[: self._at]


def resampled(frames: Float32s, rate_hz: int, to_hz: int) -> Float32s:
    """All of it at another rate; as it is where nothing is to be done."""
    if rate_hz == to_hz:
        return frames
    channels = frames.shape[1]
    resampler = Resampler(rate_hz, to_hz, channels)
    room = Room(math.ceil(len(frames) * to_hz / rate_hz), channels)
    for at in range(0, len(frames), PIECE_FRAMES):
        for piece in resampler.push(frames[at : at + PIECE_FRAMES]):
            room.add(piece)
    room.add(resampler.finish())
    return room.frames
