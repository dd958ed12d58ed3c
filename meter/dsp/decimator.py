"""The signal at about 3 kHz, for everything that happens in the low end.

A linear-phase filter and a lower rate in one matrix product. Flat to 0.0003 dB up to 0.3 of
the new rate (about 900 Hz); what would fold down onto that band is 90 dB lower.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.filter_design import kaiser_low_pass
from meter.dsp.grid import Grid
from meter.dsp.window import Window
from meter.units import Floats

Float32s = npt.NDArray[np.float32]

TARGET_RATE_HZ: Final = 2_900
PASS_SHARE: Final = 0.3
_STOP_DB: Final = 90.0
_GROUP: Final = 16
"""Outputs of a row, about: a vector register is full."""


@lru_cache(maxsize=8)
def _taps(factor: int) -> Floats:
    if factor == 1:
        return np.ones(1)
    width = 2.0 * (1.0 - 2.0 * PASS_SHARE) / factor  # transition, share of half the rate
    return kaiser_low_pass(1.0 / factor, width=width, stop_db=_STOP_DB)


def decimation_factor(grid: Grid) -> int:
    """How many samples become one; divides the block where the rate is regular."""
    wanted = max(1, grid.rate_hz // TARGET_RATE_HZ)
    if not grid.is_regular:
        return wanted
    frames = grid.block_frames(0)
    return max(d for d in range(1, wanted + 1) if frames % d == 0)


class Decimator:
    """Lower-rate copy of the first `channels` of a stream of blocks.

    Output k belongs to input frame k·factor, half a filter (`delay_s`) late.
    """

    def __init__(self, grid: Grid, *, channels: int) -> None:
        self.factor = decimation_factor(grid)
        self.rate_hz = grid.rate_hz / self.factor
        self._filter = _taps(self.factor)
        self.past_frames = len(self._filter) - 1
        self.delay_s = 0.5 * self.past_frames / grid.rate_hz
        self._channels = channels
        self._block_frames = grid.block_frames(0)
        outputs = self._block_frames // self.factor
        self._group = min(
            (d for d in range(1, outputs + 1) if outputs % d == 0), key=lambda d: abs(d - _GROUP)
        )
        self._rows = outputs // self._group
        self._width = (self._group - 1) * self.factor + len(self._filter)
        self._is_regular = grid.is_regular
        kernel = np.zeros((self._width, self._group), np.float32)
        for k in range(self._group):
            kernel[k * self.factor : k * self.factor + len(self._filter), k] = self._filter
        # Rows overlap by a filter, and no product takes overlapping rows as they lie. In parts that are no
        # longer than from row to row they need not be copied.
        self._step = self._group * self.factor
        edges = [*range(0, self._width, self._step), self._width]
        self._parts = [(slice(a, b), kernel[a:b].copy()) for a, b in pairwise(edges)]
        self._phase = 0  # frames until the next output

    def reset(self) -> None:
        """As a new object."""
        self._phase = 0

    def process(self, window: Window, *, blocks: int) -> Floats:
        """Newest frames at the lower rate, shape (channels, outputs)."""
        if self._is_regular and window.frames == blocks * self._block_frames:
            return self._whole_blocks(window, blocks)
        return self._ragged(window)

    def _whole_blocks(self, window: Window, blocks: int) -> Floats:
        views = window.strided(
            self.past_frames,
            blocks=blocks,
            rows=self._rows,
            step=self._step,
            width=self._width,
            channels=self._channels,
        )
        # A product for each channel: a row's last bits may hang on its place in the product, and opposite
        # channels are to cancel.
        (first, kernel), *others = self._parts
        out = np.matmul(views[..., first], kernel)
        for part, kernel in others:
            out += np.matmul(views[..., part], kernel)
        by_channel = out.reshape(blocks, self._channels, -1).swapaxes(0, 1)
        return np.ascontiguousarray(by_channel, np.float64).reshape(self._channels, -1)

    def _ragged(self, window: Window) -> Floats:
        """Blocks of changing length: one output after the other."""
        frames = window.planar(self.past_frames, channels=self._channels)
        at = np.arange(self._phase, window.frames, self.factor)
        self._phase = int(at[-1] + self.factor - window.frames) if len(at) else self._phase - window.frames
        if len(at) == 0:
            return np.empty((self._channels, 0))
        runs = np.lib.stride_tricks.sliding_window_view(frames, len(self._filter), axis=1)[:, at]
        return np.asarray(np.vecdot(runs.astype(np.float64), self._filter), np.float64)
