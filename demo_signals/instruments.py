"""The sounds: one function an instrument, each from code and a seed alone.

A sound is float64, shape (frames,) where it is the same on both sides and (frames, 2)
where it is not, at `RATE_HZ`, with a peak near 1. Noise comes from a named bit generator
and its uniform doubles, whose stream numpy keeps from release to release.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_signals.pattern import RATE_HZ

Sound = npt.NDArray[np.float64]


def _time_s(seconds: float) -> Sound:
    return np.arange(round(seconds * RATE_HZ), dtype=np.float64) / RATE_HZ


def noise(seconds: float, seed: int, channels: int = 1) -> Sound:
    """White noise between -1 and 1, shape (frames,) or (frames, channels)."""
    rng = np.random.Generator(np.random.PCG64(seed))
    shape = (round(seconds * RATE_HZ), channels)
    drawn = 2.0 * rng.random(shape) - 1.0
    return drawn[:, 0] if channels == 1 else drawn


def _filtered(sound: Sound, kind: str, edge_hz: Any, order: int = 2) -> Sound:
    from scipy.signal import butter, sosfilt

    sos = butter(order, edge_hz, kind, fs=RATE_HZ, output="sos")
    return np.asarray(sosfilt(sos, sound, axis=0), np.float64)


def _faded(sound: Sound, in_s: float, out_s: float) -> Sound:
    """Raised-cosine fades, so that no sound starts or ends with a click."""
    gain = np.ones(len(sound))
    fade_in, fade_out = round(in_s * RATE_HZ), round(out_s * RATE_HZ)
    gain[:fade_in] = 0.5 - 0.5 * np.cos(np.pi * np.arange(fade_in) / fade_in)
    gain[len(gain) - fade_out :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(fade_out) / fade_out)
    return np.asarray(sound * (gain if sound.ndim == 1 else gain[:, None]), np.float64)


def _peak_one(sound: Sound) -> Sound:
    return np.asarray(sound / np.max(np.abs(sound)), np.float64)


def _alike_below(edge_hz: float, sound: Sound) -> Sound:
    """Left and right made alike below an edge, as they are mixed for a mono system."""
    middle: Sound = sound.mean(axis=1, keepdims=True)
    return np.add(middle, _filtered(sound - middle, "highpass", edge_hz, 4))


def kick(body_hz: float, seed: int = 1) -> Sound:
    """Swept kick: a fall from `body_hz` + 240 Hz within some 40 ms, then `body_hz` steadily."""
    t = _time_s(0.30)
    fall_hz, fall_s = 240.0, 0.007
    phase = 2 * np.pi * (body_hz * t + fall_hz * fall_s * (1 - np.exp(-t / fall_s)))
    # A low body needs longer to speak: the decay keeps about eight periods at any pitch.
    body = np.sin(phase) * np.exp(-t / (8.0 / body_hz))
    click = _filtered(noise(0.30, seed), "highpass", 2500.0) * np.exp(-t / 0.004)
    return _peak_one(_faded(body + 0.5 * click, 0.0005, 0.08))


def snare(seed: int) -> Sound:
    """Two short tones, a band of noise, and a wide room of its own; shape (frames, 2)."""
    t = _time_s(0.45)
    tones = np.sin(2 * np.pi * (188.0 * t + 0.9 * (1 - np.exp(-t / 0.012)))) * np.exp(-t / 0.055)
    tones += 0.4 * np.sin(2 * np.pi * 331.0 * t) * np.exp(-t / 0.04)
    rattle = _filtered(noise(0.45, seed), "bandpass", (1100.0, 9000.0)) * np.exp(-t / 0.075)
    room = _filtered(noise(0.45, seed + 1, 2), "bandpass", (500.0, 5000.0)) * np.exp(-t / 0.16)[:, None]
    centre = 0.75 * tones + 1.5 * rattle
    return _peak_one(_faded(centre[:, None] + 0.16 * room, 0.0005, 0.05))


def hat(decay_s: float, seed: int) -> Sound:
    """Closed or open hat: bright noise over a few inharmonic tones."""
    t = _time_s(6 * decay_s)
    bright = _filtered(noise(6 * decay_s, seed), "bandpass", (7000.0, 15_000.0), 3)
    metal = np.zeros_like(t)
    for hz in (5330.0, 6710.0, 8170.0, 9850.0):
        metal += np.sin(2 * np.pi * hz * t + hz)
    return _peak_one(_faded((bright + 0.06 * metal) * np.exp(-t / decay_s), 0.0003, decay_s))


def crash(seed: int) -> Sound:
    """A long wide cymbal; shape (frames, 2)."""
    t = _time_s(2.2)
    wash = _filtered(noise(2.2, seed, 2), "bandpass", (3000.0, 14000.0))
    return _peak_one(_faded(wash * np.exp(-t / 0.5)[:, None], 0.002, 0.5))


def riser(seconds: float, seed: int) -> Sound:
    """Noise that brightens and swells to the end; shape (frames, 2)."""
    share = np.linspace(0.0, 1.0, round(seconds * RATE_HZ))[:, None]
    hiss = noise(seconds, seed, 2)
    dark = _filtered(hiss, "bandpass", (300.0, 1500.0))
    bright = _filtered(hiss, "bandpass", (2000.0, 10000.0))
    rising = _alike_below(400.0, ((1 - share) * dark + share * bright) * share**2)
    return _peak_one(_faded(rising, 0.05, 0.01))


def sub_note(hz: float, seconds: float, between_deg: float = 0.0) -> Sound:
    """Sine with a little of its second and third harmonic; shape (frames, 2).

    `between_deg` turns the fundamental of left and right apart; the harmonics stay alike.
    """
    t = _time_s(seconds)
    half = math.radians(between_deg) / 2
    above = 0.07 * np.sin(4 * np.pi * hz * t) + 0.04 * np.sin(6 * np.pi * hz * t)
    left = np.sin(2 * np.pi * hz * t + half) + above
    right = np.sin(2 * np.pi * hz * t - half) + above
    return _faded(np.stack((left, right), axis=1), 0.006, 0.012)


def _saw(hz: float, seconds: float, start: float) -> Sound:
    """Sawtooth whose steps are rounded over two samples (polynomial band-limited step)."""
    step = hz / RATE_HZ
    phase = (start + step * np.arange(round(seconds * RATE_HZ))) % 1.0
    saw = 2.0 * phase - 1.0
    after, before = phase < step, phase > 1.0 - step
    x = phase[after] / step
    saw[after] -= 2 * x - x * x - 1.0
    x = (phase[before] - 1.0) / step
    saw[before] -= x * x + 2 * x + 1.0
    return np.asarray(saw, np.float64)


def growl(hz: float, seconds: float, wobble_hz: float) -> Sound:
    """Detuned mid bass that opens and closes; shape (frames, 2)."""
    t = _time_s(seconds)
    centre = _saw(hz, seconds, 0.0) + _saw(hz * 1.006, seconds, 0.31)
    sides = np.stack((_saw(hz * 0.992, seconds, 0.57), _saw(hz * 1.011, seconds, 0.83)), axis=1)
    raw = _filtered(centre[:, None] + sides, "highpass", 150.0, 4)
    opened = (0.5 - 0.5 * np.cos(2 * np.pi * wobble_hz * t))[:, None]
    voiced = (1 - opened) * _filtered(raw, "lowpass", 800.0) + opened * _filtered(raw, "lowpass", 5000.0)
    shaped = _filtered(np.tanh(1.5 * voiced), "highpass", 220.0, 1)
    return _peak_one(_faded(_alike_below(300.0, shaped), 0.004, 0.02))


def pad(hzs: tuple[float, ...], seconds: float) -> Sound:
    """A soft chord of detuned saws, wide, slow to come and go; shape (frames, 2)."""
    sides = [
        sum((_saw(hz * (1 + cents / 1731), seconds, (7 * i + k) * 0.137 % 1.0)
             for i, hz in enumerate(hzs) for k, cents in enumerate(detunes)), np.zeros(1))
        for detunes in ((-6.0, 5.0), (-4.0, 7.0))
    ]  # fmt: skip
    soft = _filtered(_filtered(np.stack(sides, axis=1), "lowpass", 1600.0), "highpass", 200.0, 4)
    return _peak_one(_faded(_alike_below(300.0, soft), 0.15, 0.25))


def bell(hz: float, pan: float) -> Sound:
    """A struck tone by frequency modulation, with three echoes from side to side; (frames, 2)."""
    t = _time_s(0.5)
    struck = np.sin(2 * np.pi * hz * t + 2.2 * np.exp(-t / 0.06) * np.sin(2 * np.pi * 3.0 * hz * t))
    struck = _faded(struck * np.exp(-t / 0.12), 0.001, 0.05)
    gap = round(0.1293 * RATE_HZ)
    ringing = np.zeros((len(struck) + 3 * gap, 2))
    for echo in range(4):
        side = pan if echo % 2 == 0 else -pan
        at = slice(echo * gap, echo * gap + len(struck))
        ringing[at] += 0.5**echo * struck[:, None] * np.sqrt([(1 - side) / 2, (1 + side) / 2])
    return _peak_one(ringing)
