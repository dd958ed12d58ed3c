"""Windows over 10 ms cells: M, S, their maxima, blocks for I, and the loudest 30 s.

EBU Tech 3341 v4 2.2 (SEEN-S): 0.4 s and 3 s, rectangular, not gated. BS.1770-5, Annex 1 (SEEN-P):
blocks of 400 ms every 100 ms.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.dsp.loudness import LoudnessMeter
from meter.units import lufs_to_power


def cells(*steps: tuple[float, float]) -> np.ndarray:
    """(seconds, LUFS) as powers of 10 ms cells."""
    return np.concatenate([np.full(round(100 * seconds), lufs_to_power(level)) for seconds, level in steps])


def fed(powers: np.ndarray, bad: tuple[int, ...] = ()) -> LoudnessMeter:
    meter, spoilt = LoudnessMeter(), np.zeros(len(powers), bool)
    spoilt[list(bad)] = True
    meter.process(powers, spoilt)
    return meter


def test_windows_are_none_until_they_are_full():
    meter = fed(cells((0.3, -20.0)))
    assert (meter.momentary_power, meter.momentary_max, meter.integrated_lufs()) == (None, None, None)
    meter = fed(cells((0.4, -20.0)))
    assert meter.momentary_power == pytest.approx(lufs_to_power(-20.0))
    assert meter.integrated_lufs() == pytest.approx(-20.0)
    assert (meter.short_term_power, meter.short_term_max, meter.range_lu()) == (None, None, None)
    meter = fed(cells((3.0, -20.0)))
    assert meter.short_term_power == meter.short_term_max == pytest.approx(lufs_to_power(-20.0))
    assert meter.range_lu() == 0.0


def test_windows_are_rectangular_and_not_gated():
    """Half of the window silent: 3.01 LU less, though silence is far below any gate."""
    meter = fed(cells((3.0, -math.inf), (0.2, -20.0)))
    assert meter.momentary_power == pytest.approx(lufs_to_power(-20.0) / 2.0)
    assert meter.short_term_power == pytest.approx(lufs_to_power(-20.0) * 0.2 / 3.0)


@pytest.mark.parametrize("offset_cells", range(10))
def test_the_maximum_finds_a_burst_wherever_it_falls(offset_cells):
    """400 ms that begin between two soundings: on a 100 ms grid M would miss them by up to 0.58 LU."""
    quiet_s = 1.0 + offset_cells / 100.0
    meter = fed(cells((quiet_s, -math.inf), (0.4, -20.0), (2.0 - offset_cells / 100.0, -math.inf)))
    assert meter.momentary_max == pytest.approx(lufs_to_power(-20.0))


def test_blocks_for_i_begin_every_100_ms():
    """0.7 s at -20 after silence: 4 whole blocks, and 3 on each side that hold 3/4, 1/2 and 1/4 of it."""
    meter = fed(cells((1.0, -math.inf), (0.7, -20.0), (1.0, -math.inf)))
    shares = [0.25, 0.5, 0.75, 1.0, 1.0, 1.0, 1.0, 0.75, 0.5, 0.25]
    assert meter.integrated_lufs() == pytest.approx(-20.0 + 10.0 * math.log10(np.mean(shares)), abs=1e-6)


def test_a_cell_of_replaced_samples_keeps_every_window_it_touches_out():
    """Loud cells around the bad one would otherwise raise everything."""
    powers = cells((5.0, -40.0), (0.2, 0.0), (5.0, -40.0))
    meter = fed(powers, bad=(510,))
    # Only windows without cell 510: those that end before it hold up to 100 ms of the burst.
    assert meter.momentary_max == pytest.approx(
        (10 * 1.0 * lufs_to_power(0.0) + 30 * lufs_to_power(-40.0)) / 40
    )
    assert fed(powers).momentary_max == pytest.approx(
        (20 * lufs_to_power(0.0) + 20 * lufs_to_power(-40.0)) / 40
    )
    # The one block for I that holds some of the burst ends with cell 509.
    assert meter.integrated_lufs() == pytest.approx(10.0 * math.log10(0.25), abs=0.01)


def test_a_bad_cell_spoils_40_windows_of_m_and_300_of_s():
    powers = np.full(1000, lufs_to_power(-20.0))
    spoilt = np.zeros(1000, bool)
    spoilt[500] = True
    maxima = LoudnessMeter().process(powers, spoilt)
    # Rows are 10 cells; windows that end in cells 500 to 539 touch the bad one.
    assert list(np.flatnonzero(np.isnan(maxima.momentary))) == [0, 1, 2, 50, 51, 52, 53]
    assert list(np.flatnonzero(np.isnan(maxima.short_term))) == [*range(29), *range(50, 80)]


def test_m_for_the_eye_counts_cells_of_a_sounding_that_is_not_full():
    meter = fed(cells((0.4, -30.0)))
    found = meter.partial_momentary(cells((0.05, -20.0)))
    assert found == pytest.approx((35 * lufs_to_power(-30.0) + 5 * lufs_to_power(-20.0)) / 40)
    assert meter.momentary_power == pytest.approx(lufs_to_power(-30.0))
    assert fed(cells((0.3, -30.0))).partial_momentary(cells((0.05, -30.0))) is None


def test_the_last_cells_of_a_pass_count_for_the_maxima_but_not_for_i():
    meter = fed(cells((0.4, -30.0)))
    maxima = meter.finish(cells((0.05, -10.0)), np.zeros(5, bool))
    wanted = (35 * lufs_to_power(-30.0) + 5 * lufs_to_power(-10.0)) / 40
    assert maxima.momentary == meter.momentary_max == pytest.approx(wanted)
    assert np.isnan(maxima.short_term)
    assert meter.integrated_lufs() == pytest.approx(-30.0)


def test_after_a_mark_only_what_lies_behind_it_counts_while_m_and_s_go_on():
    meter = fed(cells((5.0, -10.0)))
    meter.mark()
    assert meter.momentary_power == meter.short_term_power == pytest.approx(lufs_to_power(-10.0))
    assert (meter.momentary_max, meter.short_term_max, meter.integrated_lufs(), meter.range_lu()) == (
        None,
    ) * 4
    meter.process(cells((0.3, -30.0)), np.zeros(30, bool))
    assert meter.momentary_power == pytest.approx(
        (30 * lufs_to_power(-30.0) + 10 * lufs_to_power(-10.0)) / 40
    )
    assert (meter.momentary_max, meter.integrated_lufs()) == (None, None)
    meter.process(cells((0.1, -30.0)), np.zeros(10, bool))
    assert meter.momentary_max == pytest.approx(lufs_to_power(-30.0))
    assert meter.integrated_lufs() == pytest.approx(-30.0)
    meter.process(cells((2.6, -30.0)), np.zeros(260, bool))
    assert meter.short_term_max == pytest.approx(lufs_to_power(-30.0))
    assert meter.range_lu() == 0.0


def test_the_loudest_30_s_has_the_highest_ungated_mean_and_its_gated_value():
    """20 s at -10 with 10 s near silence beat 31 s at -14, and read -10: the silence is gated."""
    powers = cells((31.0, -14.0), (12.0, -60.0), (20.0, -10.0), (12.0, -59.0), (31.0, -14.0))
    first, loudness = fed(powers).loudest_30s()
    assert first == 430
    # 197 whole blocks, and three that hold 3/4, 1/2 and 1/4 of one.
    shares = [1.0] * 197 + [0.75, 0.5, 0.25]
    assert loudness == pytest.approx(-10.0 + 10.0 * math.log10(np.mean(shares)), abs=0.001)


def test_the_loudest_30_s_is_none_before_30_s_and_the_first_of_equals():
    assert fed(cells((29.9, -20.0))).loudest_30s() is None
    assert fed(cells((45.0, -20.0))).loudest_30s() == (0, pytest.approx(-20.0))


def test_the_loudest_30_s_holds_no_replaced_samples():
    powers = cells((30.0, -30.0), (30.0, -10.0), (30.0, -30.0))
    first, _ = fed(powers, bad=(4500,)).loudest_30s()
    assert first in (150, 451)


@given(cuts=st.lists(st.integers(0, 70), max_size=6), seed=st.integers(0, 99))
def test_any_number_of_soundings_a_call_gives_the_same(cuts, seed):
    rng = np.random.default_rng(seed)
    powers, bad = 10.0 ** rng.uniform(-6.0, 0.0, 700), rng.random(700) < 0.01
    whole, cut = LoudnessMeter(), LoudnessMeter()
    wanted = whole.process(powers, bad)
    edges = [0, *(10 * c for c in sorted(cuts)), 700]
    parts = [cut.process(powers[a:b], bad[a:b]) for a, b in pairwise(edges)]
    np.testing.assert_array_equal(np.concatenate([part.momentary for part in parts]), wanted.momentary)
    np.testing.assert_array_equal(np.concatenate([part.short_term for part in parts]), wanted.short_term)
    for name in ("momentary_power", "short_term_power", "momentary_max", "short_term_max"):
        assert getattr(cut, name) == getattr(whole, name)
    assert (cut.integrated_lufs(), cut.range_lu()) == (whole.integrated_lufs(), whole.range_lu())


def test_reset_makes_it_as_new():
    meter = fed(cells((5.0, -10.0)), bad=(490,))
    meter.reset()
    powers = cells((4.0, -20.0))
    meter.process(powers, np.zeros(400, bool))
    new = fed(powers)
    assert (meter.momentary_max, meter.short_term_power, meter.integrated_lufs()) == (
        new.momentary_max, new.short_term_power, new.integrated_lufs())  # fmt: skip


def test_m_and_s_go_on_over_a_mark_and_hold_the_zeros_of_replaced_samples():
    meter, good = LoudnessMeter(), np.zeros(10, bool)
    powers = np.linspace(0.1, 0.2, 400)
    for ten in np.split(powers[:390], 39):
        meter.process(ten, good)
    meter.mark()
    maxima = meter.process(powers[390:], ~good)
    assert np.isnan(maxima.momentary).all() and np.isnan(maxima.short_term).all()
    assert meter.momentary_power == pytest.approx(powers[-40:].mean(), rel=1e-12)
    assert meter.short_term_power == pytest.approx(powers[-300:].mean(), rel=1e-12)
