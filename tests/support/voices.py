"""Bass notes of several voices, and of one voice with what could be taken for more. All are made up."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfilt

from tests.support.bass import RATE_HZ

TOP_HZ = 1500.0
"""Enough for a signal at 3 kHz."""

Sound = npt.NDArray[np.float64]


def faded(sound: Sound) -> Sound:
    """Faded in over 6 ms and out over 12."""
    sound = sound.copy()
    into, out = round(0.006 * RATE_HZ), round(0.012 * RATE_HZ)
    sound[:into] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(into) / into)
    sound[-out:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(out) / out)
    return sound


def times(seconds: float) -> Sound:
    """Of every sample."""
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def low_pass(sound: Sound, hz: float) -> Sound:
    """12 dB an octave, as a synthesizer's filter that stands still."""
    return np.asarray(sosfilt(butter(2, 2.0 * hz / RATE_HZ, output="sos"), sound))


def saws(hz: float, seconds: float, total_cents: float, count: int, rng: np.random.Generator) -> Sound:
    """So many saws, evenly over so many cents, each at a phase of its own."""
    t = times(seconds)
    places = np.linspace(-0.5, 0.5, count) if count > 1 else np.zeros(1)
    made = np.zeros(len(t))
    for place, phase in zip(places, rng.uniform(size=count), strict=True):
        turns = hz * 2.0 ** (total_cents * place / 1200.0) * t + phase
        for k in range(1, int(TOP_HZ / hz) + 1):
            made += np.sin(2.0 * np.pi * k * turns) / k
    return made


def detuned(rng: np.random.Generator, *, cents: tuple[float, float] = (10.0, 50.0)) -> Sound:
    """Two to seven saws, 10 to 50 cents from the lowest to the highest, half of them under a low-pass.

    Common practice, no source: two oscillators of a bass stand 10 to 30 cents apart, the seven of a broad one
    up to 50.
    """
    hz, seconds = rng.uniform(35.0, 90.0), rng.uniform(0.25, 1.5)
    made = saws(hz, seconds, rng.uniform(*cents), int(rng.integers(2, 8)), rng)
    if rng.random() < 0.5:
        made = low_pass(made, float(np.exp(rng.uniform(np.log(150.0), np.log(1500.0)))))
    return faded(made)


def one_saw(rng: np.random.Generator) -> Sound:
    """One saw or one square under a low-pass."""
    hz, seconds = rng.uniform(30.0, 110.0), rng.uniform(0.25, 1.5)
    t, phase, step = times(seconds), rng.uniform(), int(rng.integers(1, 3))
    made = sum(np.sin(2.0 * np.pi * k * (hz * t + phase)) / k for k in range(1, int(TOP_HZ / hz) + 1, step))
    return faded(low_pass(np.asarray(made), float(np.exp(rng.uniform(np.log(100.0), np.log(2000.0))))))


def driven(rng: np.random.Generator) -> Sound:
    """A sub that is driven hard and fades: its harmonics are exact, and fade each in its own way."""
    hz, t = rng.uniform(30.0, 110.0), times(rng.uniform(0.25, 1.5))
    gain = rng.uniform(1.0, 8.0) * np.exp(-t / rng.uniform(0.5, 2.0))
    made = np.tanh(gain * np.sin(2.0 * np.pi * hz * t + rng.uniform(0.0, 6.0)) + rng.uniform(0.0, 0.5))
    return faded(made - made.mean())


def string(rng: np.random.Generator) -> Sound:
    """A stiff string: one pitch, its harmonics sharp by B·h²/2, each with a phase of its own."""
    hz, t = rng.uniform(35.0, 90.0), times(rng.uniform(0.3, 1.5))
    stiff = 10.0 ** rng.uniform(-4.3, -3.3)
    made = np.zeros(len(t))
    for k in range(1, int(TOP_HZ / hz)):
        turns = k * hz * np.sqrt(1.0 + stiff * k * k) * t
        strength = np.sin(0.22 * np.pi * k) / k * np.exp(-t * (1.0 + 0.15 * k))
        made += strength * np.sin(2.0 * np.pi * turns + rng.uniform(0.0, 6.0))
    return faded(made)


def sub_under_chord(rng: np.random.Generator) -> Sound:
    """A clean sub, and two octaves above it a chord of seven detuned saws a note."""
    hz, seconds = rng.uniform(35.0, 65.0), rng.uniform(0.3, 1.2)
    t = times(seconds)
    steps = ((0, 3, 7), (0, 4, 7), (0, 7, 12), (0, 3, 10))[int(rng.integers(4))]
    chord = sum(saws(4.0 * hz * 2.0 ** (step / 12.0), seconds, 24.0, 7, rng) for step in steps)
    chord *= rng.uniform(0.1, 0.5) / np.sqrt(np.mean(np.square(chord)))
    return faded(np.sin(2.0 * np.pi * hz * t) + 0.25 * np.sin(4.0 * np.pi * hz * t) + chord)


def driven_mix(rng: np.random.Generator) -> Sound:
    """A clean sub under a chord of detuned saws one or two octaves above it, all of it driven as one."""
    hz, seconds = rng.uniform(35.0, 65.0), rng.uniform(0.3, 1.2)
    root_hz = hz * (2.0, 4.0)[int(rng.integers(2))]
    steps = ((0,), (0, 3, 7), (0, 4, 7), (0, 7, 12))[int(rng.integers(4))]
    total_cents, count = rng.uniform(6.0, 50.0), int(rng.integers(1, 8))
    chord = sum(saws(root_hz * 2.0 ** (step / 12.0), seconds, total_cents, count, rng) for step in steps)
    chord *= rng.uniform(0.1, 0.6) / np.sqrt(np.mean(np.square(chord)))
    mix = np.sin(2.0 * np.pi * hz * times(seconds)) + chord
    return faded(np.tanh(rng.uniform(0.5, 3.0) * mix / np.abs(mix).max()))


def sub_under_saws(rng: np.random.Generator) -> Sound:
    """A clean sub, and detuned saws of the same note from which the low end was taken."""
    hz, seconds = rng.uniform(35.0, 65.0), rng.uniform(0.3, 1.2)
    layer = saws(hz, seconds, rng.uniform(10.0, 40.0), int(rng.integers(2, 5)), rng)
    layer = np.asarray(
        sosfilt(butter(4, 2.0 * rng.uniform(90.0, 150.0) / RATE_HZ, "high", output="sos"), layer)
    )
    layer *= 0.7 * 10.0 ** (rng.uniform(-18.0, 0.0) / 20.0) / np.sqrt(np.mean(np.square(layer)))
    return faded(np.sin(2.0 * np.pi * hz * times(seconds) + rng.uniform(0.0, 6.0)) + layer)
