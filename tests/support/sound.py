"""Short pieces of sound for tests: (frames, channels), float32 as a source delivers it."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np

from meter.chain import Chain
from meter.soundings import Soundings
from meter.standards.signals import sine
from meter.units import Samples, db_to_amplitude


def tone(
    f_hz: float,
    seconds: float,
    *,
    level_dbfs: float = -12.0,
    rate_hz: int = 48_000,
    phases_deg: tuple[float, ...] = (0.0, 0.0),
    gains: tuple[float, ...] = (1.0, 1.0),
    offset: float = 0.0,
) -> Samples:
    """One sine, in every channel with its own phase and gain; the level is that of its peak."""
    frames = round(seconds * rate_hz)
    planes = [
        db_to_amplitude(level_dbfs) * gain * sine(f_hz, frames, rate_hz=rate_hz, phase_deg=phase) + offset
        for phase, gain in zip(phases_deg, gains, strict=True)
    ]
    return np.stack(planes, axis=1).astype(np.float32)


def silence(seconds: float, *, rate_hz: int = 48_000, channels: int = 2) -> Samples:
    """Digital silence."""
    return np.zeros((round(seconds * rate_hz), channels), np.float32)


def noise(
    seconds: float, *, seed: int, level_dbfs: float = -20.0, rate_hz: int = 48_000, channels: int = 2
) -> Samples:
    """Noise with some low end, half of it common to all channels; the level is its RMS."""
    return _noise(seconds, seed, level_dbfs, rate_hz, channels).copy()


@lru_cache(maxsize=8)  # the same is wanted again and again
def _noise(seconds: float, seed: int, level_dbfs: float, rate_hz: int, channels: int) -> Samples:
    rng = np.random.default_rng(seed)
    frames = round(seconds * rate_hz)
    white = rng.standard_normal((frames, channels)) + rng.standard_normal((frames, 1))
    slow = np.repeat(rng.standard_normal((frames // 300 + 1, channels)), 300, axis=0)[:frames]
    mixed = white + slow
    scale = db_to_amplitude(level_dbfs) / np.sqrt((mixed**2).mean()) if frames else 0.0
    return np.asarray(mixed * scale, np.float32)


def run(chain: Chain, samples: Samples, cuts: list[int] | tuple[int, ...] = ()) -> Soundings:
    """The soundings of the samples, fed in pieces that end at the cuts; the pass is not ended."""
    edges = [0, *sorted(cuts), len(samples)]
    parts = [chain.process(samples[start:end]) for start, end in pairwise(edges)]
    return np.concatenate(parts)


def run_to_end(chain: Chain, samples: Samples, cuts: list[int] | tuple[int, ...] = ()) -> Soundings:
    """As `run`, with the end of the pass."""
    return np.concatenate([run(chain, samples, cuts), chain.flush()])
