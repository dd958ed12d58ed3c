"""Bass notes, kicks and lines whose truth is known, and what the low-end analysis reads of them."""

from __future__ import annotations

import numpy as np

from demo_signals.instruments import hat, kick, snare
from meter.low_end.analysis import LowEndAnalysis
from meter.low_end.clock import low_clock
from meter.low_end.stream import LowStream

RATE_HZ = 48_000
STEP_S = 60.0 / 174.0 / 4


def note(hz, seconds, rng, *, fade_s=(0.006, 0.012), noise_db=-60.0):
    """A sine with harmonics 12 and 20 dB under it, of random phases, faded, in noise."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phases = rng.uniform(0, 2 * np.pi, 3)
    amplitudes = (1.0, 10 ** (-12 / 20), 10 ** (-20 / 20))
    sound = sum(a * np.sin(2 * np.pi * k * hz * t + p) for k, a, p in zip((1, 2, 3), amplitudes, phases))
    gain = np.ones(len(t))
    into, out = (round(s * RATE_HZ) for s in fade_s)
    gain[:into] = 0.5 - 0.5 * np.cos(np.pi * np.arange(into) / into)
    gain[len(t) - out :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(out) / out)
    return sound * gain + 10 ** (noise_db / 20) * rng.standard_normal(len(t))


def both(sound):
    """The same on both sides."""
    return np.stack([sound, sound], axis=1)


def around(sound, seconds=0.5):
    """With silence before and behind."""
    edge = round(seconds * RATE_HZ)
    return np.pad(sound, (edge, edge))


def line(seed, *, with_drums):
    """64 notes, some legato, some struck anew at the same pitch, some with rests.

    Returns
    -------
    sound : ndarray, shape (frames, 2)
    truth : list of (at_s, seconds, hz, is_legato)
    """
    rng = np.random.default_rng(seed)
    at_s, truth, rested = 8 * STEP_S, [], True
    for _ in range(64):
        steps = int(rng.choice([3, 4, 6, 10]))
        midi = int(rng.choice([27, 29, 31, 32, 34, 36, 37, 39, 41])) + rng.uniform(-15, 15) / 100
        truth.append((at_s, steps * STEP_S, 440.0 * 2 ** ((midi - 69) / 12), not rested))
        at_s += steps * STEP_S
        rested = bool(rng.random() < 0.25)
        at_s += 2 * STEP_S * rested
    total = round((at_s + 1.0) * RATE_HZ)
    sound = 1e-4 * rng.standard_normal((total, 2))
    for start_s, seconds, hz, _ in truth:
        _add(sound, 0.4 * both(note(hz, seconds, rng, noise_db=-90.0)), start_s)
    if with_drums:
        hits = (
            (0.5 * both(kick(95.0)), (0, 10)),
            (0.3 * snare(3), (4, 12)),
            (0.1 * both(hat(0.03, 5)), range(0, 16, 2)),
        )
        for bar in range(int(at_s / (16 * STEP_S))):
            for hit, steps in hits:
                for step in steps:
                    _add(sound, hit, (16 * bar + step) * STEP_S)
    return sound, truth


def _add(sound, part, at_s):
    start = round(at_s * RATE_HZ)
    stop = min(start + len(part), len(sound))
    sound[start:stop] += part[: stop - start]


def low_end_of(sound, settings=None, *, rate_hz=RATE_HZ, cuts=()):
    """What the analysis reads of a whole sound."""
    analysis = LowEndAnalysis(low_clock(rate_hz), settings)
    stream = LowStream(rate_hz=rate_hz, channels=sound.shape[1], sink=analysis)
    for part in np.split(np.asarray(sound, np.float32), list(cuts)):
        stream.process(part)
    stream.flush()
    return analysis.reading()


def cents_off(hz, true_hz):
    """Distance of two frequencies."""
    return abs(1200.0 * np.log2(hz / true_hz))


def matched(truth, notes):
    """Each true note with the one that was found within 60 ms and 30 cents of it, or None."""
    left, pairs = list(notes), []
    for true in truth:
        near = [n for n in left if abs(n.at_s - true[0]) < 0.06 and cents_off(n.hz, true[2]) < 30.0]
        pairs.append((true, near[0] if near else None))
        if near:
            left.remove(near[0])
    return pairs, left
