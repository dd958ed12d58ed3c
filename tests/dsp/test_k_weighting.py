"""K-weighting: the printed response at 48 kHz, and the same one at every other rate.

Source of every expected value: ITU-R BS.1770-5 (11/2023), Annex 1, Tables 1 and 2 (SEEN-P); the
gains are worked out from them (facts.md 1.1, CALC).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import signal

from meter.chain import Chain
from meter.dsp.grid import Grid
from meter.dsp.k_weighting import k_coefficients, k_filter, k_weight
from meter.standards.signals import sine
from tests.support.sound import run

SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])

# Hz: dB
PRINTED = {
    10: -23.7862, 20: -13.2754, 25: -10.3928, 31.5: -7.7900, 40: -5.5669, 50: -3.9341, 60: -2.8992,
    80: -1.7318, 100: -1.1335, 125: -0.7278, 160: -0.4350, 200: -0.2649, 250: -0.1529, 315: -0.0750,
    400: -0.0148, 500: 0.0425, 630: 0.1342, 800: 0.3275, 997: 0.6910, 1000: 0.6977, 1250: 1.3417,
    1600: 2.2904, 2000: 3.0713, 2500: 3.5798, 3150: 3.8482, 4000: 3.9680, 5000: 4.0134, 6300: 4.0321,
    8000: 4.0394, 10000: 4.0419, 12500: 4.0428, 16000: 4.0431, 20000: 4.0431,
}  # fmt: skip

RATES_HZ = (
    *(8000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000),
    *(88_200, 96_000, 176_400, 192_000, 384_000),
)
# Rates that nobody names: their blocks divide badly (415 = 5 x 83, 4835 = 5 x 967), or have no whole 10 ms.
ODD_RATES_HZ = (8300, 12_345, 96_700, 383_300)
EVERY_RATE = pytest.mark.parametrize("rate_hz", [*RATES_HZ, *ODD_RATES_HZ])

PLATEAU_DB = 4.0431
"""Above 24 kHz nothing is published: the gain stays what it is there."""


def gain_db(b, a, f_hz, rate_hz):
    _, response = signal.freqz(b, a, f_hz, fs=rate_hz)
    return 20.0 * np.log10(np.abs(response))


def wanted_db(f_hz):
    below = np.minimum(f_hz, 23_990.0)
    return gain_db(*SHELF, below, 48_000) + gain_db(*HIGH_PASS, below, 48_000)


def test_the_response_at_48_khz_is_the_published_one():
    b, a = k_coefficients(48_000)
    found = gain_db(b, a, list(PRINTED), 48_000)
    np.testing.assert_allclose(found, list(PRINTED.values()), rtol=0.0, atol=0.001)


@EVERY_RATE
def test_the_response_at_every_rate_is_that_of_48_khz(rate_hz):
    b, a = k_coefficients(rate_hz)
    f_hz = np.concatenate([np.geomspace(5.0, 0.45 * rate_hz, 2000), np.linspace(5.0, 0.45 * rate_hz, 2000)])
    error_db = gain_db(b, a, f_hz, rate_hz) - wanted_db(f_hz)
    assert np.abs(error_db).max() <= 0.05
    # What docs/architecture.md says of it.
    assert np.abs(error_db).max() <= (0.007 if rate_hz < 22_050 else 0.003)


def test_above_24_khz_the_gain_stays_where_it_was():
    for rate_hz in (88_200, 192_000, 384_000):
        b, a = k_coefficients(rate_hz)
        f_hz = np.linspace(24_000.0, 0.45 * rate_hz, 300)
        np.testing.assert_allclose(gain_db(b, a, f_hz, rate_hz), PLATEAU_DB, atol=0.005)


@EVERY_RATE
def test_the_filter_is_stable(rate_hz):
    _, a = k_coefficients(rate_hz)
    assert np.abs(np.roots(a)).max() < 1.0 - 30.0 / rate_hz


@EVERY_RATE
def test_sines_through_the_chain_come_out_at_the_published_gain(rate_hz):
    """Whole periods in each 100 ms, after the first half second; six at a time."""
    shares = (10 * round(k * rate_hz / 100) for k in (1, 2, 3, 4, 4.5))
    f_hz = [*(20, 40, 60, 100, 250, 500, 1000, 1500, 2000, 3000, 3400), *shares]
    f_hz = [f for f in f_hz if f <= 0.45 * rate_hz]
    for start in range(0, len(f_hz), 6):
        group = f_hz[start : start + 6]
        tones = np.stack([0.5 * sine(f, rate_hz, rate_hz=rate_hz) for f in group], axis=1).astype(np.float32)
        rows = run(Chain(rate_hz=rate_hz, channels=len(group), low_end=False), tones)
        power = np.average(rows["k_power"][5:, : len(group)], axis=0, weights=rows["frames"][5:])
        np.testing.assert_allclose(
            10.0 * np.log10(power / 0.125), wanted_db(np.array(group)), rtol=0.0, atol=0.05
        )


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 48_000])
def test_the_stream_filter_is_the_whole_array_filter(rate_hz):
    grid = Grid(rate_hz)
    stream, rng = k_filter(grid, channels=3), np.random.default_rng(1)
    samples = rng.uniform(-1.0, 1.0, (grid.cell_edge(100), 3))
    edges = [grid.cell_edge(5 * block) for block in range(21)]
    found = [stream.process(samples[a:b].T, blocks=1)[0].T.copy() for a, b in pairwise(edges)]
    wanted = k_weight(samples, rate_hz=rate_hz)
    # Matrix products in float32 where the rate allows them (tests/dsp/test_block_filter.py).
    np.testing.assert_allclose(np.concatenate(found), wanted, rtol=0.0, atol=5e-7)


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 48_000, 384_000])
def test_in_silence_the_memory_becomes_exactly_zero(rate_hz):
    """So that no arithmetic goes on with denormal numbers, which are slow."""
    grid = Grid(rate_hz)
    stream, rng = k_filter(grid, channels=2), np.random.default_rng(2)
    stream.process(rng.uniform(-1.0, 1.0, (2, grid.block_frames(0))) + 1.0, blocks=1)
    assert not stream.is_at_rest()
    still = np.zeros((2, grid.block_frames(0)))
    blocks = 0
    while not stream.is_at_rest():
        stream.process(still, blocks=1)
        stream.settle(1e-18)
        blocks += 1
        assert blocks < 100
    assert not stream.process(still, blocks=1).any()


@pytest.mark.parametrize("rate_hz", [11_025, 48_000])
def test_reset_makes_it_as_new(rate_hz):
    grid = Grid(rate_hz)
    used, new = k_filter(grid, channels=2), k_filter(grid, channels=2)
    samples = np.random.default_rng(3).uniform(-1.0, 1.0, (2, grid.block_frames(0)))
    used.process(samples, blocks=1)
    used.reset()
    assert used.is_at_rest()
    np.testing.assert_array_equal(used.process(samples, blocks=1), new.process(samples, blocks=1))
