"""The mastering stage: what it must hold, on signals whose peaks are known."""

import numpy as np
import pytest
from scipy import signal

from demo_signals import RATE_HZ
from demo_signals.mastering import ATTACK_S, CEILING_DBTP, RELEASE_DB_S, limit, saturate
from tests.demo.readings import db


def tone(hz, amplitude, seconds=0.5, turned=0.0):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    wave = amplitude * np.sin(2 * np.pi * hz * t + turned)
    return np.stack((wave, wave), axis=1).astype(np.float32)


def highest_dbtp(block):
    return float(db(np.abs(signal.resample_poly(block, 32, 1, axis=0)).max() ** 2))


@pytest.mark.parametrize("hz", [50.0, 997.0, 12_000.0])
def test_a_steady_tone_comes_out_at_the_ceiling(hz):
    """12 kHz at 45 degrees hides 3 dB from the samples: the limiter must see between them."""
    wave = tone(hz, 1.9, turned=np.pi / 4)
    limit(wave)
    assert highest_dbtp(wave[4800:-4800]) == pytest.approx(CEILING_DBTP, abs=0.15)


def test_what_is_under_the_ceiling_passes_unchanged():
    wave = tone(440.0, 0.9)
    before = wave.copy()
    limit(wave)
    assert np.array_equal(wave, before)


def test_noise_bursts_stay_under_minus_0_3_dbtp():
    rng = np.random.default_rng(5)
    bursts = rng.standard_normal((RATE_HZ, 2)) * (np.arange(RATE_HZ) % 6000 < 900)[:, None]
    block = bursts.astype(np.float32)
    limit(block)
    assert highest_dbtp(block) < -0.3


def test_both_channels_get_the_same_gain():
    wave = tone(440.0, 1.5)
    wave[:, 1] *= 0.25
    limit(wave)
    assert np.abs(wave[:, 1] - 0.25 * wave[:, 0]).max() < 1e-6


def test_the_gain_falls_before_a_peak_and_comes_back_at_the_stated_pace():
    block = np.full((RATE_HZ, 2), 0.2, np.float32)
    peak = RATE_HZ // 2
    block[peak - 4 : peak + 4] = 1.6
    limit(block)
    gain_db = db((block[:, 0] / 0.2).astype(float) ** 2)
    assert gain_db[peak - round((2 * ATTACK_S + 0.001) * RATE_HZ)] == pytest.approx(0.0, abs=1e-6)
    assert gain_db[peak - 100] < -1.0
    later, much_later = gain_db[peak + round(0.015 * RATE_HZ)], gain_db[peak + round(0.035 * RATE_HZ)]
    assert much_later - later == pytest.approx(0.02 * RELEASE_DB_S, abs=0.02)


def test_saturation_leaves_quiet_samples_and_bends_loud_ones_alike_on_both_signs():
    block = np.array([[0.01, -0.01], [2.0, -2.0]], np.float32)
    saturate(block)
    assert block[0] == pytest.approx([0.01, -0.01], abs=1e-5)
    assert block[1] == pytest.approx([np.tanh(2.0), -np.tanh(2.0)])


def test_an_empty_block_is_no_problem():
    block = np.empty((0, 2), np.float32)
    saturate(block)
    limit(block)
    assert block.shape == (0, 2)
