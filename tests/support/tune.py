"""A tune of two minutes with an intro, two drops and a break, never twice the same; quick to make."""

from __future__ import annotations

from functools import cache

import numpy as np

from meter.chain import Chain
from meter.selection import Part
from meter.units import Floats
from tests.support.sound import run_to_end

RATE_HZ = 16_000
BEAT_S = 60.0 / 174.0
SECTIONS = (("intro", 22.1, 0.12), ("drop", 44.1, 0.30), ("break", 22.1, 0.08), ("second drop", 39.0, 0.30))
"""Name, about how many seconds, amplitude."""
MIXES = ((0.3, 0.0, 0.6, 0.7), (1.0, 0.6, 0.5, 0.5), (0.0, 0.3, 1.0, 0.05), (1.0, 0.65, 0.4, 0.55))
"""Of each, how much kick, sub, pad and hats."""


def _bar_frames(seconds: float) -> int:
    bars = max(round(seconds / (4 * BEAT_S)), 1)
    return round(bars * 4 * BEAT_S * RATE_HZ)


@cache
def section(name: str) -> Floats:
    """One part of it, whole bars, shape (frames, 2)."""
    number = [one[0] for one in SECTIONS].index(name)
    _, seconds, amplitude = SECTIONS[number]
    rng = np.random.default_rng(number)
    t = np.arange(_bar_frames(seconds)) / RATE_HZ
    in_beat = t % BEAT_S
    phase = 2 * np.pi * (60.0 * in_beat + 6.0 * (1.0 - np.exp(-in_beat / 0.02)))
    kick = np.sin(phase) * np.exp(-in_beat / 0.1)
    sub = np.sin(2 * np.pi * 48.0 * t + 0.3 * np.sin(2 * np.pi * 0.31 * t))
    pad = sum(np.sin(2 * np.pi * f * t + rng.random() * 6) for f in (220.3, 277.9, 331.7)) / 3.0
    hats = rng.standard_normal(len(t)) * np.exp(-(t % (BEAT_S / 2)) / 0.03)
    mix = MIXES[number]
    middle = amplitude * (mix[0] * kick + mix[1] * sub + mix[2] * pad + mix[3] * hats)
    side = amplitude * 0.1 * rng.standard_normal(len(t))
    return np.stack([middle + side, middle - side], axis=1)


def tune() -> Floats:
    """All of it."""
    return np.concatenate([section(name) for name, _, _ in SECTIONS])


def part_of(samples: Floats) -> Part:
    """Its soundings."""
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    rows = run_to_end(chain, np.asarray(samples, np.float32))
    return Part(rows=rows, rate_hz=RATE_HZ, channels=2, weights=chain.weights)
