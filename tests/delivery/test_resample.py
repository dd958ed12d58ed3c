"""Another rate piece by piece is the same as all at once."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from meter.delivery import resample
from meter.delivery.resample import Resampler, Room, resampled


@pytest.mark.parametrize(
    "rate_hz",
    [11_025, 22_050, 44_100, 88_200, 96_000, 192_000],
)
@pytest.mark.parametrize("frames", [1, 700, 20_011])
@pytest.mark.parametrize("cut", [97, 4096, 50_000])
def test_any_cutting_gives_what_scipy_makes_of_all_of_it(monkeypatch, rate_hz, frames, cut):
    to_hz = 48_000
    monkeypatch.setattr(resample, "PIECE_FRAMES", 3000)
    sound = np.random.default_rng(frames).uniform(-1.0, 1.0, (frames, 2)).astype(np.float32)
    common = math.gcd(rate_hz, to_hz)
    wanted = signal.resample_poly(
        sound, to_hz // common, rate_hz // common, axis=0, window=("kaiser", resample.BETA)
    )
    resampler = Resampler(rate_hz, to_hz, 2)
    pieces = [piece for at in range(0, frames, cut) for piece in resampler.push(sound[at : at + cut])]
    found = np.concatenate([*pieces, resampler.finish()])
    assert len(pieces) > 3 or frames < 20_000
    assert found.dtype == np.float32
    np.testing.assert_allclose(found, wanted, atol=1e-6)
    np.testing.assert_allclose(resampled(sound, rate_hz, to_hz), wanted, atol=1e-6)


def test_a_block_may_be_overwritten_after_it_was_taken():
    resampler, block = Resampler(96_000, 48_000, 1), np.ones((1000, 1), np.float32)
    resampler.push(block)
    block[:] = 0.0
    assert resampler.finish()[250, 0] == pytest.approx(1.0, abs=1e-3)


def test_nothing_gives_nothing():
    assert Resampler(96_000, 48_000, 2).finish().shape == (0, 2)


def test_a_room_takes_more_than_was_expected():
    room = Room(2, 1)
    for value in range(7):
        room.add(np.full((3, 1), value, np.float32))
    assert room.frames[:, 0].tolist() == [float(value) for value in range(7) for _ in range(3)]
