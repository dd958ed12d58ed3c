"""The published signals are what the documents describe."""

import numpy as np
import pytest

from meter.standards import ebu_tech_3341_v4_2023 as tech_3341
from meter.standards import ebu_tech_3342_v4_2023 as tech_3342
from meter.standards import itu_r_bs2217_2_2016 as bs2217
from meter.standards.signals import SILENCE, faded, in_channels, sine, stepped_sine, total_s
from meter.units import amplitude_to_db

RATE_HZ = 48_000


def test_a_long_sine_is_the_same_sine_as_a_short_one():
    frames = 3 * RATE_HZ
    plain = np.sin(2.0 * np.pi * 1000.0 * np.arange(frames) / RATE_HZ)
    assert sine(1000.0, frames, rate_hz=RATE_HZ) == pytest.approx(plain, abs=1e-9)
    assert sine(1000.0, 100, rate_hz=RATE_HZ) == pytest.approx(plain[:100], abs=1e-12)


def test_the_remembered_second_of_a_sine_cannot_be_spoiled():
    first = sine(1000.0, 2 * RATE_HZ, rate_hz=RATE_HZ)
    first[:] = 0.0
    assert np.abs(sine(1000.0, 2 * RATE_HZ, rate_hz=RATE_HZ)).max() == pytest.approx(1.0)


def test_steps_have_their_level_their_length_and_run_on_in_phase():
    tone = stepped_sine([(0.5, -20.0), (0.25, SILENCE), (0.5, 0.0)])
    assert len(tone) == 60_000
    assert amplitude_to_db(np.abs(tone[:24_000]).max()) == pytest.approx(-20.0, abs=1e-6)
    assert not tone[24_000:36_000].any()
    assert tone[36_000:] == pytest.approx(sine(1000.0, 60_000, rate_hz=RATE_HZ)[36_000:])


def test_edges_are_rounded_from_the_start_and_do_not_drift():
    tone = stepped_sine([(0.00003, 0.0)] * 1000)
    assert len(tone) == round(0.03 * RATE_HZ)


def test_a_fade_starts_and_ends_in_silence_and_leaves_the_middle_alone():
    shaped = faded(np.ones(RATE_HZ), fade_s=0.010, rate_hz=RATE_HZ)
    assert shaped[0] < 1e-5
    assert shaped[-1] < 1e-5
    assert (shaped[480:-480] == 1.0).all()
    assert (np.diff(shaped[:480]) > 0.0).all()


def test_a_channel_can_be_louder_inverted_or_silent():
    spread = in_channels(np.array([0.25, -0.5]), (2.0, -1.0, 0.0))
    assert spread.dtype == np.float32
    assert spread.tolist() == [[0.5, -0.25, 0.0], [-1.0, 0.5, 0.0]]


@pytest.mark.parametrize(
    ("case", "seconds"),
    # EBU Tech 3341 v4, Table 1. SEEN-S. Case 5 has 20.1 s in its middle.
    [("1", 20.0), ("2", 20.0), ("3", 80.0), ("4", 100.0), ("5", 60.1), ("9", 15.0)],
)
def test_each_case_lasts_as_long_as_its_document_says(case, seconds):
    assert total_s(tech_3341.STEPS_OF_CASE[case]) == pytest.approx(seconds)
    assert len(tech_3341.stereo(case).samples) == round(seconds * RATE_HZ)


@pytest.mark.parametrize(("case", "window_s"), [("11", 3.0), ("14", 0.4)])
def test_the_climbing_bursts_start_a_little_later_in_each_segment(case, window_s):
    samples = tech_3341.stereo(case).samples[:, 0]
    segments = samples.reshape(20, -1)
    for i, segment in enumerate(segments):
        sounding = np.flatnonzero(segment)
        assert sounding[0] == round(i * window_s / 20.0 * RATE_HZ) + 1  # a sine begins with a zero
        assert amplitude_to_db(np.abs(segment).max()) == pytest.approx(-38.0 + i, abs=1e-5)
        assert sounding[-1] - sounding[0] == pytest.approx(window_s * RATE_HZ, abs=2)


@pytest.mark.parametrize(("wait_s", "burst_s"), [(0.15, 3.0), (0.02, 0.4)])
def test_the_twenty_files_hold_one_burst_each_and_a_second_of_silence(wait_s, burst_s):
    files = list(tech_3341.bursts(wait_s=wait_s, burst_s=burst_s))
    assert len(files) == 20
    for i, file in enumerate(files):
        assert len(file.samples) == round((i * wait_s + burst_s + 1.0) * RATE_HZ)
        assert np.flatnonzero(file.samples[:, 0])[0] == round(i * wait_s * RATE_HZ) + 1


def test_the_surround_case_has_five_channels_at_their_levels():
    samples = tech_3341.surround().samples
    levels_dbfs = [amplitude_to_db(float(np.abs(samples[:, channel]).max())) for channel in range(5)]
    assert levels_dbfs == pytest.approx([-28.0, -28.0, -24.0, -30.0, -30.0], abs=1e-5)


def test_a_steady_peak_lies_between_its_samples_where_the_phase_puts_it():
    # rate/4 at 45 degrees: every sample is at 0.7071 of the peak. 3.0103 dB under it.
    middle = tech_3341.steady_peak(4, 0.50, 45.0).samples[RATE_HZ // 2 :][:1000, 0]
    assert np.abs(middle) == pytest.approx(0.50 / np.sqrt(2.0), rel=1e-6)


def test_the_one_period_comes_to_its_peak_between_samples_in_every_offset():
    # Without its own peak on a sample the highest sample differs, while the wave is one and the same.
    peaks = [float(np.abs(tech_3341.one_period_up(offset).samples).max()) for offset in range(4)]
    assert peaks[1] == pytest.approx(peaks[3], abs=1e-6)
    assert len({round(peak, 3) for peak in peaks}) == 3
    assert max(peaks) < 1.0


def test_the_joint_of_the_one_period_is_a_zero_crossing_without_a_jump():
    wave = tech_3341.joined_periods()
    start = len(wave) // 2 - 8
    assert wave[start] == 0.0
    assert wave[start : start + 16] == pytest.approx(np.sin(2.0 * np.pi * np.arange(16) / 16.0))
    assert wave[start + 16] == 0.0
    # The steepest step there is: 1.00 at rate/4, where it crosses zero.
    assert np.abs(np.diff(wave)).max() == pytest.approx(np.sin(2.0 * np.pi / 16.0))


def test_a_case_of_the_loudness_range_repeats_without_a_seam():
    once, thrice = tech_3342.stereo(1).samples, tech_3342.stereo(1, 3).samples
    assert len(thrice) == 3 * len(once)
    assert (thrice == np.tile(once, (3, 1))).all()


@pytest.mark.parametrize(
    ("f_hz", "level_dbfs"),
    # Levels that read exactly -24.0 LKFS in two channels. CALC.
    [(25, -12.916), (100, -22.176), (500, -23.351), (1000, -24.007), (2000, -26.380), (10_000, -27.351)],
)
def test_the_level_of_a_compliance_tone_is_the_exact_one(f_hz, level_dbfs):
    assert bs2217.exact_dbfs(-24.0, f_hz, 2.0) == pytest.approx(level_dbfs, abs=0.0006)


def test_a_channel_check_leaves_every_other_channel_silent():
    samples = bs2217.tone(1000.0, bs2217.only(3, -3.0), 1.0).samples
    assert samples.any(axis=0).tolist() == [False, False, False, True, False, False]
