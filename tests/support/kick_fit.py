"""``python -m tests.support.kick_fit``: the table of `meter.dsp.kick_shape`, worked out anew.

A logistic regression over the moments at which something begins in many patterns with known kicks. What it
prints is written into the module by hand; the tests hold it to other patterns than these.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meter.dsp import kick_onsets
from meter.dsp.decimator import Decimator
from meter.dsp.grid import Grid
from meter.dsp.window import Window
from meter.units import powers_to_db
from tests.support import drum_patterns as patterns

SEEDS = range(160)
RIDGE = 1e-3


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

    def _scores(self, found):  # type: ignore[no-untyped-def]
        moments = self._powers[found[:, None] + np.arange(-kick_onsets.BEFORE, kick_onsets.AFTER)]
        shapes, loudest = kick_onsets.shapes_of(moments)
        under_db = powers_to_db(loudest / np.maximum(self._louds[found], 1e-30))
        self.kept = np.concatenate(
            [shapes.reshape(len(found), -1), np.clip(under_db, kick_onsets.FLOOR_DB, 0.0)[:, None]], axis=1
        )
        return np.arange(len(found))


def moments_of(pattern: patterns.Pattern) -> tuple[list[np.ndarray], list[float]]:
    """Numbers of every moment of a pattern, and whether it is a kick."""
    low, rate_hz, late_s = low_of(pattern.samples)
    finder = _Keeper(rate_hz)
    rows, at_s = [], []
    for start in range(0, len(low) - finder.chunk_frames + 1, finder.chunk_frames):
        for sample, k in finder.process(low[start : start + finder.chunk_frames]):
            rows.append(finder.kept[int(k)])
            at_s.append(sample / rate_hz - late_s)
    chosen, is_kick = [], []
    own = {int(np.abs(np.array(at_s) - kick).argmin()) for kick in pattern.kicks_s}
    for k, (row, at) in enumerate(zip(rows, at_s, strict=True)):
        off = float(np.abs(pattern.kicks_s - at).min()) if len(pattern.kicks_s) else 1.0
        if (k in own and off < 0.03) or off > 0.06:
            chosen.append(row)
            is_kick.append(float(off < 0.03))
    return chosen, is_kick


def fit(rows: np.ndarray, is_kick: np.ndarray) -> tuple[np.ndarray, float]:
    """Weights of the numbers, and what is added."""
    from scipy.optimize import minimize

    middle, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    scaled, sign = (rows - middle) / spread, 2.0 * is_kick - 1.0

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        margin = sign * (scaled @ weights[:-1] + weights[-1])
        slope = -sign / (1.0 + np.exp(margin))
        value = np.logaddexp(0.0, -margin).mean() + RIDGE * float(weights[:-1] @ weights[:-1])
        gradient = np.append(scaled.T @ slope / len(rows) + 2.0 * RIDGE * weights[:-1], slope.mean())
        return float(value), gradient

    found = minimize(loss, np.zeros(rows.shape[1] + 1), jac=True, method="L-BFGS-B").x
    weights = found[:-1] / spread
    return weights, float(found[-1] - weights @ middle)


def gathered() -> tuple[np.ndarray, np.ndarray]:
    """All moments of the patterns of `SEEDS`; every eighth has no kick, every ninth nothing but kicks."""
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
    return np.array(rows), np.array(is_kick)


if __name__ == "__main__":
    found_rows, found_kicks = gathered()
    table, added = fit(found_rows, found_kicks)
    scores = found_rows @ table + added
    print(f"# {int(found_kicks.sum())} kicks and {int((1 - found_kicks).sum())} other moments")
    print(f"# missed {int(((scores < 0) & (found_kicks > 0)).sum())}, ", end="")
    print(f"taken for one {int(((scores > 0) & (found_kicks == 0)).sum())}")
    for row in table[:-1].reshape(len(kick_onsets.MOMENTS), -1):
        print("        (" + ", ".join(f"{value:+.3f}" for value in row) + "),")
    print(f"LEVEL_WEIGHT: Final = {table[-1]:.3f}")
    print(f"BIAS: Final = {added:.2f}")
