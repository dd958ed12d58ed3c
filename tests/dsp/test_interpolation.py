"""Halved matrix products give the points that the filters give one by one, and no peak is passed over."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.dsp.grid import Grid
from meter.dsp.halved_lines import HalvedLines
from meter.dsp.interpolation import LEFT_FRAMES, PAST_FRAMES
from meter.dsp.interpolator import TAPS, interpolating_filters, oversampling
from meter.dsp.line_choice import WIDE_KERNELS, has_wide_products
from meter.dsp.peak_fit import sine_peaks
from meter.dsp.true_peak import TruePeakMeter, _Flags
from meter.dsp.whole_lines import WholeLines
from meter.dsp.window import Window

# Usual rates; blocks that do not fill the lines (11025); awkward divisors (8300: 5 frames a line,
# 88300: 5 with one point between samples, so lines shorter than the eight flags looked at together).
RATES_HZ = [8000, 8300, 11_025, 44_100, 48_000, 88_300, 96_000]


def plain_wave(past_and_new: np.ndarray, factor: int) -> np.ndarray:
    """Samples and the points after each, one dot product after the other; shape (frames, factor)."""
    filters = interpolating_filters(factor)
    windows = np.lib.stride_tricks.sliding_window_view(past_and_new.astype(np.float64), TAPS)
    return np.column_stack([windows[:, LEFT_FRAMES], *(windows @ taps for taps in filters)])


def filled_window(rate_hz: int, blocks: int, *, seed: int, channels: int = 2) -> tuple[Window, np.ndarray]:
    frames = sum(Grid(rate_hz).block_frames(k) for k in range(blocks))
    samples = np.random.default_rng(seed).uniform(-1.0, 1.0, (frames, channels)).astype(np.float32)
    window = Window(channels=channels, past_frames=PAST_FRAMES)
    window.push(samples)
    padded = np.concatenate([np.zeros((PAST_FRAMES, channels), np.float32), samples])
    return window, padded


@pytest.mark.parametrize("kind", [WholeLines, HalvedLines])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_line_holds_the_points_of_the_filters(rate_hz, kind):
    grid = Grid(rate_hz)
    blocks = 3 if grid.is_regular else 1
    points = kind(grid, channels=2)
    window, padded = filled_window(rate_hz, blocks, seed=3)
    points.begin(window, blocks=blocks, strip_blocks=2)
    frames, factor = window.frames // blocks, oversampling(rate_hz)
    heights = np.concatenate(
        [
            np.maximum.reduce(
                [table.max(axis=1) for table in points.heights_of(first, min(2, blocks - first))]
            )
            for first in range(0, blocks, 2)
        ]
    )
    waves = points.waves(np.arange(blocks * 2 * points.lines))
    waves = waves.reshape(blocks, 2, points.lines, -1)
    for channel in range(2):
        wanted = plain_wave(padded[:, channel], factor)
        for block in range(blocks):
            own = wanted[block * frames : (block + 1) * frames].reshape(-1)
            found = waves[block, channel, :, 1:-1].reshape(-1)[: len(own)]
            np.testing.assert_allclose(found, own, rtol=0.0, atol=2e-6)
            assert heights[block * 2 + channel] == pytest.approx(np.abs(own).max(), abs=2e-6)
            # The point before a line is the last one of the line before it, across blocks too.
            first = waves[block, channel, 0, 0]
            assert first == pytest.approx(wanted[block * frames - 1, -1] if block else 0.0, abs=2e-6)


@given(
    seed=st.integers(0, 500),
    way=st.sampled_from([WholeLines, HalvedLines]),
    kind=st.sampled_from(["noise", "tone", "spikes"]),
)
@settings(max_examples=25, deadline=None)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_no_peak_is_passed_over(rate_hz, seed, way, kind):
    """Against a search through all points that leaves nothing out."""
    grid, factor = Grid(rate_hz), oversampling(rate_hz)
    blocks = 2 if grid.is_regular else 1
    window, _ = filled_window(rate_hz, blocks, seed=seed, channels=1)
    rng = np.random.default_rng(seed)
    frames = window.frames
    samples = {
        "noise": lambda: rng.standard_normal(frames),
        "tone": lambda: np.sin(2.0 * np.pi * rng.uniform(0.01, 0.45) * np.arange(frames) + rng.uniform(0, 6)),
        "spikes": lambda: (rng.random(frames) < 0.01) * rng.uniform(-1.0, 1.0, frames),
    }[kind]().astype(np.float32)
    window.push(samples[:, None])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("meter.dsp.true_peak.interpolation", way)
        meter = TruePeakMeter(grid, channels=1, limit=np.inf)
    # The window's past is noise of its own: the same for both ways.
    wave = plain_wave(window.planar(PAST_FRAMES)[0], factor).reshape(-1)
    found = meter.process(window, blocks=blocks).amplitudes[:, 0]
    following = window.planar(PAST_FRAMES)[0, LEFT_FRAMES + frames]
    line = np.concatenate([[0.0], wave, [following]])
    fitted = sine_peaks(line[:-2], line[1:-1], line[2:], factor=factor)
    # The very first point has no neighbour before it: the meter took silence there, as for a start.
    wanted = fitted.reshape(blocks, -1).max(axis=1)
    np.testing.assert_allclose(found, wanted, rtol=3e-5, atol=1e-6)


@given(seed=st.integers(0, 10_000), apart=st.integers(1, 60))
@settings(max_examples=60)
def test_places_of_flags_leave_no_stretch_out(seed, apart):
    rng = np.random.default_rng(seed)
    flags = _Flags(int(rng.integers(1, 5)), int(rng.integers(1, 90)))
    flags.table[:] = rng.random(flags.table.shape) < 0.05
    wanted = set(np.flatnonzero(flags.table) // apart)
    found = set(np.concatenate(flags.places(apart)) // apart)
    assert wanted <= found


@pytest.mark.parametrize("name", ["Haswell", "SkylakeX", "Zen"])
def test_the_way_follows_the_kernels_that_were_asked_for(name, monkeypatch):
    """The variable as OpenBLAS documents it; which kernels are 512 bits wide: its sources, from memory."""
    monkeypatch.setenv("OPENBLAS_CORETYPE", name)
    has_wide_products.cache_clear()
    try:
        assert has_wide_products() == (name.casefold() in WIDE_KERNELS) == (name == "SkylakeX")
    finally:
        has_wide_products.cache_clear()


@pytest.mark.parametrize(
    ("current", "is_wide"), [("AVX512_SKX", True), ("X86_V4", True), ("X86_V3", False), ("ASIMD", False)]
)
def test_else_it_follows_what_numpy_runs_on(current, is_wide, monkeypatch):
    """Names of numpy 2.0 to 2.4: seen in what they print."""
    told = {"maximum": {"fff": {"current": current, "available": "X86_V4 X86_V3 baseline(X86_V2)"}}}
    monkeypatch.delenv("OPENBLAS_CORETYPE", raising=False)
    monkeypatch.setattr(np.lib.introspect, "opt_func_info", lambda **_: told)
    has_wide_products.cache_clear()
    try:
        assert has_wide_products() == is_wide
    finally:
        has_wide_products.cache_clear()
