"""True peak: within 0.05 dB for any sine up to 20 kHz, never under the sample peak."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from meter.chain import Chain
from meter.dsp.grid import Grid
from meter.dsp.true_peak import EDGE_FRAMES, LAG_FRAMES, TruePeakMeter, true_peaks
from meter.dsp.window import Window
from tests.support import true_peak_table
from tests.support.sound import noise, run_to_end
from tests.support.true_peak_table import RATES_HZ, dense, errors_of, shown, special

# What the project asks of itself (design.md 5); ITU-R BS.1770-5, Annex 2 allows any equal or better
# interpolator (SEEN-P), EBU Tech 3341 v4 2.6 +0.2/-0.4 dB (SEEN-S).
LIMIT_DB = 0.05


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_any_sine_to_20_khz_reads_its_peak_at_the_worst_phase(rate_hz):
    measured = [*dense(rate_hz), *shown(rate_hz)]
    assert max(errors.f_hz for errors in measured) == 20_000
    assert min(errors.lowest_db for errors in measured) >= -LIMIT_DB
    assert max(errors.highest_db for errors in measured) <= LIMIT_DB
    assert min(errors.over_sample_db for errors in measured) >= 0.0


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 22_050, 32_000, 88_200, 192_000, 383_300, 384_000])
@pytest.mark.parametrize("share", [0.01, 0.125, 1 / 6, 0.2, 0.25, 1 / 3, 0.4, 0.45])
def test_other_rates_read_as_exactly_up_to_0_45_of_the_rate(rate_hz, share):
    errors = errors_of(share * rate_hz, rate_hz=rate_hz, phases=16)
    assert -LIMIT_DB <= errors.lowest_db <= errors.highest_db <= LIMIT_DB
    assert errors.over_sample_db >= 0.0


def test_the_printed_page_says_what_is_measured_now():
    printed = true_peak_table.PAGE.read_text("utf-8")
    now = true_peak_table.render()
    blank = re.compile(r"[-+]?\d+\.\d{3}")
    again = "write it anew: python -m tests.support.true_peak_table"
    assert blank.sub("#", printed) == blank.sub("#", now), again
    assert len(blank.findall(printed)) > 100
    # Another processor's arithmetic may round the last digit the other way.
    differences = np.subtract(*([float(text) for text in blank.findall(page)] for page in (printed, now)))
    assert np.abs(differences).max() < 0.0015, again


@pytest.mark.parametrize("rate_hz", [*RATES_HZ, 11_025])
def test_signals_that_are_no_sines_read_their_ideal_waveform(rate_hz):
    """An isolated sample, two of them, a plateau, a square wave of fs/4: CALC, see the table."""
    for name, (read, ideal) in special(rate_hz).items():
        if name == "silence":
            assert read == ideal == -np.inf
        else:
            assert read == pytest.approx(ideal, abs=LIMIT_DB), name


def test_a_plateau_and_a_lone_sample_read_exactly_their_height():
    """FIR-only meters read a lone full-scale sample 0.245 dB low (facts.md 1.4): the samples count too."""
    lone = np.zeros((4800, 2), np.float32)
    lone[2400, 0] = -1.0
    fade = 0.5 - 0.5 * np.cos(np.pi * np.clip(np.arange(2400) / 2000.0, 0.0, 1.0))
    lone[:, 1] = -np.concatenate([fade, fade[::-1]])
    assert list(true_peaks(lone, rate_hz=48_000)) == [1.0, 1.0]


def test_an_offset_counts():
    """BS.1770-5, attachment to Annex 2: metering for overload keeps DC. SEEN-P."""
    samples = true_peak_table.sines(1000.0, rate_hz=48_000, phases=1) * np.float32(0.5)
    fade = np.clip(np.minimum(np.arange(12_000), np.arange(12_000)[::-1]) / 4000.0, 0.0, 1.0)
    smooth = (0.5 - 0.5 * np.cos(np.pi * fade))[:, None]
    (found,) = true_peaks(samples + 0.4 * smooth, rate_hz=48_000)
    assert 20.0 * np.log10(found) == pytest.approx(20.0 * np.log10(0.4 + 0.5 * 10 ** (-1 / 20)), abs=0.01)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_clipped_noise_reads_as_32_fold_resampling_does(rate_hz):
    """Hard clipped, then held below 19 kHz as a converter does; scipy, an independent way."""
    clipped = np.clip(np.random.default_rng(8).standard_normal((rate_hz // 5, 12)), -0.5, 0.5)
    clipped[-1000:] = 0.0
    samples = signal.lfilter(signal.firwin(601, 19_000, fs=rate_hz), 1.0, clipped, axis=0).astype(np.float32)
    fine = signal.resample(samples.astype(float), 32 * len(samples), axis=0)
    ideal, found = np.abs(fine).max(axis=0), true_peaks(samples, rate_hz=rate_hz)
    assert (ideal > 1.02 * np.abs(samples).max(axis=0)).any()
    np.testing.assert_allclose(20.0 * np.log10(found / ideal), 0.0, rtol=0.0, atol=LIMIT_DB)


@given(seed=st.integers(0, 1000), level_dbfs=st.floats(-90.0, 40.0), frames=st.integers(1, 3000))
@settings(max_examples=40)
@pytest.mark.parametrize("rate_hz", [8000, 11_025, 96_000])
def test_it_is_never_under_the_sample_peak(rate_hz, seed, level_dbfs, frames):
    samples = noise(1.0, seed=seed, level_dbfs=level_dbfs, rate_hz=3000)[:frames]
    assert (true_peaks(samples, rate_hz=rate_hz) >= np.abs(samples).max(axis=0)).all()


@pytest.mark.parametrize("rate_hz", [11_025, 44_100, 48_000, 192_000])
def test_a_stream_reads_what_the_whole_array_reads(rate_hz):
    samples = noise(0.73, seed=6, rate_hz=rate_hz)
    chain = Chain(rate_hz=rate_hz, channels=2)
    rows = run_to_end(chain, samples)
    np.testing.assert_array_equal(
        rows["true_peak"].max(axis=0)[:2], np.float32(true_peaks(samples, rate_hz=rate_hz))
    )
    assert (rows["true_peak"] >= rows["sample_peak"]).all()


def test_the_reading_that_lags_comes_with_the_end():
    """The peak between the last two samples of a pass, whose reading needs half a filter more."""
    samples = np.zeros((4800, 1), np.float32)
    samples[-2:] = 0.5
    chain = Chain(rate_hz=48_000, channels=1)
    (early,) = chain.process(samples)
    (late,) = chain.flush()
    assert early["true_peak"][0] == 0.5
    # 4/pi (CALC), less what lies beyond the pass band.
    assert 20.0 * np.log10(late["true_peak"][0] / 0.5) == pytest.approx(
        20.0 * np.log10(4.0 / np.pi), abs=0.02
    )
    assert LAG_FRAMES == 36


def test_no_samples_have_no_peak():
    assert list(true_peaks(np.zeros((0, 2), np.float32), rate_hz=48_000)) == [0.0, 0.0]
    assert list(true_peaks(np.full((1, 1), -0.25, np.float32), rate_hz=48_000)) == [0.25]


# --- whose a point is


def test_a_sample_is_of_the_block_that_it_begins():
    # The points before it are the other block's: the nearest to a lone sample is sinc(1/4), 0.900. CALC.
    window, meter = Window(channels=1, past_frames=TruePeakMeter.past_frames), meter_of(0.95)
    samples = np.zeros((4800, 1), np.float32)
    samples[2400 - LAG_FRAMES] = 1.0
    window.push(samples)
    found = meter.process(window, blocks=2)
    assert found.amplitudes[:, 0] == pytest.approx([0.900, 1.0], abs=0.005)
    assert found.over_frames.tolist() == [2400 - LAG_FRAMES]


def test_a_lower_point_counts_where_the_wave_rises_higher_around_it():
    # A burst of 19.2 kHz whose points stand at 0.951, and a slow wave of 0.96 that has one on its top.
    fast = np.cos(2.0 * np.pi * 0.4 * (np.arange(2400) - 900.125))  # all of its tops lie alike
    fast[:300], fast[300:1501], fast[1501:] = 0.0, fast[300:1501] * np.hanning(1201), 0.0
    slow = np.zeros(2400)
    slow[1520:2321] = 0.96 * np.hanning(801)
    both, burst, wave = (
        true_peaks(part[:, None], rate_hz=48_000)[0] for part in (fast + slow, fast, slow)
    )
    assert wave == pytest.approx(0.96, abs=0.001)
    assert both == burst == pytest.approx(1.0, abs=0.002)


def test_where_the_sound_before_is_not_known_no_point_next_to_it_is_an_over():
    # The step from nothing to 0.98 would overshoot by 9 % between the samples.
    tops = []
    for from_silence in (True, False):
        window = Window(channels=1, past_frames=TruePeakMeter.past_frames)
        meter = meter_of(1.0, from_silence=from_silence)
        window.push(np.full((4800, 1), 0.98, np.float32))
        found = meter.process(window, blocks=2)
        tops.append((found.amplitudes.max(), len(found.over_frames)))
    assert tops[0][0] > 1.05
    assert tops[0][1] > 0
    assert tops[1] == (pytest.approx(0.98, abs=1e-4), 0)


def test_the_first_over_that_is_known_brings_none_before_it():
    # Around a sample of 1.2 the wave rings, and stands over the limit a few frames away on both sides.
    window = Window(channels=1, past_frames=TruePeakMeter.past_frames)
    meter = meter_of(1.0, from_silence=False)
    samples = np.full((4800, 1), 0.995, np.float32)
    first_known = EDGE_FRAMES - LAG_FRAMES
    samples[first_known + 4] = samples[3000] = 1.2
    window.push(samples)
    found = meter.process(window, blocks=2)
    assert (found.over_frames < 3000 - 3).any()
    assert (found.over_frames >= 3000 - 8).any()
    assert (3000 - found.over_frames).max() > 5
    assert found.over_frames.min() >= first_known


def meter_of(limit: float, **how: bool) -> TruePeakMeter:
    return TruePeakMeter(Grid(48_000), channels=1, limit=limit, **how)
