"""Made-up sets, as the loudness of every second, with what is true of them.

Tunes of 2 to 5 minutes of phrases of 16 bars, breakdowns of 15 to 60 s that lie 5 to 12 LU lower and come
back in a build, fluctuations of S as in bass music (0.5 LU, over some seconds), blends of equal power.
Invented; only the depth of breakdowns was measured (needs.md, C9: "breakdowns differ 5-12 LU").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

RATE = 10


@dataclass(frozen=True)
class MadeSet:
    """S by the second, and the true blends: midpoint, length, jump in dB."""

    short_term_lufs: np.ndarray
    blends: list[tuple[float, float, float]]


def made_set(seed, *, jumps=None):
    """A set of 8 to 20 tunes; jumps between them as given, or up to 4 dB, none between 0.7 and 1.3 dB."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(8, 21)) if jumps is None else len(jumps) + 1
    if jumps is None:
        jumps = [_jump(rng) for _ in range(count - 1)]
        # A set does not run away: what went up comes down.
        for at in range(1, len(jumps)):
            if abs(sum(jumps[: at + 1])) > 5.0:
                jumps[at] = -jumps[at]
    levels = rng.uniform(-9.0, -7.0) + np.concatenate([[0.0], np.cumsum(jumps)])
    bpm = rng.uniform(138.0, 176.0)
    blends_s = rng.uniform(8.0, 32.0, count - 1)
    tunes = [
        _tune(rng, level, bpm, into_s=before, out_s=after)
        for level, before, after in zip(levels, [0.0, *blends_s], [*blends_s, 0.0], strict=True)
    ]
    power, at, blends = np.zeros(sum(map(len, tunes))), 0, []
    end = 0
    for number, tune in enumerate(tunes):
        curve = np.ones(len(tune))
        if number:
            n = round(blends_s[number - 1] * RATE)
            at = end - n
            curve[:n] = np.sin(np.linspace(0.0, np.pi / 2, n)) ** 2
            blends.append(((at + n / 2) / RATE, blends_s[number - 1], jumps[number - 1]))
        if number < count - 1:
            n = round(blends_s[number] * RATE)
            curve[-n:] = np.cos(np.linspace(0.0, np.pi / 2, n)) ** 2
        power[at : at + len(tune)] += tune * curve
        end = at + len(tune)
    power = power[:end]
    sums = np.concatenate([[0.0], np.cumsum(power)])
    three = np.full(len(power), np.nan)
    three[29:] = (sums[30:] - sums[:-30]) / 30
    return MadeSet(10.0 * np.log10(three[RATE - 1 :: RATE]), blends)


def _jump(rng):
    size = rng.uniform(0.0, 0.7) if rng.random() < 0.4 else rng.uniform(1.3, 4.0)
    return float(size * rng.choice([-1.0, 1.0]))


def _tune(rng, level_lufs, bpm, *, into_s, out_s):
    """Power of every 100 ms of a tune whose loud part has this 90th percentile of S."""
    phrase = round(16 * 4 * 60.0 / bpm * RATE)
    n = round(rng.uniform(120.0, 300.0) * RATE) + round((into_s + out_s) * RATE / 2)
    db = np.repeat(rng.normal(0.0, 0.2, n // phrase + 1), phrase)[:n]
    wave = np.zeros(n)
    noise = rng.normal(0.0, 1.0, n)
    keep = np.exp(-1.0 / (2.0 * RATE))
    for at in range(1, n):
        wave[at] = keep * wave[at - 1] + noise[at] * np.sqrt(1.0 - keep**2)
    db += 0.6 * wave
    is_loud = np.ones(n, bool)
    first, last = round((into_s + 12.0) * RATE), n - round((out_s + 12.0) * RATE)
    for _ in range(int(rng.integers(1, 3))):
        length = round(rng.uniform(15.0, min(60.0, n / RATE / 4)) * RATE)  # a quarter of a tune at most
        if last - first <= length + 300:
            break
        at = int(rng.integers(first, last - length))
        depth, build = rng.uniform(5.0, 12.0), min(round(8.0 * RATE), length // 2)
        dip = np.full(length, -depth)
        dip[-build:] = np.linspace(-depth, -1.0, build)
        db[at : at + length] = np.minimum(db[at : at + length], db[at : at + length] + dip)
        is_loud[max(at - 20, 0) : at + length + 40] = False
        first = at + length + 300  # it plays out for half a minute in between
    power = 10.0 ** (db / 10.0)
    kernel = np.ones(30) / 30
    short = 10.0 * np.log10(np.convolve(power, kernel, "valid"))
    top = np.percentile(short[is_loud[29:]], 90)
    return power * 10.0 ** ((level_lufs - top) / 10.0)
