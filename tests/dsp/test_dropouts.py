"""Drop-outs: short digital silence that cuts a wave off."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from meter.chain import Chain
from tests.support.examples import a_quarter
from tests.support.sound import noise, run_to_end, silence, tone

RATE_HZ = 48_000


def found(samples):
    """(how many, frames of all of them)"""
    rows = run_to_end(Chain(rate_hz=RATE_HZ, channels=2, low_end=False), samples)
    return int(rows["dropouts"].sum()), int(rows["dropout_frames"].sum())


@a_quarter()
@given(start=st.integers(4800, 40_000), frames=st.integers(48, 24_000))
def test_silence_of_any_length_and_place_counts_once(start, frames):
    samples = noise(2.0, seed=1)
    samples[start : start + frames] = 0.0
    samples[start - 1], samples[start + frames] = 0.05, 0.05
    assert found(samples) == (1, frames)


def test_what_is_shorter_or_longer_or_on_one_side_only_is_none():
    for start, stop, channels in ((20_000, 20_047, 2), (20_000, 45_000, 2), (20_000, 20_480, 1)):
        samples = noise(2.0, seed=2)
        samples[start:stop, :channels] = 0.0
        assert found(samples) == (0, 0)


def test_faded_silence_and_the_ends_of_a_file_are_none():
    samples = noise(1.0, seed=3)
    samples[:960] = 0.0
    samples[-960:] = 0.0
    fade = np.linspace(1.0, 0.0, 480)[:, None] ** 2
    samples[20_000:20_480] *= fade
    samples[20_480:21_000] = 0.0
    samples[21_000:21_480] *= fade[::-1]
    assert found(samples) == (0, 0)


def test_the_zeros_of_a_wave_are_none():
    assert found(np.concatenate([tone(100.0, 1.0), silence(0.3), tone(100.0, 1.0)]))[0] <= 1
    assert found(tone(24_000.0, 1.0)) == (0, 0)
