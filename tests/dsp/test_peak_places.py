"""No peak and no over is passed over, and where the waveform is smooth little is worked out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.dsp.grid import Grid
from meter.dsp.interpolation import CENTRE, LINE_FRAMES, PAST_FRAMES
from meter.dsp.interpolator import oversampling
from meter.dsp.peak_fit import largest_rise, sine_peaks
from meter.dsp.peak_places import PeakPlaces
from meter.dsp.true_peak import LAG_FRAMES, TruePeakMeter
from meter.dsp.window import Window
from tests.dsp.test_interpolation import plain_wave

# Usual rates; blocks whose lengths differ (11025); awkward divisors (8300, 88300).
RATES_HZ = [8000, 8300, 11_025, 44_100, 48_000, 88_300, 96_000]


def made(kind: str, frames: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    at = np.arange(frames)
    return {
        "noise": lambda: 0.5 * rng.standard_normal(frames),
        "tone": lambda: np.sin(2.0 * np.pi * rng.uniform(0.01, 0.45) * at + rng.uniform(0, 6)),
        "bass": lambda: np.sin(2.0 * np.pi * rng.uniform(3e-4, 3e-3) * at) + rng.normal(0.0, 0.02, frames),
        "clipped": lambda: np.clip(2.0 * rng.standard_normal(frames), -0.8, 0.8),
        "spikes": lambda: (rng.random(frames) < 0.01) * rng.uniform(-1.0, 1.0, frames),
        "one spike": lambda: (at == rng.integers(0, frames)) * 1.0,
        "pairs": lambda: np.repeat(rng.choice([-1.0, 1.0], frames // 2 + 1), 2)[:frames],
    }[kind]().astype(np.float32)


KINDS = ["noise", "tone", "bass", "clipped", "spikes", "one spike", "pairs"]


@given(seed=st.integers(0, 500), kind=st.sampled_from(KINDS), limit=st.sampled_from([np.inf, 1.0, 0.3]))
@settings(max_examples=25, deadline=None)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_no_peak_is_passed_over(rate_hz, seed, kind, limit):
    """Against a search through all points that leaves nothing out."""
    grid, factor = Grid(rate_hz), oversampling(rate_hz)
    blocks = 2 if grid.is_regular else 1
    frames = grid.block_frames(0)
    window = Window(channels=1, past_frames=PAST_FRAMES)
    window.push(made("noise", blocks * frames, seed + 1)[:, None])
    window.push(made(kind, blocks * frames, seed)[:, None])
    meter = TruePeakMeter(grid, channels=1, limit=limit)
    source = window.planar(PAST_FRAMES)[0]
    wave = plain_wave(source, factor)
    line = np.concatenate([[wave[0, -1]], wave[1:].reshape(-1), [source[CENTRE + blocks * frames]]])
    fitted = sine_peaks(line[:-2], line[1:-1], line[2:], factor=factor)
    found = meter.process(window, blocks=blocks)
    wanted = fitted.reshape(blocks, -1).max(axis=1)
    np.testing.assert_allclose(found.amplitudes[:, 0], wanted, rtol=3e-5, atol=1e-6)
    # Every point that stands above the limit is an over, or lies between two that are near.
    above = np.flatnonzero(np.abs(wave[1:]).max(axis=1) > limit * (1.0 + 1e-5)) - LAG_FRAMES
    told = np.unique(found.over_frames)
    assert (found.over_amplitudes > limit).all()
    assert len(told) > 0 or len(above) == 0
    for end, nearest in ((above, "right"), (above, "left")):
        at = np.searchsorted(told, end, side=nearest)
        before, after = told[np.maximum(at - 1, 0)], told[np.minimum(at, len(told) - 1)]
        assert ((end == before) | (end == after) | (after - before <= LINE_FRAMES)).all()


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_the_lines_are_few_where_the_waveform_is_smooth(rate_hz):
    grid, factor = Grid(rate_hz), oversampling(rate_hz)
    frames, blocks = grid.block_frames(0), 40
    places = PeakPlaces(grid, channels=1, factor=factor)
    at = np.arange(blocks * frames + PAST_FRAMES)
    lines = blocks * -(-frames // LINE_FRAMES)

    def share(samples: np.ndarray) -> float:
        source = samples.astype(np.float32)[None]
        rows, first = places.lines(source, blocks=blocks, frames=frames, limit=np.inf)
        assert (np.diff(rows) >= 0).all() and (first <= frames - LINE_FRAMES).all()
        return len(rows) / lines

    # CALC: a sine is above 1/rise of its height for 2·acos(1/rise)/pi of the time; the rest: edges of lines.
    above = 2.0 * np.arccos(1.0 / largest_rise(factor)) / np.pi
    assert above < share(np.sin(2.0 * np.pi * 50.0 * at / rate_hz)) < above + 0.1
    assert share(np.random.default_rng(1).standard_normal(len(at))) > 0.9
    assert share(np.zeros(len(at))) == 0.0


@pytest.mark.parametrize("frame", [0, 2399, 2400])
def test_the_point_before_a_line_and_the_one_at_the_end_of_a_block_are_not_forgotten(frame):
    """Only the sample behind such a point is high enough to tell of it."""
    grid, factor = Grid(48_000), 4
    samples = np.zeros(4800 + PAST_FRAMES, np.float32)
    samples[CENTRE + frame] = 1.0
    samples[CENTRE + frame - 1] = 0.2
    places = PeakPlaces(grid, channels=1, factor=factor)
    rows, first = places.lines(samples[None], blocks=2, frames=2400, limit=np.inf)
    before = frame - 1
    if before >= 0:
        row, start = before // 2400, before % 2400 // LINE_FRAMES * LINE_FRAMES
        assert (row, start) in set(zip(rows.tolist(), first.tolist(), strict=True))
