"""Correlation and loss in mono from three sums. Formulas and the printed table: facts.md 5, CALC."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.stereo import FLOOR_DB, correlation, fold_loss_db

POWERS = st.floats(1e-12, 1e6)


@given(ll=POWERS, rr=POWERS, rho=st.floats(-1.0, 1.0))
def test_correlation_is_the_coefficient_whatever_the_levels(ll, rr, rho):
    assert correlation(ll, rr, rho * math.sqrt(ll) * math.sqrt(rr)) == pytest.approx(rho, abs=1e-9)


@given(ll=POWERS, rr=POWERS, rho=st.floats(-1.5, 1.5))
def test_correlation_never_leaves_minus_1_to_1_by_rounding(ll, rr, rho):
    assert -1.0 <= correlation(ll, rr, rho * math.sqrt(ll * rr)) <= 1.0


@given(power=POWERS)
def test_equal_and_opposite_channels_read_1_and_minus_1_exactly(power):
    assert (correlation(power, power, power), correlation(power, power, -power)) == (1.0, -1.0)


@pytest.mark.parametrize(("ll", "rr"), [(0.0, 1.0), (1.0, 0.0), (0.0, 0.0)])
def test_correlation_is_blank_when_a_channel_is_silent(ll, rr):
    """There it is undefined, and must never be NaN: facts.md 5.7."""
    assert correlation(ll, rr, 0.0) is None


def test_correlation_of_very_faint_and_very_loud_signals_does_not_overflow():
    assert correlation(1e-300, 1e-300, 1e-300) == pytest.approx(1.0)
    assert correlation(1e300, 1e300, -1e300) == pytest.approx(-1.0)


# rho: (L+R)/2 re one channel, dB (facts.md 5, mono-sum table, CALC)
MONO_SUM = {
    1.0: 0.0, 0.9: -0.223, 0.75: -0.580, 0.7: -0.706, 0.5: -1.249, 0.3: -1.871, 0.25: -2.041, 0.0: -3.010,
    -0.25: -4.260, -0.5: -6.021, -0.75: -9.031, -0.9: -13.010, -0.99: -23.010,
}  # fmt: skip


@pytest.mark.parametrize(("rho", "loss_db"), MONO_SUM.items())
def test_equal_levels_lose_what_the_mono_sum_table_says(rho, loss_db):
    assert fold_loss_db(0.3, 0.3, 0.3 * rho) == pytest.approx(loss_db, abs=0.0006)


@given(gain=st.floats(0.0, 100.0), rho=st.floats(-0.999, 1.0))
def test_unequal_levels_lose_what_the_formula_says(gain, rho):
    """10·log10((1 + g² + 2·rho·g) / (2·(1 + g²))): design.md 5."""
    kept = (1.0 + gain**2 + 2.0 * rho * gain) / (2.0 * (1.0 + gain**2))
    wanted = max(FLOOR_DB, min(0.0, 10.0 * math.log10(kept)))
    assert fold_loss_db(1.0, gain**2, rho * gain) == pytest.approx(wanted, abs=1e-6)


def test_one_side_alone_loses_3_01_db():
    assert fold_loss_db(1.0, 0.0, 0.0) == pytest.approx(-3.0103, abs=1e-4)


def test_opposite_channels_read_the_floor_and_no_lower():
    assert fold_loss_db(1.0, 1.0, -1.0) == FLOOR_DB == -60.0
    assert fold_loss_db(1.0, 1.0, -1.0 - 1e-9) == FLOOR_DB
    assert fold_loss_db(1.0, 1.0, -1.0 + 2e-6) == FLOOR_DB
    assert fold_loss_db(1.0, 1.0, -1.0 + 4e-6) > FLOOR_DB


def test_equal_channels_lose_nothing_and_gain_nothing_by_rounding():
    assert fold_loss_db(1.0, 1.0, 1.0 + 1e-9) == 0.0


def test_silence_loses_nothing_that_could_be_said():
    assert fold_loss_db(0.0, 0.0, 0.0) is None
