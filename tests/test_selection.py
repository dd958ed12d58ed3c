"""Any part of a pass, measured again from its soundings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.dsp.gating import gated_loudness
from meter.passes import measure
from tests.support.sound import noise, run
from tests.support.tune import RATE_HZ, part_of, tune


def whole():
    return part_of(tune())


@given(seed=st.integers(0, 10**6), seconds=st.floats(0.5, 20.0), level_dbfs=st.floats(-50.0, -6.0))
@settings(max_examples=10)
def test_the_i_of_a_pass_is_that_of_its_soundings_measured_again(seed, seconds, level_dbfs):
    """The live value comes from bins of 0.01 LU: within half a bin."""
    samples = noise(seconds, seed=seed, level_dbfs=level_dbfs, rate_hz=8000)
    chain = Chain(rate_hz=8000, channels=2)
    rows = run(chain, samples)
    live = chain.reading().integrated_lufs
    part = type(whole_part())(rows=rows, rate_hz=8000, channels=2, weights=chain.weights)
    assert part.integrated_lufs() == part.summary().integrated_lufs
    assert part.integrated_lufs() == pytest.approx(live, abs=0.006)


def whole_part():
    return part_of(tune()[:RATE_HZ])


@pytest.mark.parametrize("span", [(0, 300), (250, 700), (600, 1200)])
def test_a_selection_reads_what_the_same_sound_reads_alone(span):
    samples = tune().astype(np.float32)
    start, stop = (row * RATE_HZ // 10 for row in span)
    alone = measure(samples[start:stop], rate_hz=RATE_HZ)
    chosen = whole().selected(*span).summary()
    # Alone its filters begin in silence: that is within a sounding or two.
    for key in ("integrated_lufs", "loudest_30s_lufs", "loudness_range_lu"):
        assert getattr(chosen, key) == pytest.approx(getattr(alone, key), abs=0.02), key
    assert chosen.true_peak_dbtp == pytest.approx(alone.true_peak_dbtp, abs=0.05)
    assert chosen.fold_loss_db["full"] == pytest.approx(alone.fold_loss_db["full"], abs=0.01)


def test_without_a_stretch_no_block_reaches_over_the_cut():
    part = whole()
    kept = part.without([(200, 500)])
    power = part.rows["k_power"][:, :2].astype(float).sum(axis=1)
    whole_rows = [power[:200], power[500:-1] if part.rows["flags"][-1] else power[500:]]
    blocks = np.concatenate([np.convolve(one, np.ones(4) / 4, "valid") for one in whole_rows])
    assert kept.integrated_lufs() == pytest.approx(gated_loudness(blocks), abs=1e-9)


@given(gain_db=st.floats(-12.0, 12.0))
@settings(max_examples=10)
def test_all_of_it_at_another_gain_is_as_much_louder(gain_db):
    part = whole_part()
    moved = part.at_gain((0, len(part.rows)), gain_db)
    assert moved.integrated_lufs() - part.integrated_lufs() == pytest.approx(gain_db, abs=1e-4)
    assert moved.summary().true_peak_dbtp - part.summary().true_peak_dbtp == pytest.approx(gain_db, abs=1e-4)


def test_nothing_left_is_no_number():
    assert whole_part().without([(0, 99)]).integrated_lufs() is None
