"""Flat tops: none on bare slow sines, one on each clipped top, at whatever ceiling."""

import numpy as np
import pytest

from meter.chain import Chain
from tests.support.sound import run_to_end

RATE_HZ = 48_000
LOW_HZ = (25.0, 27.5, 30.0, 36.7, 49.0, 61.7, 90.0, 110.0, 130.0)
NEARLY_A_STEP = 12_000.49 / 32_767
"""An amplitude whose top just stays under the next value of 16 bit."""


def wave(f_hz, amplitude, *, rate_hz=RATE_HZ, seconds=1.0):
    return amplitude * np.sin(2 * np.pi * f_hz * np.arange(round(seconds * rate_hz)) / rate_hz)


def at_bits(samples, bits):
    scale = 2.0 ** (bits - 1)
    return np.rint(samples * (scale - 1)) / scale


def found(samples, rate_hz=RATE_HZ):
    """(flat tops, frames of the longest)"""
    rows = run_to_end(Chain(rate_hz=rate_hz, channels=1, low_end=False), samples.astype(np.float32)[:, None])
    return int(rows["flat_tops"].sum()), int(rows["flat_frames"].max())


def longest_run(samples):
    edges = np.flatnonzero(np.diff(samples)) + 1
    return int(np.diff(edges).max())


def test_a_slow_sine_of_16_bit_has_honest_runs_of_six():
    assert longest_run(at_bits(wave(30.0, NEARLY_A_STEP), 16)) >= 6


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("bits", [8, 16, 24])
def test_bare_low_sines_have_no_flat_top(rate_hz, bits):
    for f_hz in LOW_HZ:
        for amplitude in (1.0, 0.5, 0.03, NEARLY_A_STEP):
            assert found(at_bits(wave(f_hz, amplitude, rate_hz=rate_hz), bits), rate_hz) == (0, 0), f_hz


def test_bare_low_sines_of_16_bit_have_none_behind_a_volume_either():
    for f_hz in LOW_HZ:
        assert found(0.7123 * at_bits(wave(f_hz, 0.5), 16)) == (0, 0), f_hz


@pytest.mark.parametrize("gain", [1.0, 0.1])
@pytest.mark.parametrize("f_hz", [30.0, 100.0, 1000.0])
@pytest.mark.parametrize("clip_db", [0.1, 1.0, 8.0])
def test_every_clipped_top_counts_once_at_any_ceiling(gain, f_hz, clip_db):
    drive = 10 ** (clip_db / 20)
    clipped = gain * np.clip(wave(f_hz, 0.8 * drive, seconds=1.01), -0.8, 0.8)
    # How long the sine is above the ceiling: 2·acos(1/drive) of its period.
    frames = 2 * np.arccos(1 / drive) / (2 * np.pi * f_hz) * RATE_HZ
    tops = 2 * f_hz * 1.01
    for samples in (clipped, at_bits(clipped, 16)):
        count, longest = found(samples)
        assert count == pytest.approx(tops, abs=2)
        assert longest == pytest.approx(frames, abs=2)


def test_a_step_on_the_way_up_is_no_flat_top():
    stairs = np.concatenate([np.zeros(3000), np.repeat(np.arange(1, 60) / 100.0, 200), np.zeros(3000)])
    stairs[-3100:-3000] = 0.9
    assert found(stairs)[0] == 0 or found(stairs) == (1, 100)


def test_a_run_over_the_edge_of_a_block_counts_once():
    block = RATE_HZ // 20
    for offset in (-60, -31, -2, -1, 0):
        samples = wave(800.0, 0.3)
        samples[3 * block + offset : 3 * block + offset + 60] = 0.9
        assert found(samples) == (1, 60)


def test_constant_and_silent_samples_have_none():
    assert found(np.full(RATE_HZ, 0.25)) == (0, 0)
    assert found(np.zeros(RATE_HZ)) == (0, 0)
