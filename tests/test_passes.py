"""A pass, or any part of one, measured again from its soundings."""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.errors import UsageError
from meter.passes import measure, summarise, weighted_powers
from meter.soundings import BANDS, LOW_BANDS, Gap, Soundings, Summary, empty_soundings
from meter.standards.signals import gated_lufs_of_steps, stepped_sine
from tests.support.sound import noise, run, run_to_end, silence, tone

K_AT_1_KHZ_DB = 0.6977
"""Facts.md 1.1, CALC from ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2."""


def steps(*steps_: tuple[float, float], rate_hz: int = 8000) -> np.ndarray:
    """1 kHz on both channels in steps of (seconds, dBFS)."""
    return np.repeat(stepped_sine(steps_, rate_hz=rate_hz)[:, None], 2, axis=1).astype(np.float32)


def rows_of(samples: np.ndarray, rate_hz: int = 8000, **options: float) -> Soundings:
    return run_to_end(Chain(rate_hz=rate_hz, channels=samples.shape[1], **options), samples)


def summary_of(samples: np.ndarray, rate_hz: int = 8000, **options: float) -> Summary:
    return measure(samples, rate_hz=rate_hz, **options)


# --- the loudest 30 s ------------------------------------------------------------------------


def test_the_loudest_30_s_are_found_in_their_place():
    summary = summary_of(steps((21.3, -30.0), (30.0, -10.0), (25.0, -20.0)))
    assert summary.loudest_30s_at_s == pytest.approx(21.3)
    # K at 1 kHz +0.0067 re the constant; at 8 kHz within 0.007.
    assert summary.loudest_30s_lufs == pytest.approx(-9.9933, abs=0.01)
    assert not summary.loudest_30s_is_whole


def test_the_loudest_30_s_are_chosen_by_ungated_power_and_valued_gated():
    """20 s at -10 beside 10 s of near silence beat 30 s at -14 and read about -10. Formula, no filtering."""
    programme = ((31.0, -14.0), (12.0, -60.0), (20.0, -10.0), (12.0, -55.0), (31.0, -14.0))
    summary = summary_of(steps(*programme))
    assert summary.loudest_30s_at_s == pytest.approx(43.0)
    wanted = gated_lufs_of_steps(((20.0, -10.0), (10.0, -55.0)), k_gain_db=K_AT_1_KHZ_DB)
    assert summary.loudest_30s_lufs == pytest.approx(wanted, abs=0.01)


def test_the_live_reading_finds_the_same_30_s():
    samples = steps((21.3, -30.0), (30.0, -10.0), (5.0, -60.0))
    chain = Chain(rate_hz=8000, channels=2)
    summary = summarise(run_to_end(chain, samples), rate_hz=8000, channels=2)
    assert chain.reading().loudest_30s_at_s == summary.loudest_30s_at_s == pytest.approx(21.3)
    assert chain.reading().loudest_30s_lufs == pytest.approx(summary.loudest_30s_lufs, abs=1e-4)


@pytest.mark.parametrize(("seconds", "is_whole"), [(29.99, True), (30.0, False), (30.01, False)])
def test_a_pass_under_30_s_stands_in_with_its_whole_length(seconds, is_whole):
    summary = summary_of(steps((10.0, -40.0), (seconds - 10.0, -20.0)))
    assert summary.loudest_30s_is_whole == is_whole
    assert summary.loudest_30s_lufs == summary.integrated_lufs
    assert summary.loudest_30s_at_s == 0.0


def test_a_short_pass_with_a_gap_stands_in_with_both_its_sides():
    chain = Chain(rate_hz=8000, channels=2)
    rows = [run(chain, steps((5.0, -40.0))), chain.gap(80), run(chain, steps((2.0, -20.0))), chain.flush()]
    summary = summarise(np.concatenate(rows), rate_hz=8000, channels=2, gaps=chain.gaps)
    assert summary.loudest_30s_is_whole
    assert summary.loudest_30s_lufs == summary.integrated_lufs == pytest.approx(-20.0, abs=0.05)


def test_a_long_pass_that_is_broken_everywhere_has_no_30_s():
    """Not the longest stretch in their place, under a sentence that calls it all of the pass."""
    samples = steps((45.0, -20.0))
    samples[[12 * 8000, 24 * 8000, 36 * 8000]] = np.nan
    summary = summary_of(samples)
    assert (summary.loudest_30s_lufs, summary.loudest_30s_at_s) == (None, None)
    assert not summary.loudest_30s_is_whole
    assert summary.why_null["loudest_30s_lufs"] == summary.why_null["loudest_30s_at_s"] == "not yet"
    assert summary.integrated_lufs == pytest.approx(-20.0, abs=0.02)


# --- parts -----------------------------------------------------------------------------------


def test_a_part_of_a_pass_is_measured_as_if_it_were_alone():
    """Its rows against a pass that holds nothing else; the filters have rung in before it, so nearly."""
    loud, part, later = (
        noise(8.0, seed=1, level_dbfs=-3.0),
        noise(12.0, seed=2),
        noise(5.0, seed=3, level_dbfs=0.0),
    )
    loud[-48:] = 0.0  # true peak lags by half a filter: the last points before the part come with it
    rows = rows_of(np.concatenate([loud, part, later]), 48_000)
    found = summarise(rows[80:200], rate_hz=48_000, channels=2)
    alone = measure(part, rate_hz=48_000)
    for name in ("integrated_lufs", "loudness_range_lu", "momentary_max_lufs", "short_term_max_lufs",
                 "loudest_30s_lufs", "peak_to_loudness_lu", "short_term_peak_to_loudness_lu"):  # fmt: skip
        # The first windows of the part do not count for the maxima: noise is nearly as loud a little later.
        within = 0.5 if "_max_" in name else 0.15
        assert getattr(found, name) == pytest.approx(getattr(alone, name), abs=within), name
    assert found.seconds == 12.0
    assert found.loudest_30s_at_s == 8.0
    assert found.correlation == pytest.approx(alone.correlation, abs=0.001)
    for name in BANDS:
        assert found.fold_loss_db[name] == pytest.approx(alone.fold_loss_db[name], abs=0.2), name


def test_the_maxima_of_a_part_do_not_come_from_before_it():
    """Loud, then 4 s of quiet: the quiet part's maximum of S is quiet."""
    rows = rows_of(steps((5.0, -10.0), (8.0, -40.0)))
    for first in (50, 51, 53, 60):
        summary = summarise(rows[first:], rate_hz=8000, channels=2)
        assert summary.momentary_max_lufs == pytest.approx(-40.0, abs=0.01 if first > 50 else 0.5)
        assert summary.short_term_max_lufs == pytest.approx(-40.0, abs=0.01 if first > 50 else 0.5)
    # Where a pass begins, the first window that is whole is told.
    assert summarise(rows[:4], rate_hz=8000, channels=2).momentary_max_lufs == pytest.approx(-10.0, abs=0.01)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=10)
def test_the_numbers_of_a_pass_are_those_of_its_own_rows_again(seed):
    """Rows are all there is: whole pass, live reading and a second look agree."""
    samples = noise(4.0, seed=seed, rate_hz=8000)
    rows = rows_of(samples)
    assert summarise(rows, rate_hz=8000, channels=2) == summarise(rows.copy(), rate_hz=8000, channels=2)
    assert summarise(rows, rate_hz=8000, channels=2) == measure(samples, rate_hz=8000)


def test_rows_hold_loudness_for_weights_that_are_chosen_later():
    rows = rows_of(tone(1000, 1.0, gains=(1.0, 0.5)), 48_000)
    left_only = summarise(rows, rate_hz=48_000, channels=2, weights=(1.0, 0.0))
    assert left_only.integrated_lufs == pytest.approx(-12.0 - 3.0103 + 0.0067, abs=0.001)
    assert weighted_powers(rows, (1.0, 1.0)) == pytest.approx(rows["k_power"][:, :2].sum(axis=1))


# --- sums over the whole pass ----------------------------------------------------------------


def test_correlation_and_loss_in_mono_come_from_the_sums_over_the_pass():
    """4 s in phase, 4 s in antiphase at half the amplitude: sums, not means of readings."""
    samples = np.concatenate([tone(80, 4.0), tone(80, 4.0, gains=(0.5, -0.5))])
    summary = summary_of(samples, 48_000)
    # Powers 1 and 1/4: r = (1 - 1/4) / (1 + 1/4), kept = 1 / (1 + 1/4).
    assert summary.correlation == pytest.approx(0.6, abs=0.001)
    assert summary.fold_loss_db["full"] == pytest.approx(10.0 * math.log10(0.8), abs=0.005)
    assert summary.fold_loss_db["60-120"] == pytest.approx(10.0 * math.log10(0.8), abs=0.05)
    assert summary.low_correlation == pytest.approx(0.6, abs=0.01)


def test_a_short_last_row_counts_by_its_frames():
    samples = np.concatenate([tone(1000, 0.1), tone(1000, 0.02, gains=(1.0, -1.0))])
    summary = summary_of(samples, 48_000)
    assert summary.correlation == pytest.approx((0.1 - 0.02) / 0.12, abs=1e-4)


def test_a_low_band_far_under_the_loudest_low_end_is_blank_and_says_why():
    summary = summary_of(tone(40, 5.0, level_dbfs=-3.0), 48_000)
    assert summary.fold_loss_db["120-250"] is None
    assert summary.why_null["fold_loss_db.120-250"] == "silence"
    assert summary.fold_loss_db["20-60"] == pytest.approx(0.0, abs=1e-3)


def test_counts_are_those_of_the_rows():
    samples = silence(1.0)
    samples[[5000, 20_000, 40_000], 0] = 1.05
    samples[30_000, 1] = np.nan
    summary = summary_of(samples, 48_000)
    assert (summary.overs, summary.nonfinite_samples, summary.lost_frames, summary.gaps) == (3, 1, 0, ())
    rows = rows_of(samples, 48_000)
    gaps = (Gap(at_s=0.1, frames=3), Gap(at_s=0.2, frames=4))
    assert summarise(rows, rate_hz=48_000, channels=2, gaps=gaps).lost_frames == 7


def test_the_true_peak_of_a_channel_is_its_own():
    summary = summary_of(tone(1000, 0.5, level_dbfs=-3.0, gains=(1.0, 0.1)), 48_000)
    assert summary.true_peaks_dbtp == pytest.approx((-3.0, -23.0), abs=0.05)
    assert summary.true_peak_dbtp == max(summary.true_peaks_dbtp)


# --- short-term peak to loudness -------------------------------------------------------------


def test_the_smallest_short_term_peak_to_loudness_of_the_pass_is_told():
    """Noise is peaky, a square wave is not: 5 s of noise, 5 s of a 100 Hz square, 5 s of noise."""
    square = np.sign(tone(100, 5.0, level_dbfs=0.0, rate_hz=8000)) * np.float32(0.25)
    parts = [noise(5.0, seed=1, rate_hz=8000, level_dbfs=-14.0), square, noise(5.0, seed=2, rate_hz=8000)]
    alone = summary_of(square).short_term_peak_to_loudness_lu
    together = summary_of(np.concatenate(parts)).short_term_peak_to_loudness_lu
    assert together == pytest.approx(alone, abs=0.1)
    assert (
        together < min(summary_of(part).short_term_peak_to_loudness_lu for part in (parts[0], parts[2])) - 3.0
    )


def test_stretches_under_the_absolute_gate_say_nothing_of_it():
    """4 kHz has the smaller ratio (K +3.97 dB there), but at -80 dBFS nobody hears it."""
    plain, high = tone(1000, 5.0), tone(4000, 5.0)
    assert summary_of(high, 48_000).short_term_peak_to_loudness_lu == pytest.approx(-3.277, abs=0.05)
    faint = high * np.float32(10.0 ** (-68.0 / 20.0))
    summary = summary_of(np.concatenate([plain, silence(0.1), faint]), 48_000)
    assert summary.short_term_peak_to_loudness_lu == pytest.approx(-0.0067, abs=0.05)


# --- why a value is missing ------------------------------------------------------------------


def test_nothing_at_all_is_not_yet():
    summary = summarise(empty_soundings(), rate_hz=48_000, channels=2)
    assert summary.seconds == 0.0
    assert set(summary.why_null.values()) == {"not yet"}
    assert {"integrated_lufs", "true_peak_dbtp", "correlation", "fold_loss_db"} <= set(summary.why_null)


def test_what_needs_more_time_is_not_yet():
    summary = summary_of(tone(1000, 0.3), 48_000)
    for name in ("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "loudness_range_lu",
                 "loudest_30s_lufs", "peak_to_loudness_lu", "short_term_peak_to_loudness_lu"):  # fmt: skip
        assert getattr(summary, name) is None
        assert summary.why_null[name] == "not yet"
    assert summary.correlation == pytest.approx(1.0)


@pytest.mark.parametrize("level_dbfs", [-math.inf, -75.0])
def test_silence_is_called_so_whether_digital_or_under_the_gate(level_dbfs):
    summary = summary_of(tone(1000, 5.0, level_dbfs=level_dbfs), 48_000)
    assert summary.integrated_lufs == -math.inf
    assert summary.loudness_range_lu is None
    for name in ("integrated_lufs", "loudness_range_lu", "peak_to_loudness_lu"):
        assert summary.why_null[name] == "silence", name


@pytest.mark.parametrize("seconds", [0.0, 2.0])
def test_a_pair_of_a_mono_pass_does_not_apply(seconds):
    summary = summary_of(tone(1000, seconds)[:, :1], 48_000)
    for name in ("correlation", "low_correlation", "fold_loss_db"):
        assert summary.why_null[name] == "does not apply"
    assert summary.fold_loss_db == dict.fromkeys(BANDS)


def test_a_silent_channel_has_no_correlation():
    summary = summary_of(tone(50, 2.0, gains=(1.0, 0.0)), 48_000)
    assert (summary.correlation, summary.low_correlation) == (None, None)
    assert summary.why_null["correlation"] == "silence"
    assert summary.fold_loss_db["full"] == pytest.approx(-3.0103, abs=0.001)


@pytest.mark.parametrize("seconds", [0.0, 0.1, 0.5, 3.5])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_every_value_that_is_missing_has_a_reason(seconds, channels):
    for samples in (silence(seconds, channels=channels), noise(seconds, seed=1, channels=channels)):
        summary = summary_of(samples, 48_000)
        missing = {
            field.name
            for field in fields(summary)
            if (value := getattr(summary, field.name)) is None
            or (isinstance(value, float) and math.isinf(value))
        }
        assert missing <= set(summary.why_null)
        bands = {name for name in LOW_BANDS if summary.fold_loss_db[name] is None}
        assert "fold_loss_db" in summary.why_null or {f"fold_loss_db.{name}" for name in bands} <= set(
            summary.why_null
        )


# --- measure ---------------------------------------------------------------------------------


def test_samples_of_another_shape_are_named():
    sentence = r"the samples have the shape \(480,\), but frames and channels were expected; reshape them to"
    with pytest.raises(UsageError, match=sentence):
        measure(np.zeros(480, np.float32), rate_hz=48_000)


def test_the_options_reach_the_chain():
    samples = tone(40, 1.0, level_dbfs=-6.0) + tone(120, 1.0, level_dbfs=-6.0, gains=(1.0, -1.0))
    narrow, wide = (summary_of(samples, 48_000, crossover_hz=crossover_hz) for crossover_hz in (60.0, 200.0))
    assert narrow.fold_loss_db["below_crossover"] > wide.fold_loss_db["below_crossover"] + 1.0
    assert summary_of(samples, 48_000, over_limit_dbtp=6.1).overs == 0
    assert summary_of(samples, 48_000, over_limit_dbtp=-1.0).overs > 0
    weighted = measure(samples, rate_hz=48_000, weights=(1.0, 0.0))
    assert weighted.integrated_lufs < summary_of(samples, 48_000).integrated_lufs - 2.0
    with pytest.raises(UsageError, match="there are 1 weights for 2 channels"):
        measure(samples, rate_hz=48_000, weights=(1.0,))
