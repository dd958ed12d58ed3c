"""Bounded memory: within 0.005 LU of the full computation for I, within 0.02 LU for LRA."""

from __future__ import annotations

import math
from bisect import bisect_left

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.dsp import gating
from meter.dsp.histogram import _EDGES, PowerHistogram, _bin_of
from meter.units import lufs_to_power, power_to_lufs

I_WITHIN_LU = 0.005
LRA_WITHIN_LU = 0.02


def histogram_of(powers: np.ndarray) -> PowerHistogram:
    histogram = PowerHistogram()
    histogram.add(powers.tolist())
    return histogram


@st.composite
def programmes(draw) -> np.ndarray:
    """Stretches of music, each with its own level, spread and drift: from silence to +20 LUFS."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    parts = []
    for _ in range(draw(st.integers(1, 6))):
        level = draw(st.floats(-80.0, 10.0))
        count = draw(st.integers(1, 1500))
        drift = np.linspace(0.0, draw(st.floats(-15.0, 15.0)), count)
        parts.append(level + drift + draw(st.floats(0.1, 6.0)) * rng.standard_normal(count))
    return 10.0 ** ((np.minimum(np.concatenate(parts), 19.9) + 0.691) / 10.0)


def sure_and_possible(programme: np.ndarray, gate_ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """Powers that pass the relative gate by more than a bin, and those that may share the bin it cuts."""
    loud = programme[programme > gating.ABSOLUTE_GATE_POWER]
    gate, one_bin = loud.mean() * gate_ratio, 10.0**0.001
    return np.sort(loud[loud > gate * one_bin]), np.sort(loud[loud > gate / one_bin])


@given(programme=programmes())
@settings(max_examples=200)
def test_random_programmes_read_as_in_full_but_for_the_one_bin_that_the_gate_cuts(programme):
    found, full = histogram_of(programme).integrated_lufs(), gating.gated_loudness(programme)
    if math.isinf(full):
        assert found == full
        return
    bounds = [full, *(power_to_lufs(kept.mean()) for kept in sure_and_possible(programme, 0.1))]
    assert min(bounds) - 1e-9 <= found <= max(bounds) + 1e-9


@given(programme=programmes())
@settings(max_examples=200)
def test_the_range_of_random_programmes_reads_as_in_full_but_for_that_bin(programme):
    found, full = histogram_of(programme).range_lu(), gating.loudness_range(programme)
    if full is None:
        assert found is None
        return
    (low, high), (lower, less_high) = (
        [10.0 * math.log10(kept[math.floor((len(kept) - 1) * share / 100.0 + 0.5)]) for share in (10.0, 95.0)]
        for kept in sure_and_possible(programme, 0.01)
    )
    assert less_high - low - LRA_WITHIN_LU <= found <= high - lower + LRA_WITHIN_LU


@pytest.mark.parametrize("seed", range(8))
def test_ten_minutes_of_programme_read_as_in_full(seed):
    """Thousands of blocks without holes, as music has them: no allowance for the bin that the gate cuts."""
    rng = np.random.default_rng(seed)
    walk = np.cumsum(rng.standard_normal(6000)) * 0.4
    levels = -14.0 + 8.0 * np.tanh(walk / 8.0) + rng.standard_normal(6000)
    programme = 10.0 ** ((levels + 0.691) / 10.0)
    histogram = histogram_of(programme)
    assert histogram.integrated_lufs() == pytest.approx(gating.gated_loudness(programme), abs=I_WITHIN_LU)
    assert histogram.range_lu() == pytest.approx(gating.loudness_range(programme), abs=LRA_WITHIN_LU)


@pytest.mark.parametrize("level_lufs", [-69.999, -60.005, -23.0, -22.995, 0.0, 19.99, 25.0, 264.0])
def test_a_steady_level_reads_exactly(level_lufs):
    """Sums are kept, not bin centres; above +20 LUFS in the overflow bin."""
    histogram = histogram_of(np.full(100, lufs_to_power(level_lufs)))
    assert histogram.integrated_lufs() == pytest.approx(level_lufs, abs=1e-9)
    assert histogram.range_lu() == pytest.approx(0.0, abs=1e-9)


def test_two_levels_read_exactly():
    programme = np.repeat([lufs_to_power(-20.0), lufs_to_power(-29.5)], 50)
    assert histogram_of(programme).integrated_lufs() == pytest.approx(
        gating.gated_loudness(programme), abs=1e-9
    )
    programme = np.repeat([lufs_to_power(-20.0), lufs_to_power(-31.0)], [90, 10])
    assert histogram_of(programme).integrated_lufs() == pytest.approx(-20.0, abs=1e-9)


def test_a_level_in_the_very_bin_that_the_gate_cuts_is_still_told_from_it():
    """Nine blocks of 1 and one of x have their gate at x = 1/11; 0.0004 LU beside it."""
    for softer, is_kept in ((0.9999 / 11.0, False), (1.0001 / 11.0, True)):
        programme = np.array([1.0] * 9 + [softer])
        wanted = power_to_lufs(programme.mean() if is_kept else 1.0)
        assert gating.gated_loudness(programme) == pytest.approx(wanted, abs=1e-9)
        assert histogram_of(programme).integrated_lufs() == pytest.approx(wanted, abs=1e-9)


def test_the_absolute_gate_is_strict():
    assert histogram_of(np.array([gating.ABSOLUTE_GATE_POWER])).integrated_lufs() == -math.inf
    just_above = np.nextafter(gating.ABSOLUTE_GATE_POWER, 1.0)
    assert histogram_of(np.array([just_above])).integrated_lufs() == pytest.approx(-70.0)


def test_nothing_yet_is_none_and_silence_is_minus_infinity():
    assert PowerHistogram().integrated_lufs() is None
    assert PowerHistogram().range_lu() is None
    assert histogram_of(np.zeros(3)).integrated_lufs() == -math.inf
    assert histogram_of(np.zeros(3)).range_lu() is None


def test_the_range_of_six_steps_is_4_lu():
    """facts.md 2.34, CALC."""
    levels = (-30.0, -29.0, -28.0, -27.0, -26.0, -25.0)
    found = histogram_of(np.array([lufs_to_power(level) for level in levels])).range_lu()
    assert found == pytest.approx(4.0, abs=1e-9)


@given(cuts=st.lists(st.integers(0, 300), max_size=10))
def test_any_cutting_gives_the_same_sums(cuts):
    programme = 10.0 ** (np.random.default_rng(5).uniform(-7.5, 1.0, 300))
    cut = PowerHistogram()
    for part in np.split(programme, sorted(cuts)):
        cut.add(part)
    whole = histogram_of(programme)
    assert (cut.integrated_lufs(), cut.range_lu()) == (whole.integrated_lufs(), whole.range_lu())


@given(loudness_lufs=st.floats(-90.0, 30.0) | st.sampled_from([-70.0, -69.99, 0.0, 19.99, 20.0]))
@settings(max_examples=300)
def test_the_bin_of_a_power_is_the_number_of_edges_under_it(loudness_lufs):
    for power in (lufs_to_power(loudness_lufs), 0.0, math.inf):
        for near in (power, math.nextafter(power, 0.0), math.nextafter(power, math.inf)):
            assert _bin_of(near) == bisect_left(_EDGES, near)
