"""Patterns at 174 BPM with every kick known: for the fit of the kick's shape, and for the tests.

Kicks are swept sines or come from a package; snares, ghost notes, hats, a break without its low end, a sub
whose notes begin wherever they like, and a growling bass are around them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from math import gcd
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from demo_signals import instruments
from demo_signals.pattern import RATE_HZ, midi_to_hz

Sound = npt.NDArray[np.float64]

FOLDER: Final = Path("/usr/share/sonic-pi/samples")
KITS: Final = Path("/usr/share/hydrogen/data/drumkits")
KICK_WORDS: Final = ("Kick", "/BD_", "/bd", "_BD_")
STEP_S: Final = 60.0 / 174.0 / 4.0
START_S: Final = 0.3
KICKS: Final = (
    "bd_ada", "bd_boom", "bd_fat", "bd_gas", "bd_haus", "bd_klub", "bd_pure", "bd_sone", "bd_tek", "bd_zome",
    "bd_zum", "drum_heavy_kick", "elec_hollow_kick",
)  # fmt: skip
SNARES: Final = (
    "sn_dub", "sn_generic", "sn_zome", "sn_dolf", "drum_snare_hard", "drum_snare_soft", "elec_snare",
    "elec_mid_snare",
)  # fmt: skip
KICK_BARS: Final = (
    {0: 1.0, 10: 0.95}, {0: 1.0, 10: 1.0}, {0: 1.0, 6: 0.9, 10: 0.9}, {0: 1.0, 2: 0.8, 10: 0.9},
    {0: 1.0, 3: 0.85, 8: 0.8, 11: 0.9},
)  # fmt: skip


def kicks_of_kits() -> list[str]:
    """The kicks of the drum kits of another package, which nothing was fitted to."""
    found = (path for path in KITS.rglob("*") if path.suffix in {".flac", ".wav", ".aiff"})
    return sorted(str(path) for path in found if any(word in str(path) for word in KICK_WORDS))


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How a pattern sounds."""

    seed: int
    kick: Sound
    bars: int = 6
    kick_gain: float = 0.95
    ducked: bool = True
    growl: bool = True
    break_gain: float = 0.5
    sub_gain: float = 0.38
    drive_db: float | None = None
    level: float = 1.0
    with_drums: bool = True
    with_kicks: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """Samples of shape (frames, 2) at 48 kHz, and where its kicks are."""

    samples: npt.NDArray[np.float32]
    kicks_s: npt.NDArray[np.float64] = field(repr=False)


def swept_kick(
    body_hz: float,
    *,
    sweep_s: float = 0.007,
    sweep_hz: float = 240.0,
    decay_s: float | None = None,
    seconds: float = 0.35,
    click: float = 0.3,
) -> Sound:
    """A sine that falls exponentially to its body, with a click."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phase = 2.0 * np.pi * (body_hz * t + sweep_hz * sweep_s * (1.0 - np.exp(-t / sweep_s)))
    sound = np.sin(phase) * np.exp(-t / (8.0 / body_hz if decay_s is None else decay_s))
    sound += click * instruments.noise(seconds, 7) * np.exp(-t / 0.002) * (t < 0.01)
    fade = round(0.02 * RATE_HZ)
    sound[-fade:] *= np.linspace(1.0, 0.0, fade)
    return np.asarray(sound / np.abs(sound).max(), np.float64)


@lru_cache(maxsize=64)
def one_shot(path: str, *, longest_s: float = 0.6) -> Sound:
    """A sample of a package at 48 kHz, one channel, from 1 ms before its start, peak 1."""
    import soundfile
    from scipy.signal import resample_poly

    sound, rate_hz = soundfile.read(path if "/" in path else FOLDER / f"{path}.flac", always_2d=True)
    sound = sound.mean(axis=1)
    if rate_hz != RATE_HZ:
        common = gcd(rate_hz, RATE_HZ)
        sound = resample_poly(sound, RATE_HZ // common, rate_hz // common)
    sound = sound / np.abs(sound).max()
    start = max(int(np.flatnonzero(np.abs(sound) > 0.05)[0]) - RATE_HZ // 1000, 0)
    return np.asarray(sound[start : start + round(longest_s * RATE_HZ)], np.float64)


def begins_s(kick: Sound) -> float:
    """Where the low end of a kick begins, less 10 ms: some samples take 40 ms to get there."""
    from scipy.signal import butter, sosfilt

    low = np.abs(sosfilt(butter(2, (40.0, 400.0), "bandpass", fs=RATE_HZ, output="sos"), kick))
    return max(float(np.flatnonzero(low > 0.5 * low.max())[0]) / RATE_HZ - 0.01, 0.0)


@lru_cache(maxsize=1)
def _break_bar() -> Sound:
    """A bar of a break as it is layered: nothing under 180 Hz."""
    from scipy.signal import butter, resample, sosfilt

    bar = resample(one_shot("loop_amen", longest_s=9.0), round(16 * STEP_S * RATE_HZ))
    bar = sosfilt(butter(4, 180.0, "highpass", fs=RATE_HZ, output="sos"), bar)
    return np.asarray(bar / np.abs(bar).max(), np.float64)


def _add(mix: Sound, sound: Sound, at_s: float, gain: float, duck: Sound | None = None) -> None:
    start = round(at_s * RATE_HZ)
    stop = min(start + len(sound), len(mix))
    part = gain * (sound if sound.ndim == 2 else sound[:, None])[: max(stop - start, 0)]
    mix[start:stop] += part if duck is None else part * duck[start:stop, None]


def _ducking(frames: int, kicks_s: list[float]) -> Sound:
    edge, hold, end = (round(s * RATE_HZ) for s in (0.003, 0.07, 0.13))
    back = 0.5 - 0.5 * np.cos(np.pi * np.arange(end - hold) / (end - hold))
    shape = np.concatenate([np.linspace(1.0, 0.0, edge), np.zeros(hold), back])
    duck = np.ones(frames + len(shape))
    for at_s in kicks_s:
        start = round(at_s * RATE_HZ) - edge
        duck[start : start + len(shape)] *= shape
    return duck[:frames]


def make(style: Style) -> Pattern:
    """A pattern of a style; the same style gives the same samples."""
    rng = np.random.Generator(np.random.PCG64(style.seed))
    frames = round((START_S + style.bars * 16 * STEP_S + 0.7) * RATE_HZ)
    mix = np.zeros((frames, 2))
    snare = one_shot(SNARES[rng.integers(len(SNARES))]) if rng.random() < 0.6 else instruments.snare(21)
    kicks_s: list[float] = []
    for bar in range(style.bars):
        bar_s = START_S + bar * 16 * STEP_S
        kicks = KICK_BARS[rng.integers(len(KICK_BARS))] if style.with_kicks else {}
        for step, gain in kicks.items():
            kicks_s.append(bar_s + step * STEP_S)
            _add(mix, style.kick, kicks_s[-1], style.kick_gain * gain)
        if style.with_drums:
            _add_drums(mix, rng, bar_s, snare, set(kicks))
    duck = _ducking(frames, kicks_s) if style.ducked else None
    for bar in range(style.bars):
        bar_s = START_S + bar * 16 * STEP_S
        _add_bass(mix, rng, bar_s, style, duck)
        if style.break_gain:
            _add(mix, _break_bar(), bar_s, style.break_gain)
    mix *= style.level
    if style.drive_db is not None:
        mix = np.tanh(mix * 10.0 ** (style.drive_db / 20.0))
    return Pattern(samples=mix.astype(np.float32), kicks_s=np.array(kicks_s) + begins_s(style.kick))


def _add_drums(mix: Sound, rng: np.random.Generator, bar_s: float, snare: Sound, kicks: set[int]) -> None:
    hits = {4: 1.0, 12: 1.0} | {
        step: rng.uniform(0.12, 0.4) for step in (6, 7, 9, 14, 15) if rng.random() < 0.5
    }
    for step, gain in hits.items():
        if step in kicks and gain > 0.5:
            continue
        late = 0.14 if step % 2 else 0.0
        _add(mix, snare, bar_s + (step + late) * STEP_S + 0.003 * rng.random(), 0.95 * gain)
    for step in range(16):
        if rng.random() < 0.7:
            _add(mix, instruments.hat(0.022, 40 + step), bar_s + step * STEP_S, 0.4 * rng.uniform(0.3, 1.0))


def _add_bass(mix: Sound, rng: np.random.Generator, bar_s: float, style: Style, duck: Sound | None) -> None:
    step = 0
    while step < 16:
        steps = min(int(rng.choice([2, 3, 4, 6, 10])), 16 - step)
        hz, at_s = midi_to_hz(int(rng.integers(27, 42))), bar_s + step * STEP_S
        if rng.random() < 0.85 and style.sub_gain:
            _add(mix, instruments.sub_note(hz, steps * STEP_S), at_s, style.sub_gain, duck)
            if style.growl:
                growl = instruments.growl(4 * hz if hz < 50.0 else 2 * hz, steps * STEP_S, 1 / (4 * STEP_S))
                _add(mix, growl, at_s, 0.5, duck)
        step += steps


def any_style(seed: int, *, kicks: tuple[str, ...] = KICKS, hardest_db: float = 6.0) -> Style:
    """A style by chance: half of the kicks are swept sines."""
    rng = np.random.Generator(np.random.PCG64(10_000 + seed))
    if rng.random() < 0.5:
        kick = one_shot(kicks[rng.integers(len(kicks))])
    else:
        kick = swept_kick(
            rng.uniform(42.0, 115.0), sweep_s=rng.uniform(0.004, 0.02), sweep_hz=rng.uniform(140.0, 350.0)
        )
    return Style(
        seed=seed,
        kick=kick,
        ducked=bool(rng.random() < 0.67),
        growl=bool(rng.random() < 0.75),
        break_gain=0.5 if rng.random() < 0.75 else 0.0,
        sub_gain=rng.uniform(0.2, 0.42),
        drive_db=(None, 3.0, hardest_db)[rng.integers(3)],
        level=10.0 ** (rng.uniform(-12.0, 0.0) / 20.0),
    )
