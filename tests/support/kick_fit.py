"""``python -m tests.support.kick_fit``: the network of `meter.dsp.kick_shape`, worked out anew.

It is trained with the moments at which something begins, in many patterns with known kicks and in bass lines
without any; the tests hold it to others than these. Takes some minutes.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from meter.dsp import kick_onsets, kick_shape
from meter.dsp.decimator import Decimator
from meter.dsp.grid import Grid
from meter.dsp.window import Window
from tests.support import drum_patterns as patterns
from tests.support.bare_bass import bare_bass

SEEDS = range(560)
BARE_SEEDS = range(400)
DECAY = 3e-4
"""Of the weights, so that they stay small."""
ROUNDS = 400
FILE = Path(kick_shape.__file__).parents[1] / "data" / "kick_shape.npy"


def low_of(samples: np.ndarray, rate_hz: int = 48_000) -> tuple[np.ndarray, float, float]:
    """The middle of a whole signal at about 3 kHz, its rate, and how late it is in seconds."""
    grid = Grid(rate_hz)
    decimator = Decimator(grid, channels=2)
    window = Window(channels=2, past_frames=decimator.past_frames)
    frames = grid.block_frames(0)
    blocks = len(samples) // frames
    window.push(samples[: blocks * frames].astype(np.float32))
    low = decimator.process(window, blocks=blocks)
    return low.mean(axis=0), decimator.rate_hz, decimator.past_frames / 2 / rate_hz


class _Keeper(kick_onsets.OnsetFinder):
    """Keeps the numbers that are weighed."""

    def _scores(self, numbers):  # type: ignore[no-untyped-def]
        self.kept = numbers
        return np.arange(len(numbers))


def moments_of(pattern: patterns.Pattern) -> tuple[list[np.ndarray], list[float]]:
    """Numbers of every moment of a pattern, and whether it is a kick."""
    low, rate_hz, late_s = low_of(pattern.samples)
    finder = _Keeper(rate_hz)
    rows, at_s = [], []
    for start in range(0, len(low) - finder.chunk_frames + 1, finder.chunk_frames):
        ((samples, _),) = finder.process(low[start : start + finder.chunk_frames])
        if len(samples):
            rows.extend(finder.kept)
            at_s.extend(samples / rate_hz - late_s)
    chosen, is_kick = [], []
    own = {int(np.abs(np.array(at_s) - kick).argmin()) for kick in pattern.kicks_s}
    for k, (row, at) in enumerate(zip(rows, at_s, strict=True)):
        off = float(np.abs(pattern.kicks_s - at).min()) if len(pattern.kicks_s) else 1.0
        if (k in own and off < 0.03) or off > 0.06:
            chosen.append(row)
            is_kick.append(float(off < 0.03))
    return chosen, is_kick


def fit(rows: np.ndarray, is_kick: np.ndarray) -> np.ndarray:
    """The network as one run of numbers, as `meter.dsp.kick_shape.weights` takes it apart."""
    from scipy.optimize import minimize

    middle, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    scaled, sign = (rows - middle) / spread, 2.0 * is_kick - 1.0
    inputs, units = rows.shape[1], kick_shape.UNITS
    first, second = inputs * units, (inputs + 1) * units

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        into, out = flat[:first].reshape(inputs, units), flat[second:-1]
        hidden = np.tanh(scaled @ into + flat[first:second])
        margin = sign * (hidden @ out + flat[-1])
        slope = -sign / (1.0 + np.exp(margin)) / len(rows)
        inner = slope[:, None] * out * (1.0 - hidden * hidden)
        decay = DECAY * float((into * into).sum() + 0.1 * (out * out).sum())
        parts = [
            (scaled.T @ inner + 2.0 * DECAY * into).reshape(-1),
            inner.sum(axis=0),
            hidden.T @ slope + 0.2 * DECAY * out,
            [slope.sum()],
        ]
        return float(np.logaddexp(0.0, -margin).mean()) + decay, np.concatenate(parts)

    rng = np.random.default_rng(0)
    start = [rng.normal(0.0, inputs**-0.5, first), np.zeros(units), rng.normal(0.0, 0.5, units), [0.0]]
    options = {"maxiter": ROUNDS, "maxfun": 2 * ROUNDS}
    found = minimize(loss, np.concatenate(start), jac=True, method="L-BFGS-B", options=options).x
    into = found[:first].reshape(inputs, units) / spread[:, None]
    return np.concatenate([into.reshape(-1), found[first:second] - middle @ into, found[second:]])


def gathered() -> tuple[np.ndarray, np.ndarray]:
    """All moments of the patterns and of the bare lines.

    Of the patterns every eighth has no kick, every ninth nothing but kicks.
    """
    rows: list[np.ndarray] = []
    is_kick: list[float] = []
    for seed in SEEDS:
        style = patterns.any_style(seed)
        if seed % 8 == 7:
            style = replace(style, with_kicks=False)
        if seed % 9 == 8:
            style = replace(style, with_drums=False, break_gain=0.0, growl=False, sub_gain=0.0)
        more, kicks = moments_of(patterns.make(style))
        rows += more
        is_kick += kicks
    for seed in BARE_SEEDS:
        more, kicks = moments_of(patterns.Pattern(samples=bare_bass(seed), kicks_s=np.zeros(0)))
        rows += more
        is_kick += kicks
    return np.array(rows), np.array(is_kick)


def main() -> None:
    """Fit, say how well, and write it down."""
    rows, is_kick = gathered()
    print(f"{int(is_kick.sum())} kicks and {int((1 - is_kick).sum())} other moments")
    flat = fit(rows, is_kick).astype(np.float32)
    FILE.parent.mkdir(exist_ok=True)
    np.save(FILE, flat)
    kick_shape.weights.cache_clear()
    scores = kick_shape.scores_of(rows) - kick_shape.EAGER
    print(f"missed {int(((scores < 0) & (is_kick > 0)).sum())}, ", end="")
    print(f"taken for one {int(((scores > 0) & (is_kick == 0)).sum())}; {FILE.name} is written")


if __name__ == "__main__":
    main()
