"""The signal that notes are read from: middle and side at about 750 Hz, and their spectra 50 times a second.

Spectra of middle and side are added as powers, so a sub whose sides differ in phase is seen as well as one
in the middle. All products have one fixed shape, so any cutting gives the same, bit for bit.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from meter.dsp.filter_design import kaiser_low_pass
from meter.units import Floats

NOTE_RATE_HZ: Final = 750.0
HOP_S: Final = 0.020
WINDOW_S: Final = 0.107
"""Two and a half periods of the lowest note: short enough to part notes of an eighth at 174 BPM, 172 ms."""
LOW_HZ: Final = 22.0
HIGH_HZ: Final = 140.0
BIN_HZ: Final = 2.0
PASS_HZ: Final = 270.0
"""Two harmonics of every note, three of the low ones."""

_GROUPS: Final = 4
_FRAMES: Final = 4
"""Frames in a product."""


def _low_pass(rate_hz: float, factor: int) -> Floats:
    stop_hz = rate_hz / factor - PASS_HZ
    width = 2.0 * (stop_hz - PASS_HZ) / rate_hz
    return kaiser_low_pass((stop_hz + PASS_HZ) / rate_hz, width=width, stop_db=75.0)


class NoteSignal:
    """Middle and side at the lower rate, and the power of their spectra.

    Attributes
    ----------
    rate_hz : float
    hop : int
        Samples from frame to frame.
    window : int
        Samples in a frame.
    bins_hz : ndarray
        Frequencies of the spectra.
    factor : int
        Samples that come for each of its own.
    delay_s : float
        How late its samples are against the ones that came.
    past : int
        The same twice, in samples that came.
    """

    def __init__(self, rate_hz: float) -> None:
        factor = max(1, round(rate_hz / NOTE_RATE_HZ))
        self.factor = factor
        self.rate_hz = rate_hz / factor
        self.hop = round(HOP_S * self.rate_hz)
        self.window = round(WINDOW_S * self.rate_hz)
        taps = _low_pass(rate_hz, factor)
        self.delay_s = 0.5 * (len(taps) - 1) / rate_hz
        self.past = len(taps) - 1
        width = (self.hop - 1) * factor + len(taps)
        self._kernel = np.zeros((width, self.hop))
        for k in range(self.hop):
            self._kernel[k * factor : k * factor + len(taps), k] = taps
        self._block = _GROUPS * self.hop  # outputs
        self.bins_hz = np.arange(LOW_HZ, HIGH_HZ + BIN_HZ / 2, BIN_HZ)
        shape = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(self.window) / self.window)
        turns = np.exp(-2j * np.pi * np.outer(np.arange(self.window) / self.rate_hz, self.bins_hz))
        waves = shape[:, None] * turns * (2.0 / shape.sum())  # the magnitude of a sine is its amplitude
        self._waves = np.concatenate([waves.real, waves.imag], axis=1).astype(np.float32)
        self.reset()

    def reset(self) -> None:
        """Forget what came."""
        self._waiting = np.zeros((2, self.past))

    def lower(self, came: Floats) -> Floats:
        """What came, middle and side, at the lower rate, shape (2, n); what does not fill a block waits."""
        held = np.concatenate([self._waiting, came], axis=1)
        step = self._block * self.factor
        blocks = (held.shape[1] - self.past) // step
        self._waiting = held[:, blocks * step :]
        if blocks == 0:
            return np.empty((2, 0))
        rows = _frames(held, blocks * _GROUPS, self.hop * self.factor, self._kernel.shape[0])
        out = np.matmul(rows.reshape(2, blocks, _GROUPS, -1), self._kernel)
        return np.asarray(out.reshape(2, -1), np.float64)

    def powers(self, lowered: Floats, frames: int) -> Floats:
        """Power of the spectra of so many frames (a multiple of 4), shape (frames, bins): squared amplitudes.

        Parameters
        ----------
        lowered : ndarray, shape (2, n)
            Frame k begins at sample k·hop of it.
        """
        rows = _frames(lowered, frames, self.hop, self.window).astype(np.float32)
        spectra = np.matmul(rows.reshape(2, -1, _FRAMES, self.window), self._waves)
        spectra *= spectra
        parts = spectra.reshape(2, frames, 2, -1)  # middle and side; real and imaginary
        powers = parts[0, :, 0] + parts[0, :, 1]
        powers += parts[1, :, 0]
        powers += parts[1, :, 1]
        return np.asarray(powers, np.float64)


def middle_and_side(samples: Floats) -> Floats:
    """Of left and right, shape (n, 2): shape (2, n)."""
    left, right = samples[:, 0], samples[:, 1]
    made = np.empty((2, len(samples)))
    np.add(left, right, out=made[0])
    np.subtract(left, right, out=made[1])
    made *= 0.5
    return made


def _frames(samples: Floats, count: int, hop: int, length: int) -> Floats:
    """Views of so many frames of both channels, shape (2, count, length)."""
    far, near = samples.strides
    assert (count - 1) * hop + length <= samples.shape[1]
    strides = (far, hop * near, near)
    return np.lib.stride_tricks.as_strided(samples, (2, count, length), strides, writeable=False)
