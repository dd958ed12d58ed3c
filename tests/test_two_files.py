"""Before and after a clipper or a limiter whose gain is known."""

import numpy as np
import pytest
from scipy.ndimage import minimum_filter1d, uniform_filter1d
from scipy.signal import lfilter

from meter.errors import UsageError
from meter.two_files import compare
from tests.support.tune import RATE_HZ, section

TOLERANCE_DB = 0.2
WINDOW = round(0.010 * RATE_HZ)


def music():
    samples = np.concatenate([section("intro")[-6 * RATE_HZ :], section("drop")[: 8 * RATE_HZ]])
    return samples / np.abs(samples).max() * 0.9


def moved(samples, *, frames, gain_db):
    """Later by whole frames and a fraction, and louder."""
    size = len(samples) + 4096
    omega = 2 * np.pi * np.arange(size // 2 + 1) / size
    spectrum = np.fft.rfft(samples, size, axis=0) * np.exp(-1j * omega * frames)[:, None]
    return np.fft.irfft(spectrum, size, axis=0) * 10 ** (gain_db / 20)


def hard_clip(samples, db):
    ceiling = np.abs(samples).max() * 10 ** (-db / 20)
    return np.clip(samples, -ceiling, ceiling)


def limiter(samples, db):
    """Look-ahead 5 ms, release 80 ms; the output and the gain of each frame."""
    ceiling = np.abs(samples).max() * 10 ** (-db / 20)
    ahead = round(0.005 * RATE_HZ)
    wanted = np.minimum(1.0, ceiling / np.maximum(np.abs(samples).max(axis=1), 1e-9))
    held = minimum_filter1d(wanted, 2 * ahead + 1)
    released = held.copy()
    keep = np.exp(-1.0 / (0.08 * RATE_HZ))
    for k in range(1, len(held)):
        released[k] = min(held[k], keep * released[k - 1] + (1.0 - keep) * held[k])
    gain = uniform_filter1d(released, ahead)
    return samples * gain[:, None], gain


def at_peaks(samples, values):
    """The value of each frame at the peak of each window."""
    tops = np.abs(samples).max(axis=1)
    count = len(tops) // WINDOW
    places = tops[: count * WINDOW].reshape(count, -1).argmax(axis=1) + np.arange(count) * WINDOW
    return values[places]


@pytest.mark.parametrize("db", [1.0, 2.0, 4.0, 6.0, 8.0])
def test_a_hard_clip_of_known_depth_is_read_within_a_fifth_of_a_db(db):
    before = music()
    found = compare(before, moved(hard_clip(before, db), frames=123.0, gain_db=3.0), rate_hz=RATE_HZ)
    assert found.lag_frames == pytest.approx(123.0, abs=0.02)
    assert found.static_gain_db == pytest.approx(3.0, abs=0.05)
    assert found.off_the_peaks_db == pytest.approx(db, abs=TOLERANCE_DB)
    assert found.most_db == pytest.approx(db, abs=TOLERANCE_DB)


@pytest.mark.parametrize("db", [3.0, 6.0])
def test_the_gain_of_a_look_ahead_limiter_is_read_within_a_fifth_of_a_db(db):
    before = music()
    after, gain = limiter(before, db)
    found = compare(before, moved(after, frames=41.37, gain_db=-2.0), rate_hz=RATE_HZ)
    assert found.lag_frames == pytest.approx(41.37, abs=0.05)
    expected = 20 * np.log10(at_peaks(before, gain))[: len(found.gain_db)]
    known = ~np.isnan(found.gain_db)
    off = np.abs(found.gain_db[known] - expected[known])
    assert known.mean() > 0.9
    assert np.percentile(off, 99.0) <= TOLERANCE_DB
    assert found.most_db == pytest.approx(-expected.min(), abs=TOLERANCE_DB)


def test_nothing_done_reads_nothing():
    before = music()
    found = compare(before, moved(before, frames=7.5, gain_db=-6.0), rate_hz=RATE_HZ)
    assert found.lag_frames == pytest.approx(7.5, abs=0.02)
    assert found.most_db < TOLERANCE_DB
    assert found.residual_db["250-2000"] < -40.0


def test_a_band_that_was_filtered_shows_in_its_residual():
    before = music()
    after = before - 0.5 * lfilter([0.5, -0.5], [1.0], before, axis=0)  # the top is softer
    found = compare(before, after, rate_hz=RATE_HZ)
    assert found.residual_db["2000-8000"] > found.residual_db["20-60"] + 10.0


def test_other_music_and_other_channels_are_refused():
    before = music()
    noise = np.random.default_rng(5).standard_normal(before.shape) * 0.1
    with pytest.raises(UsageError, match="not the same music"):
        compare(before, noise, rate_hz=RATE_HZ)
    with pytest.raises(UsageError, match="one file has 2 channels and the other 1"):
        compare(before, before[:, :1], rate_hz=RATE_HZ)
