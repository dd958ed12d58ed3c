"""The whole chain: published readings, boundaries, properties that always hold, and bad input.

Sources of the readings: ITU-R BS.1770-5 (11/2023), Annex 1 (SEEN-P); values worked out from its
coefficients are CALC (facts.md 1.2 and 2.4).
"""

from __future__ import annotations

import math
import threading
from dataclasses import asdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.dsp.k_weighting import k_weight
from meter.errors import UsageError
from meter.passes import measure, summarise
from meter.soundings import BANDS, CUT_SHORT, LOW_BANDS, NONFINITE, SOUNDING, Gap
from tests.support.sound import noise, run, run_to_end, silence, tone

RATES_HZ = (8000, 11_025, 44_100, 48_000, 96_000)


def integrated(samples: np.ndarray, rate_hz: int = 48_000) -> float | None:
    """I of the rows and I of the live reading, which must agree."""
    chain = Chain(rate_hz=rate_hz, channels=samples.shape[1])
    rows = run_to_end(chain, samples)
    live, whole = (
        chain.reading().integrated_lufs,
        summarise(rows, rate_hz=rate_hz, channels=samples.shape[1]).integrated_lufs,
    )
    assert live == whole or live == pytest.approx(whole, abs=0.005)
    return whole


# --- published readings ----------------------------------------------------------------------


# Hz, peak dBFS, gains of L and R: LUFS. Facts.md 1.2, CALC.
SINES = [
    (997, 0.0, (1.0, 0.0), -3.0103),
    (997, 0.0, (0.0, 1.0), -3.0103),
    (997, 0.0, (1.0, 1.0), 0.0),
    (997, 0.0, (1.0, -1.0), 0.0),
    (1000, -18.0, (1.0, 1.0), -17.9933),
    (1000, -23.0, (1.0, 1.0), -22.9933),
    (1000, -23.0, (1.0, 0.0), -26.0036),
    (60, -12.0, (1.0, 1.0), -15.5902),
    (50, -12.0, (1.0, 1.0), -16.6251),
    (40, -12.0, (1.0, 1.0), -18.2579),
    (30, -12.0, (1.0, 1.0), -20.9948),
]


@pytest.mark.parametrize(("f_hz", "level_dbfs", "gains", "wanted_lufs"), SINES)
def test_steady_sines_read_the_loudness_of_the_equation(f_hz, level_dbfs, gains, wanted_lufs):
    """After the onset. 400 ms of 997 Hz are no whole number of periods."""
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, tone(f_hz, 4.0, level_dbfs=level_dbfs, gains=gains))
    reading = chain.reading()
    assert reading.short_term_lufs == pytest.approx(wanted_lufs, abs=0.0002)
    assert reading.momentary_lufs == pytest.approx(wanted_lufs, abs=0.0005)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_calibration_of_the_standard_holds_at_every_rate(rate_hz):
    """0 dBFS at 997 Hz on one front channel is -3.01 LKFS. SEEN-P."""
    chain = Chain(rate_hz=rate_hz, channels=2)
    run(chain, tone(997, 4.0, level_dbfs=0.0, gains=(1.0, 0.0), rate_hz=rate_hz))
    assert chain.reading().short_term_lufs == pytest.approx(-3.01, abs=0.01)


@pytest.mark.parametrize(
    ("seconds", "wanted_lufs"), [(0.399, None), (0.400, -22.9936), (0.401, -22.9936), (0.500, -22.9934)]
)
def test_i_begins_with_the_first_whole_block(seconds, wanted_lufs):
    """-23 dBFS, 1 kHz, L and R. Facts.md 2.4, CALC."""
    found = integrated(tone(1000, seconds, level_dbfs=-23.0))
    assert found == (None if wanted_lufs is None else pytest.approx(wanted_lufs, abs=0.0002))


@pytest.mark.parametrize(
    ("level_dbfs", "wanted_lufs"), [(-69.9, -69.8933), (-70.0, -69.9933), (-70.1, -math.inf)]
)
def test_the_absolute_gate_cuts_at_minus_70_lufs(level_dbfs, wanted_lufs):
    """-70.0 dBFS stays above it by the 0.0067 dB of K at 1 kHz. Facts.md 2.4, CALC."""
    chain = Chain(rate_hz=48_000, channels=2)
    sound = tone(1000, 5.0, level_dbfs=level_dbfs)
    run(chain, sound[: 2 * 48_000])
    chain.mark()  # without the onset, where single blocks lie lower
    rows = run(chain, sound[2 * 48_000 :])
    for found in (chain.reading(), summarise(rows, rate_hz=48_000, channels=2)):
        assert found.integrated_lufs == pytest.approx(wanted_lufs, abs=0.0003)


def test_one_inverted_channel_changes_no_loudness():
    plain, inverted = (tone(1000, 2.0, level_dbfs=-23.0, gains=gains) for gains in ((1.0, 1.0), (1.0, -1.0)))
    assert integrated(plain) == integrated(inverted) == pytest.approx(-22.9933, abs=0.0002)


def test_the_lfe_is_not_counted_and_the_surrounds_weigh_1_41():
    """5.1 in the order L R C LFE Ls Rs. BS.1770-5, Annex 1, Table 3. SEEN-P."""
    for channel, weight in enumerate((1.0, 1.0, 1.0, 0.0, 1.41, 1.41)):
        gains = tuple(float(k == channel) for k in range(6))
        found = integrated(tone(997, 2.0, level_dbfs=-20.0, phases_deg=(0.0,) * 6, gains=gains))
        wanted = -math.inf if weight == 0.0 else -23.0103 + 10.0 * math.log10(weight)
        assert found == pytest.approx(wanted, abs=0.001)


def test_weights_of_the_caller_go_first():
    chain = Chain(rate_hz=48_000, channels=2, weights=(1.0, 0.0))
    run(chain, tone(997, 1.0, level_dbfs=-20.0))
    assert chain.reading().integrated_lufs == pytest.approx(-23.0103, abs=0.001)


def test_a_mono_stream_counts_once():
    assert integrated(tone(997, 2.0, level_dbfs=-20.0)[:, :1]) == pytest.approx(-23.0103, abs=0.001)


# --- what a row holds ------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_row_holds_the_mean_squares_and_peaks_of_its_frames(rate_hz):
    samples = noise(0.987, seed=1, rate_hz=rate_hz)
    rows = run_to_end(Chain(rate_hz=rate_hz, channels=2), samples)
    weighted = k_weight(samples, rate_hz=rate_hz)
    assert rows["frames"].sum() == len(samples)
    np.testing.assert_array_equal(rows["start_frame"], np.cumsum([0, *rows["frames"][:-1]]))
    full = BANDS.index("full")
    for row in rows:
        part = slice(row["start_frame"], row["start_frame"] + row["frames"])
        left, right = samples[part].astype(float).T
        wanted = (left**2).mean(), (right**2).mean(), (left * right).mean()
        assert [row[name][full] for name in ("ll", "rr", "lr")] == pytest.approx(wanted, rel=1e-5)
        assert list(row["k_power"][:2]) == pytest.approx((weighted[part] ** 2).mean(axis=0), rel=1e-5)
        assert list(row["sample_peak"][:2]) == [np.abs(left).max(), np.abs(right).max()]
    # All but the last are 100 ms, to the nearest frame.
    assert set(rows["frames"][:-1]) <= {math.floor(rate_hz / 10), math.ceil(rate_hz / 10)}
    assert list(np.flatnonzero(rows["flags"] & CUT_SHORT)) == [9]


def test_columns_of_channels_and_bands_that_are_not_there_are_zero():
    rows = run(Chain(rate_hz=48_000, channels=1), noise(0.3, seed=1, channels=1))
    for name in ("k_power", "true_peak", "sample_peak"):
        assert rows[name][:, 0].all()
        assert not rows[name][:, 1:].any()
    assert not rows["rr"].any()
    assert not rows["lr"].any()
    rows = run(Chain(rate_hz=48_000, channels=2, low_end=False), noise(0.3, seed=1))
    assert not rows["ll"][:, : len(LOW_BANDS)].any()


def test_a_pass_that_ends_with_a_sounding_has_no_row_more():
    chain = Chain(rate_hz=48_000, channels=2)
    assert len(run(chain, tone(100, 0.5)[:, :2] * 0.0)) == 5
    assert len(chain.flush()) == 0


def test_a_pass_ends_once():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, noise(0.25, seed=1))
    assert list(chain.flush()["frames"]) == [2400]
    ended = chain.reading()
    assert len(chain.flush()) == 0
    assert len(chain.process(np.zeros((0, 2), np.float32))) == 0
    assert chain.reading() == ended


def test_m_and_s_maxima_of_a_row_are_nan_until_there_are_windows():
    rows = run(Chain(rate_hz=48_000, channels=2), noise(3.2, seed=1))
    assert list(np.flatnonzero(np.isnan(rows["momentary_max"]))) == [0, 1, 2]
    assert list(np.flatnonzero(np.isnan(rows["short_term_max"]))) == list(range(29))


# --- a mark ----------------------------------------------------------------------------------


def test_a_mark_begins_a_new_pass_with_the_sounding_that_is_open():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, noise(1.07, seed=1, level_dbfs=-3.0))
    chain.mark()
    assert chain.reading().at_s == pytest.approx(0.07)
    rows = run(chain, noise(0.13, seed=2))
    assert list(rows["start_frame"]) == [0, 4800]
    assert list(rows["flags"]) == [0, 0]
    assert chain.reading().at_s == pytest.approx(0.2)


def test_after_a_mark_i_and_the_maxima_know_nothing_of_before_while_m_and_s_go_on():
    chain = Chain(rate_hz=48_000, channels=2, over_limit_dbtp=-30.0)
    loud = tone(1000, 5.0, level_dbfs=-10.0)
    loud[-48:] = 0.0  # true peak lags by half a filter: its last points before a mark come after it
    run(chain, loud)
    before = chain.reading()
    assert before.overs == 1
    chain.mark()
    after = chain.reading()
    assert after.momentary_lufs == before.momentary_lufs
    assert after.short_term_lufs == before.short_term_lufs
    assert after.correlation_3s == before.correlation_3s
    for name in ("integrated_lufs", "loudness_range_lu", "momentary_max_lufs", "short_term_max_lufs"):
        assert getattr(before, name) is not None
        assert getattr(after, name) is None
    assert after.true_peak_max_dbtp == (-math.inf, -math.inf)
    assert (after.overs, after.nonfinite_samples) == (0, 0)
    rows = run(chain, tone(1000, 5.0, level_dbfs=-40.0))
    later = chain.reading()
    # The filters go on: what still rings of the loud part is in the first window.
    assert later.integrated_lufs == pytest.approx(-39.9933, abs=0.02)
    assert later.momentary_max_lufs == pytest.approx(-39.9933, abs=0.3)
    assert later.overs == 0
    assert later.true_peak_max_dbtp == pytest.approx((-40.0, -40.0), abs=0.05)
    assert summarise(rows, rate_hz=48_000, channels=2).integrated_lufs == pytest.approx(
        later.integrated_lufs, abs=0.005
    )


def test_gaps_and_losses_before_a_mark_belong_to_the_old_pass():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, silence(0.1))
    chain.gap(100)
    run(chain, silence(0.1))
    chain.mark()
    assert (chain.gaps, chain.lost_frames) == ([], 0)
    run(chain, silence(0.25))
    chain.gap(300)
    assert (chain.gaps, chain.lost_frames) == ([Gap(at_s=0.25, frames=300)], 300)
    assert run(chain, silence(0.1))["start_frame"] == 12_000 + 300


# --- another limit ---------------------------------------------------------------------------


@pytest.mark.parametrize("beside", [False, True])
def test_another_limit_counts_from_the_next_block_on_and_changes_no_other_reading(beside):
    sound = noise(2.0, seed=1, level_dbfs=-30.0)
    sound[480::960, 0] = 1.05  # every 20 ms
    expected = run_to_end(Chain(rate_hz=48_000, channels=2), sound)
    with Chain(rate_hz=48_000, channels=2, over_limit_dbtp=99.0, beside=beside) as chain:
        parts = [chain.process(sound[:48_000])]
        chain.set_over_limit(0.0)
        parts += [chain.process(sound[48_000:]), chain.flush()]
    rows = np.concatenate(parts)
    assert expected["overs"].tolist() == [5] * 20
    assert rows["overs"].tolist() == [0] * 10 + [5] * 10
    for name in ("k_power", "true_peak", "sample_peak"):
        np.testing.assert_array_equal(rows[name], expected[name])


def test_overs_that_pass_another_limit_too_are_still_known():
    chain = Chain(rate_hz=48_000, channels=2, over_limit_dbtp=-6.0)
    sound = silence(0.6)
    sound[[4_800, 14_400, 24_000], 0] = 0.9, 1.05, 0.7
    run(chain, sound)
    chain.set_over_limit(0.0)
    assert [round(over.at_s, 3) for over in chain.overs] == [0.3]
    assert chain.over_count == 1
    run(chain, sound)
    assert [round(over.at_s, 3) for over in chain.overs] == [0.3, 0.9]


def test_nothing_joins_an_over_that_another_limit_let_go():
    chain = Chain(rate_hz=48_000, channels=2, over_limit_dbtp=-6.0)
    sound = silence(0.2)
    sound[4_700, 0] = 0.9
    sound[4_900, 0] = 1.05  # 4 ms behind it
    run(chain, sound[:4_800])
    chain.set_over_limit(0.0)
    run(chain, sound[4_800:])
    (over,) = chain.overs
    assert over.at_s == pytest.approx(4_900 / 48_000, abs=1 / 48_000)


# --- silence ---------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_in_lasting_silence_every_value_becomes_exactly_zero(rate_hz, channels):
    """Not merely small: filters that ring on end in denormal numbers, which are slow."""
    loud = noise(0.5, seed=1, level_dbfs=0.0, rate_hz=rate_hz, channels=channels) + np.float32(0.5)
    chain = Chain(rate_hz=rate_hz, channels=channels)
    run(chain, loud)
    rows = run(chain, silence(4.0, rate_hz=rate_hz, channels=channels))[10:]
    for name in ("k_power", "true_peak", "sample_peak", "ll", "rr", "lr"):
        assert not rows[name].any(), name
    assert (rows["frames"] > 0).all()
    assert chain.reading().momentary_lufs == -math.inf
    assert chain.reading().short_term_lufs == -math.inf
    again = run(chain, loud)
    assert again["k_power"][:, 0].all()


@pytest.mark.parametrize("rate_hz", [8000, 48_000])
def test_a_pause_of_silence_is_measured_as_if_every_block_were_worked_out(rate_hz):
    """Silence is passed over once all filters are at rest; a faint sample in each block forbids that.

    It begins and ends in the middle of a sounding.
    """
    before, after = (noise(0.75, seed=s, level_dbfs=-3.0, rate_hz=rate_hz) for s in (1, 2))
    pause = silence(2.0, rate_hz=rate_hz)
    faint = pause.copy()
    faint[:: rate_hz // 40] = 1e-30
    passed_over, worked_out = (
        run_to_end(Chain(rate_hz=rate_hz, channels=2), np.concatenate([before, middle, after]))
        for middle in (pause, faint)
    )
    for name in SOUNDING.names:
        np.testing.assert_allclose(passed_over[name], worked_out[name], rtol=1e-6, atol=1e-15)


# --- properties ------------------------------------------------------------------------------

LEVELS = (
    *("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "loudest_30s_lufs"),
    *("true_peak_dbtp", "sample_peak_dbfs"),
)
OTHERS = (
    *("seconds", "loudness_range_lu", "peak_to_loudness_lu", "short_term_peak_to_loudness_lu"),
    *("correlation", "low_correlation", "fold_loss_db", "loudest_30s_is_whole"),
    *("nonfinite_samples", "why_null"),
)


def programme(seed: int, rate_hz: int = 8000, seconds: float = 8.0) -> np.ndarray:
    """Noise with a slow swell, wide and narrow, well above the gates."""
    samples = noise(seconds, seed=seed, level_dbfs=-20.0, rate_hz=rate_hz)
    swell = np.interp(np.arange(len(samples)), [0, len(samples) // 3, len(samples)], [0.5, 1.5, 0.7])
    return (samples * swell[:, None]).astype(np.float32)


@given(seed=st.integers(0, 10**6), gain_db=st.floats(-25.0, 40.0))
@settings(max_examples=15)
def test_a_gain_of_g_db_moves_every_level_by_g_and_nothing_else(seed, gain_db):
    samples = programme(seed)
    plain = measure(samples, rate_hz=8000, over_limit_dbtp=99.0)
    louder = measure(samples * np.float32(10.0 ** (gain_db / 20.0)), rate_hz=8000, over_limit_dbtp=99.0)
    for name in LEVELS:
        assert getattr(louder, name) == pytest.approx(getattr(plain, name) + gain_db, abs=1e-3), name
    for name in OTHERS:
        assert getattr(louder, name) == pytest.approx(getattr(plain, name), abs=1e-3), name
    assert louder.true_peaks_dbtp == pytest.approx(
        [peak + gain_db for peak in plain.true_peaks_dbtp], abs=1e-3
    )


@given(seed=st.integers(0, 10**6), gain_db=st.floats(-25.0, 30.0))
@settings(max_examples=10)
def test_a_gain_moves_every_live_level_too(seed, gain_db):
    chains = [Chain(rate_hz=8000, channels=2, over_limit_dbtp=99.0) for _ in range(2)]
    for chain, gain in zip(chains, (1.0, 10.0 ** (gain_db / 20.0)), strict=True):
        run(chain, programme(seed) * np.float32(gain))
    plain, louder = (chain.reading() for chain in chains)
    for name in ("momentary_lufs", "short_term_lufs", "momentary_max_lufs", "short_term_max_lufs"):
        assert getattr(louder, name) == pytest.approx(getattr(plain, name) + gain_db, abs=1e-3), name
    assert louder.integrated_lufs == pytest.approx(
        plain.integrated_lufs + gain_db, abs=0.01
    )  # bins of 0.01 LU
    assert louder.loudness_range_lu == pytest.approx(plain.loudness_range_lu, abs=0.04)
    for name in ("correlation", "correlation_3s", "fold_loss_db", "fold_loss_3s_db", "low_correlation",
                 "short_term_peak_to_loudness_lu"):  # fmt: skip
        assert getattr(louder, name) == pytest.approx(getattr(plain, name), abs=1e-3), name


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 48_000])
def test_half_the_amplitude_is_exactly_a_quarter_of_every_power(rate_hz):
    """Powers of two pass through floating point unrounded, so here nothing may differ at all."""
    samples = noise(1.05, seed=4, rate_hz=rate_hz)
    whole, half = (
        run_to_end(Chain(rate_hz=rate_hz, channels=2, over_limit_dbtp=99.0), part)
        for part in (samples, samples / 2)
    )
    for name in ("k_power", "momentary_max", "ll", "rr", "lr"):
        np.testing.assert_array_equal(half[name], whole[name] / 4)
    for name in ("true_peak", "sample_peak"):
        np.testing.assert_array_equal(half[name], whole[name] / 2)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=10)
def test_swapped_channels_swap_what_belongs_to_each_and_change_nothing_else(seed):
    samples = programme(seed, seconds=4.0)
    plain, swapped = (
        run_to_end(Chain(rate_hz=8000, channels=2), part) for part in (samples, samples[:, ::-1])
    )
    for name in ("k_power", "true_peak", "sample_peak"):
        np.testing.assert_allclose(swapped[name][:, :2], plain[name][:, 1::-1], rtol=1e-5)
    np.testing.assert_allclose(swapped["ll"], plain["rr"], rtol=1e-4, atol=1e-9)
    np.testing.assert_allclose(swapped["lr"], plain["lr"], rtol=1e-4, atol=1e-9)
    first, second = (asdict(summarise(rows, rate_hz=8000, channels=2)) for rows in (plain, swapped))
    for name in (*LEVELS, *OTHERS):
        assert second[name] == pytest.approx(first[name], abs=1e-4), name
    assert second["true_peaks_dbtp"] == pytest.approx(first["true_peaks_dbtp"][::-1], abs=1e-4)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=10)
def test_polarity_changes_nothing(seed):
    """Both channels inverted: sums of squares and magnitudes, bit for bit; DC changes its sign."""
    samples = programme(seed, seconds=2.0)
    plain, inverted = (run_to_end(Chain(rate_hz=8000, channels=2), part) for part in (samples, -samples))
    for name in SOUNDING.names:
        np.testing.assert_array_equal(plain[name] * (-1.0 if name == "dc" else 1.0), inverted[name])


@given(seed=st.integers(0, 10**6))
@settings(max_examples=10)
def test_one_inverted_channel_inverts_the_products_only(seed):
    """Correlation changes its sign; loudness and peaks stay. Facts.md 5.20."""
    samples = programme(seed, seconds=2.0)
    plain, inverted = (
        run_to_end(Chain(rate_hz=8000, channels=2), part) for part in (samples, samples * np.float32([1, -1]))
    )
    for name in SOUNDING.names:
        sign = {"lr": -1.0, "dc": np.float32([1, -1, 1, 1, 1, 1])}.get(name, 1.0)
        np.testing.assert_array_equal(plain[name] * sign, inverted[name])


@given(seed=st.integers(0, 10**6), seconds=st.floats(0.001, 5.0))
@settings(max_examples=8)
@pytest.mark.parametrize("rate_hz", [8000, 11_025])
def test_silence_appended_raises_no_maximum_and_no_i(rate_hz, seed, seconds):
    samples = programme(seed, rate_hz=rate_hz, seconds=4.0)
    plain = measure(samples, rate_hz=rate_hz, over_limit_dbtp=-10.0)
    longer = measure(
        np.concatenate([samples, silence(seconds, rate_hz=rate_hz)]), rate_hz=rate_hz, over_limit_dbtp=-10.0
    )
    for name in ("momentary_max_lufs", "short_term_max_lufs", "sample_peak_dbfs", "true_peak_dbtp", "overs"):
        assert getattr(longer, name) == getattr(plain, name), name
    assert longer.integrated_lufs <= plain.integrated_lufs
    assert longer.loudest_30s_lufs <= plain.loudest_30s_lufs


@given(seed=st.integers(0, 10**6), seconds=st.floats(0.4, 40.0))
@settings(max_examples=15)
def test_the_live_i_and_range_are_those_of_the_rows(seed, seconds):
    rng = np.random.default_rng(seed)
    samples = noise(seconds, seed=seed, rate_hz=8000)
    steps = 10.0 ** (rng.uniform(-30.0, 10.0, 9) / 20.0)
    samples *= np.interp(np.linspace(0.0, 8.0, len(samples)), np.arange(9), steps)[:, None]
    chain = Chain(rate_hz=8000, channels=2, low_end=False)
    summary = summarise(run_to_end(chain, samples), rate_hz=8000, channels=2)
    reading = chain.reading()
    assert reading.integrated_lufs == pytest.approx(summary.integrated_lufs, abs=0.005)
    if summary.loudness_range_lu is None:
        assert reading.loudness_range_lu is None
    else:
        # A few windows leave holes between them, where the bin that the gate cuts can move a percentile.
        assert reading.loudness_range_lu == pytest.approx(summary.loudness_range_lu, abs=0.02)
    for name in ("momentary_max_lufs", "short_term_max_lufs"):
        assert getattr(reading, name) == pytest.approx(getattr(summary, name), abs=1e-5)
    if seconds >= 30.0:
        assert reading.loudest_30s_lufs == pytest.approx(summary.loudest_30s_lufs, abs=1e-4)


# --- bad input -------------------------------------------------------------------------------


def all_numbers(value: object) -> list[float]:
    if isinstance(value, dict):
        return [number for part in value.values() for number in all_numbers(part)]
    if isinstance(value, (tuple, list)):
        return [number for part in value for number in all_numbers(part)]
    return [value] if isinstance(value, float) else []


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e30, -1e30, 3e38, 1e300])
@pytest.mark.parametrize("rate_hz", [48_000, 11_025])
def test_samples_that_are_no_numbers_are_counted_flagged_and_kept_out(bad, rate_hz):
    """A loud sound lies around them, in windows that do not count; the rest of the pass is quiet."""
    samples = tone(1000, 6.0, level_dbfs=-40.0, rate_hz=rate_hz).astype(np.float64)
    at = round(3.05 * rate_hz)
    samples[at - rate_hz // 50 : at + rate_hz // 50] = 0.9
    samples[at : at + 3, 1] = bad
    chain = Chain(rate_hz=rate_hz, channels=2)
    rows = run_to_end(chain, samples)
    assert list(np.flatnonzero(rows["flags"] & NONFINITE)) == [30]
    assert list(np.flatnonzero(rows["nonfinite"])) == [30]
    assert rows["nonfinite"].sum() == chain.nonfinite_samples == chain.reading().nonfinite_samples == 3
    summary = summarise(rows, rate_hz=rate_hz, channels=2)
    for found in (chain.reading(), summary):
        assert found.integrated_lufs == pytest.approx(-40.0, abs=0.05)
        assert found.nonfinite_samples == 3
        assert not any(math.isnan(number) for number in all_numbers(asdict(found)))
    assert summary.momentary_max_lufs < -15.0
    for name in set(SOUNDING.names) - {"momentary_max", "short_term_max"}:
        assert np.isfinite(rows[name]).all(), name


def test_a_stream_of_nothing_but_nan_is_silence_that_says_so():
    samples = np.full((48_000, 2), np.nan, np.float32)
    chain = Chain(rate_hz=48_000, channels=2)
    rows = run_to_end(chain, samples)
    assert rows["nonfinite"].sum() == 96_000
    reading, summary = chain.reading(), summarise(rows, rate_hz=48_000, channels=2)
    assert (reading.integrated_lufs, summary.integrated_lufs) == (None, None)
    assert summary.true_peak_dbtp == -math.inf
    assert not any(
        math.isnan(number) for found in (reading, summary) for number in all_numbers(asdict(found))
    )


def test_very_large_samples_are_still_measured():
    """+120 dBFS, as an integer file read as float would bring."""
    samples = tone(1000, 4.0, level_dbfs=120.0)
    summary = measure(samples, rate_hz=48_000)
    assert summary.integrated_lufs == pytest.approx(120.0067, abs=0.01)
    assert summary.true_peak_dbtp == pytest.approx(120.0, abs=0.05)
    assert summary.correlation == pytest.approx(1.0)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("channels", [1, 2, 6])
@pytest.mark.parametrize("frames", [0, 1, 2, 79])
def test_a_few_samples_or_none_are_right(rate_hz, channels, frames):
    samples = np.full((frames, channels), -0.25, np.float32)
    chain = Chain(rate_hz=rate_hz, channels=channels)
    assert len(chain.process(samples)) == 0
    rows = chain.flush()
    reading, summary = chain.reading(), summarise(rows, rate_hz=rate_hz, channels=channels)
    assert rows["frames"].sum() == frames
    assert len(rows) == (frames > 0)
    assert (reading.integrated_lufs, reading.momentary_lufs, summary.integrated_lufs) == (None, None, None)
    assert reading.at_s == frames / rate_hz
    assert reading.sample_peak_max_dbfs == pytest.approx(
        (-12.0412 if frames else -math.inf,) * channels, abs=1e-3
    )
    assert summary.sample_peak_dbfs == (pytest.approx(-12.0412, abs=1e-3) if frames else None)


@pytest.mark.parametrize("channels", [1, 2, 6])
def test_silence_is_minus_infinity(channels):
    chain = Chain(rate_hz=48_000, channels=channels)
    rows = run_to_end(chain, silence(3.5, channels=channels))
    summary = summarise(rows, rate_hz=48_000, channels=channels)
    for found in (chain.reading(), summary):
        for name in ("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs"):
            assert getattr(found, name) == -math.inf
        assert (found.loudness_range_lu, found.peak_to_loudness_lu, found.correlation) == (None, None, None)
        assert set(found.fold_loss_db.values()) == {None}
    assert chain.reading().true_peak_max_dbtp == (-math.inf,) * channels
    assert summary.true_peak_dbtp == -math.inf


@pytest.mark.parametrize("channels", [0, 7, -1, 32])
def test_a_number_of_channels_that_cannot_be_measured_is_named(channels):
    sentence = f"there are {channels} channels, but Leadline measures 1 to 6; choose a pair, for example "
    with pytest.raises(UsageError, match=sentence):
        Chain(rate_hz=48_000, channels=channels)


@pytest.mark.parametrize("rate_hz", [7999, 384_001, 44_100.5, math.nan])
def test_a_rate_that_cannot_be_measured_is_named(rate_hz):
    sentence = f"the sample rate is {rate_hz:g} Hz, but Leadline measures whole rates from 8000 to 384000 Hz"
    with pytest.raises(UsageError, match=sentence):
        Chain(rate_hz=rate_hz, channels=2)


@pytest.mark.parametrize("crossover_hz", [39.0, 301.0])
def test_a_crossover_out_of_range_is_named(crossover_hz):
    sentence = f"the crossover is {crossover_hz:g} Hz, but it must lie between 40 and 300 Hz"
    with pytest.raises(UsageError, match=sentence):
        Chain(rate_hz=48_000, channels=2, crossover_hz=crossover_hz)


def test_weights_for_another_number_of_channels_are_named():
    with pytest.raises(UsageError, match="there are 3 weights for 2 channels; give one for each"):
        Chain(rate_hz=48_000, channels=2, weights=(1.0, 1.0, 1.0))


@pytest.mark.parametrize(
    ("shape", "sentence"),
    [
        (
            (480, 3),
            "the block has 3 channels, but this chain was opened with 2; open a new chain when the input",
        ),
        (
            (480, 1),
            "the block has 1 channel, but this chain was opened with 2; open a new chain when the input",
        ),
        (
            (480,),
            r"the shape \(480,\), but frames and channels were expected; reshape it to \(frames, 2\)",
        ),
        ((48, 2, 1), r"the block has the shape \(48, 2, 1\), but frames and channels were expected"),
    ],
)
def test_a_block_of_another_shape_is_named(shape, sentence):
    chain = Chain(rate_hz=48_000, channels=2)
    with pytest.raises(UsageError, match=sentence):
        chain.process(np.zeros(shape, np.float32))
    assert len(run(chain, silence(0.1))) == 1  # and the chain goes on


def test_a_whole_rate_may_come_as_a_float():
    chain = Chain(rate_hz=44_100.0, channels=2)
    assert list(run(chain, noise(0.2, seed=1, rate_hz=44_100))["frames"]) == [4410, 4410]


def test_threads_beside_end_with_the_chain():
    before = threading.active_count()
    with Chain(rate_hz=48_000, channels=2, beside=True) as chain:
        run(chain, noise(5.0, seed=1))
        assert threading.active_count() > before
    assert threading.active_count() == before


@pytest.mark.parametrize("frames", [4800, 5000])
def test_what_was_given_is_left_as_it_was(frames):
    block = np.full((frames, 2), 0.25, np.float32)
    block[100, 1], block[101, 0] = np.nan, 1e30
    before = block.tobytes()
    chain = Chain(rate_hz=48_000, channels=2)
    chain.process(block)
    chain.flush()
    assert chain.nonfinite_samples == 2
    assert block.tobytes() == before
