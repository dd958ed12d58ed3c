"""The signal at about 3 kHz: flat where the low end is, and nothing folded down onto it."""

from __future__ import annotations

import numpy as np
import pytest

from meter.dsp.decimator import PASS_SHARE, Decimator, decimation_factor
from meter.dsp.grid import Grid
from meter.dsp.window import Window
from meter.standards.signals import sine

RATES_HZ = (8000, 8300, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000, 384_000)
EVERY_RATE = pytest.mark.parametrize("rate_hz", RATES_HZ)


def decimated(samples: np.ndarray, rate_hz: int, blocks_a_call: int = 1) -> tuple[np.ndarray, float]:
    """The whole array through the stream, and the new rate."""
    grid = Grid(rate_hz)
    decimator = Decimator(grid, channels=samples.shape[1])
    window = Window(channels=samples.shape[1], past_frames=decimator.past_frames)
    parts, start, block = [], 0, 0
    while start < len(samples):
        stop = min(len(samples), start + sum(grid.block_frames(block + k) for k in range(blocks_a_call)))
        window.push(samples[start:stop])
        whole = (stop - start) // grid.block_frames(block) if grid.is_regular else 1
        parts.append(decimator.process(window, blocks=max(1, whole)))
        start, block = stop, block + blocks_a_call
    return np.concatenate(parts, axis=1), decimator.rate_hz


def tones(f_hz: list[int], rate_hz: int) -> np.ndarray:
    return np.stack([sine(f, rate_hz, rate_hz=rate_hz) for f in f_hz], axis=1).astype(np.float32)


@EVERY_RATE
def test_the_new_rate_is_near_3_khz(rate_hz):
    factor = decimation_factor(Grid(rate_hz))
    assert 2900 <= rate_hz / factor < 2 * 2900 or rate_hz == 8300  # 415 = 5 x 83: only 1 divides
    if Grid(rate_hz).is_regular:
        assert Grid(rate_hz).block_frames(0) % factor == 0


@EVERY_RATE
def test_it_is_flat_within_0_001_db_over_the_low_end(rate_hz):
    f_hz = [10, 20, 40, 60, 120, 250, 400, 600, 800, 860]
    out, new_rate_hz = decimated(tones(f_hz, rate_hz), rate_hz)
    assert max(f_hz) <= PASS_SHARE * new_rate_hz
    settled = out[:, -round(0.5 * new_rate_hz) :]
    power = (settled**2).mean(axis=1)
    # Half a second holds whole periods of all of them; at 11025 and 22050 Hz but for part of an output.
    np.testing.assert_allclose(
        10.0 * np.log10(2.0 * power), 0.0, rtol=0.0, atol=0.001 if new_rate_hz % 2 == 0 else 0.01
    )


@EVERY_RATE
def test_what_would_fold_down_onto_the_low_end_is_85_db_lower(rate_hz):
    """Sines 40 and 240 Hz beside multiples of the new rate; the filter is designed for 90 dB."""
    new_rate_hz = rate_hz / decimation_factor(Grid(rate_hz))
    multiples = [k * new_rate_hz for k in (1, 2, 3, 5, 8, 13) if k * new_rate_hz < 0.5 * rate_hz]
    f_hz = [
        round(m + offset) for m in multiples for offset in (-240, -40, 40, 240) if m + offset < 0.5 * rate_hz
    ]
    if f_hz:
        out, _ = decimated(tones(f_hz, rate_hz), rate_hz)
        # Not the first tenth of a second, where the tones begin.
        assert 20.0 * np.log10(np.abs(out[:, out.shape[1] // 10 :]).max()) < -85.0


@pytest.mark.parametrize("rate_hz", [8000, 8300, 44_100, 48_000])
@pytest.mark.parametrize("blocks_a_call", [3, 20])
def test_any_number_of_blocks_a_call_gives_the_same_bits(rate_hz, blocks_a_call):
    samples = np.random.default_rng(1).uniform(-1.0, 1.0, (rate_hz, 2)).astype(np.float32)
    one, _ = decimated(samples, rate_hz)
    several, _ = decimated(samples, rate_hz, blocks_a_call)
    np.testing.assert_array_equal(one, several)


def test_outputs_stay_evenly_spaced_where_blocks_are_not():
    """A ramp through 11025 Hz: every output is `factor` frames later than the one before."""
    ramp = np.arange(11_025, dtype=np.float32)[:, None]
    out, new_rate_hz = decimated(ramp, 11_025)
    np.testing.assert_allclose(np.diff(out[0, 20:]), 11_025 / new_rate_hz, rtol=1e-4)
    assert out.shape[1] == 11_025 // 3
