"""Building blocks of the published test signals: tones, steps, channels. numpy only.

Audio is (frames, channels), full scale 1.0. Levels are the peak of the sine in dB re full
scale, as the EBU documents write them; ``SILENCE`` stands for digital silence. Edges lie at
round(t * rate), and a tone of whole hertz runs on through level steps without a jump of phase.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from meter.units import Floats, Samples, db_to_amplitude, power_to_lufs

SILENCE: Final = -math.inf
"""The level of digital silence, dBFS."""

Step = tuple[float, float]
"""Seconds, and the peak of the tone in dBFS over them."""


def total_s(steps: Sequence[Step]) -> float:
    """Length of a run of steps, seconds."""
    return math.fsum(seconds for seconds, _ in steps)


def sine(f_hz: float, frames: int, *, rate_hz: int, phase_deg: float = 0.0) -> Floats:
    """A sine of amplitude 1, shape (frames,)."""
    if float(f_hz).is_integer() and frames > rate_hz:
        # A whole number of periods fits a second: repeat it, which is quicker and more exact.
        return np.resize(_one_second(f_hz, rate_hz, phase_deg), frames)
    # Whole periods are taken off first: exact for whole hertz, so that zeros stay zeros.
    cycles = np.arange(frames, dtype=np.float64) * f_hz % rate_hz / rate_hz + phase_deg / 360.0
    return np.asarray(np.sin(2.0 * np.pi * cycles), np.float64)


@lru_cache(maxsize=16)
def _one_second(f_hz: float, rate_hz: int, phase_deg: float) -> Floats:
    second = sine(f_hz, rate_hz, rate_hz=rate_hz, phase_deg=phase_deg)
    second.setflags(write=False)
    return second


def stepped_sine(steps: Sequence[Step], *, f_hz: float = 1000.0, rate_hz: int = 48_000) -> Floats:
    """A sine whose level follows the steps, shape (frames,)."""
    edges = np.rint(np.cumsum([0.0, *(seconds for seconds, _ in steps)]) * rate_hz).astype(int)
    tone = np.array(sine(f_hz, int(edges[-1]), rate_hz=rate_hz))
    for start, end, (_, level_dbfs) in zip(edges[:-1], edges[1:], steps, strict=True):
        tone[start:end] *= db_to_amplitude(level_dbfs)
    return tone


def faded(tone: Floats, *, fade_s: float, rate_hz: int) -> Floats:
    """The same with a half-cosine fade at both ends."""
    frames = round(fade_s * rate_hz)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(frames) + 0.5) / frames)
    shaped = np.array(tone)
    shaped[:frames] *= ramp
    shaped[len(shaped) - frames :] *= ramp[::-1]
    return shaped


def in_channels(tone: Floats, gains: Sequence[float] = (1.0, 1.0)) -> Samples:
    """One tone in every channel at its own gain, shape (frames, channels), float32.

    float32 is what a source delivers; its rounding lies 150 dB under the tone.
    """
    spread = np.empty((len(tone), len(gains)), np.float32)
    for channel, gain in enumerate(gains):
        np.multiply(tone, gain, out=spread[:, channel], casting="same_kind")
    return spread


def gated_lufs_of_steps(
    steps: Sequence[Step], *, k_gain_db: float, weight: float = 2.0, relative_gate_lu: float = -10.0
) -> float:
    """Integrated loudness of a stepped tone by formula, without any filtering.

    The power in a 400 ms block is the mean of the steps inside it, each in proportion to its
    time; only the short transients of the filter are left out (under 0.001 LU for 1 kHz).

    Parameters
    ----------
    steps : sequence of (seconds, dBFS)
        The tone.
    k_gain_db : float
        Gain of the K-weighting at its frequency.
    weight : float
        Sum of the weights of the channels that carry it.
    relative_gate_lu : float
        The relative gate; other values show what a wrong gate would read.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1: equation, blocks and gates. SEEN-P.
    """
    gain = weight * 10.0 ** (k_gain_db / 10.0) / 2.0
    edges_s = np.cumsum([0.0, *(seconds for seconds, _ in steps)])
    energies = np.cumsum([0.0, *(s * gain * db_to_amplitude(level) ** 2 for s, level in steps)])
    starts_s = np.arange(math.floor((edges_s[-1] - 0.4) * 10.0 + 1e-6) + 1) / 10.0
    blocks = (np.interp(starts_s + 0.4, edges_s, energies) - np.interp(starts_s, edges_s, energies)) / 0.4
    kept = blocks[[power_to_lufs(power) > -70.0 for power in blocks]]
    if not len(kept):
        return -math.inf
    gate_lufs = power_to_lufs(float(kept.mean())) + relative_gate_lu
    return power_to_lufs(float(kept[[power_to_lufs(power) > gate_lufs for power in kept]].mean()))
