"""Bass lines with no drum in them, of many kinds: what must not be taken for kicks."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from demo_signals.pattern import RATE_HZ, midi_to_hz

KINDS = ("sine", "harmonics", "driven", "saw", "fading")


def bare_bass(seed: int, *, seconds: float = 12.0) -> npt.NDArray[np.float32]:
    """A line of one kind, by chance: samples of shape (frames, 2) at 48 kHz.

    Notes of 80 ms to 1 s begin at any phase or go on with the last one's, fade in within 1 to 20 ms and
    follow each other with or without a rest; some glide into the next.
    """
    rng = np.random.Generator(np.random.PCG64(50_000 + seed))
    kind = KINDS[seed % len(KINDS)]
    goes_on, glides = rng.random() < 0.5, rng.random() < 0.25
    rest_s = rng.choice([0.0, 0.0, 0.03, 0.17])
    lengths_s = rng.choice([0.086, 0.172, 0.26, 0.345, 0.69, 1.0], size=3)
    fade = round(rng.choice([0.001, 0.003, 0.006, 0.012, 0.02]) * RATE_HZ)
    made, phase, count = [], 0.0, 0
    hz = midi_to_hz(int(rng.integers(26, 42)))
    while count < seconds * RATE_HZ:
        frames = round(rng.choice(lengths_s) * RATE_HZ)
        before, hz = hz, midi_to_hz(int(rng.integers(26, 42)))
        t = np.arange(frames) / RATE_HZ
        course = hz + (before - hz) * np.exp(-t / 0.05) * glides
        begin = phase if goes_on else rng.uniform(0.0, 2.0 * np.pi)
        phases = begin + 2.0 * np.pi * np.cumsum(course) / RATE_HZ
        phase = float(phases[-1])
        sound = _sound(kind, phases, t)
        edges = np.minimum(np.minimum(np.arange(frames), np.arange(frames)[::-1]) / fade, 1.0)
        sound = sound * (0.5 - 0.5 * np.cos(np.pi * edges))
        made += [sound, np.zeros(round(rest_s * RATE_HZ))]
        count += len(sound) + round(rest_s * RATE_HZ)
    line = np.concatenate(made)[: round(seconds * RATE_HZ)]
    line *= 10.0 ** (rng.uniform(-12.0, -1.0) / 20.0) / np.abs(line).max()
    return np.stack([line, line], axis=1).astype(np.float32)


def _sound(kind: str, phases: npt.NDArray[np.float64], t: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    if kind == "harmonics":
        return np.sin(phases) + 0.25 * np.sin(2.0 * phases) + 0.1 * np.sin(3.0 * phases)
    if kind == "driven":
        return np.tanh(2.5 * np.sin(phases))
    if kind == "saw":
        return np.asarray(sum(np.sin(k * phases) / k * 0.8**k for k in range(1, 9)), np.float64)
    return np.sin(phases) * (np.exp(-t / 0.25) if kind == "fading" else 1.0)
