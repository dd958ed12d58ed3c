"""Gates and percentiles on lists of powers.

Sources: ITU-R BS.1770-5 (11/2023), Annex 1, both gates strict (SEEN-P); EBU Tech 3342 v4 (2023),
gates inclusive, percentile index round((n-1)·p/100) (SEEN-S).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.gating import (
    ABSOLUTE_GATE_POWER,
    LRA_ABSOLUTE_GATE_POWER,
    gated_loudness,
    gated_loudness_of_soundings,
    loudest_run,
    loudness_range,
    moving_mean,
)
from meter.units import lufs_to_power


def powers(*levels_lufs: float) -> np.ndarray:
    return np.array([lufs_to_power(level) for level in levels_lufs])


def test_no_block_is_not_yet():
    assert gated_loudness(np.empty(0)) is None


def test_silence_is_minus_infinity_and_not_minus_70():
    """The sum over no block is empty: facts.md 1.21."""
    assert gated_loudness(np.zeros(5)) == -math.inf


def test_the_absolute_gate_is_strict():
    at_gate = np.array([ABSOLUTE_GATE_POWER])
    assert gated_loudness(at_gate) == -math.inf
    assert gated_loudness(np.nextafter(at_gate, 1.0)) == pytest.approx(-70.0)
    assert ABSOLUTE_GATE_POWER == 10.0 ** ((-70.0 + 0.691) / 10.0)


def test_the_relative_gate_is_strict_and_10_lu_under_the_mean_of_what_passed_the_first():
    loud, soft = 1.0, 0.05
    # Mean (1 + x) / 2, a tenth of it equals x at x = 1/19.
    at_gate = np.array([1.0, 1.0 / 19.0])
    gate = at_gate.mean() * 0.1
    assert abs(at_gate[1] / gate - 1.0) < 1e-12
    assert gated_loudness(np.array([loud, 1.001 / 19.0])) == pytest.approx(
        -0.691 + 10.0 * math.log10(0.52634), abs=1e-3
    )
    assert gated_loudness(np.array([loud, soft])) == pytest.approx(-0.691)


def test_blocks_under_the_absolute_gate_do_not_move_the_relative_one():
    """Nine at -20 and one at -31 have their gate at -30.4; a thousand near silence must not lower it."""
    assert gated_loudness(powers(*[-20.0] * 9, -31.0)) == pytest.approx(-20.0)
    assert gated_loudness(powers(*[-20.0] * 9, -31.0, *[-71.0] * 1000)) == pytest.approx(-20.0)


def test_integrated_loudness_is_the_mean_of_powers_not_of_levels():
    wanted = 10.0 * math.log10((10.0**-2.0 + 10.0**-2.6) / 2.0)
    assert gated_loudness(powers(-20.0, -26.0)) == pytest.approx(wanted)


def test_a_block_is_four_soundings_a_step_one():
    levels = np.arange(1.0, 8.0)
    assert list(moving_mean(levels, 4)) == [2.5, 3.5, 4.5, 5.5]
    assert gated_loudness_of_soundings(np.ones(3)) is None
    assert gated_loudness_of_soundings(np.ones(4)) == pytest.approx(-0.691)


def test_the_range_of_six_steps_is_4_lu():
    """-30 to -25 in steps of 1 LU give 4: indices round(0.5) = 1 and round(4.75) = 5. facts.md 2.34."""
    assert loudness_range(powers(-30.0, -29.0, -28.0, -27.0, -26.0, -25.0)) == pytest.approx(4.0)


@given(levels=st.lists(st.floats(-50.0, -35.0), min_size=1, max_size=80))
def test_the_range_is_that_of_the_percentile_rule(levels):
    """All within 15 LU, so no gate cuts; in any order. Halves round up, as in the reference code."""
    ordered = sorted(levels)
    low, high = (ordered[math.floor((len(ordered) - 1) * share / 100.0 + 0.5)] for share in (10.0, 95.0))
    assert loudness_range(powers(*levels)) == pytest.approx(high - low, abs=1e-9)


def test_one_value_has_a_range_of_0():
    assert loudness_range(powers(-23.0)) == 0.0


def test_silence_has_no_range():
    assert loudness_range(np.zeros(10)) is None
    assert loudness_range(np.empty(0)) is None


def test_the_gates_of_the_range_are_inclusive():
    """At the gates themselves: kept."""
    assert loudness_range(np.array([LRA_ABSOLUTE_GATE_POWER])) == 0.0
    # Mean of n ones and one x, a hundredth of it equals x at x = n / (100·(n + 1) - 1).
    n = 3
    at_gate = n / (100.0 * (n + 1) - 1.0)
    inside = np.array([1.0] * n + [at_gate * 1.0001])
    outside = np.array([1.0] * n + [at_gate * 0.9999])
    assert loudness_range(inside) == pytest.approx(-10.0 * math.log10(at_gate), abs=1e-3)
    assert loudness_range(outside) == 0.0


@given(values=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=60), width=st.integers(1, 40))
def test_a_moving_mean_is_the_mean_of_each_window(values, width):
    wanted = [np.mean(values[k : k + width]) for k in range(len(values) - width + 1)]
    np.testing.assert_allclose(moving_mean(np.array(values), width), wanted, rtol=1e-12, atol=1e-15)


def test_the_loudest_run_is_the_first_of_the_highest_mean():
    assert loudest_run(np.array([0.0, 1.0, 3.0, 1.0, 3.0]), width=2) == (1, 2.0)
    assert loudest_run(np.array([1.0]), width=2) is None
