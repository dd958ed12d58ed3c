"""The low bands against the analogue Linkwitz-Riley responses, at any rate.

An analogue LR4 low-pass has the magnitude 1 / (1 + (f/fc)^4), its high-pass the rest to 1: two
cascaded Butterworth filters a side (RaneNote 160, SEEN-P; facts.md 5.13, 5.14, CALC).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from meter.dsp.grid import Grid
from meter.dsp.low_bands import LowBands, lr4_high_pass, lr4_low_pass
from meter.dsp.window import Window
from meter.errors import UsageError
from meter.soundings import LOW_BANDS
from meter.standards.signals import sine

RATES_HZ = (8000, 8300, 22_050, 44_100, 48_000, 96_000, 192_000, 384_000)


def low(f_hz, corner_hz):
    return 1.0 / (1.0 + (np.asarray(f_hz) / corner_hz) ** 4)


def high(f_hz, corner_hz):
    return 1.0 - low(f_hz, corner_hz)


def db(amplitude):
    return 20.0 * np.log10(amplitude)


def analogue(f_hz, crossover_hz):
    """Each band as the design defines it, all with the high-pass at 20 Hz; shape (bands, frequencies)."""
    bands = [
        low(f_hz, 60.0),
        high(f_hz, 60.0) * low(f_hz, 120.0),
        high(f_hz, 120.0) * low(f_hz, 250.0),
        low(f_hz, crossover_hz),
    ]
    return np.array(bands) * high(f_hz, 20.0)


def measured(f_hz, rate_hz, crossover_hz):
    """Amplitude gain of each band for steady sines, through decimator and sections; two at a time."""
    grid, gains = Grid(rate_hz), []
    for left_hz, right_hz in zip(f_hz[::2], f_hz[1::2], strict=True):
        bands = LowBands(grid, crossover_hz=crossover_hz)
        window = Window(channels=2, past_frames=bands.past_frames)
        pair = np.stack([sine(f, rate_hz, rate_hz=rate_hz) for f in (left_hz, right_hz)], axis=1)
        pair = np.concatenate([pair, pair]).astype(np.float32)
        sums, count, start = np.zeros((4, 3)), 0, 0
        for block in range(40):
            window.push(pair[start : start + grid.block_frames(block)])
            start += grid.block_frames(block)
            found, values = bands.process(window, blocks=1)
            if block >= 20:  # the second second, in which the filters have settled
                sums, count = sums + found[0], count + values
        gains += [np.sqrt(2.0 * sums[:, 0] / count), np.sqrt(2.0 * sums[:, 1] / count)]
    return np.array(gains).T


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("crossover_hz", [80.0])
def test_every_band_follows_the_analogue_response_down_to_40_db(rate_hz, crossover_hz):
    f_hz = [8, 11, 16, 20, 27, 35, 45, 60, 75, 90, 105, 120, 140, 165, 185, 220, 250, 300, 370, 450, 600, 750]
    wanted, found = analogue(f_hz, crossover_hz), measured(f_hz, rate_hz, crossover_hz)
    audible = db(wanted) > -40.0
    assert audible.sum(axis=1).min() >= 10
    assert np.abs(db(found / wanted))[audible].max() <= 0.05


@pytest.mark.parametrize("rate_hz", [2900.0, 3000.0, 3675.0, 4000.0, 8300.0, 76_660.0])
@pytest.mark.parametrize("corner_hz", [20.0, 40.0, 60.0, 120.0, 250.0, 300.0])
def test_the_sections_follow_the_analogue_response_at_every_rate_they_run_at(rate_hz, corner_hz):
    """Densely, by scipy's frequency response: half the rates come from blocks that divide badly."""
    f_hz = np.geomspace(5.0, 870.0, 2000)
    for sections, wanted in (
        (lr4_low_pass(corner_hz, rate_hz=rate_hz), low(f_hz, corner_hz)),
        (lr4_high_pass(corner_hz, rate_hz=rate_hz), high(f_hz, corner_hz)),
    ):
        _, response = signal.sosfreqz(sections, f_hz, fs=rate_hz)
        audible = db(wanted) > -40.0
        assert np.abs(db(np.abs(response) / wanted))[audible].max() <= 0.05
        assert np.abs(np.concatenate([np.roots(s[3:]) for s in sections])).max() < 1.0


def test_a_corner_has_the_gains_of_the_handbook():
    """At fc/4 ... 4fc: facts.md 5.14, CALC; -6.02 dB at fc on both sides: RaneNote 160, SEEN-P."""
    f_hz = 120.0 * np.array([0.25, 0.5, 1.0, 2.0, 4.0])
    wanted = np.array([-0.034, -0.527, -6.021, -24.61, -48.2])
    for sections, expected in (
        (lr4_low_pass(120.0, rate_hz=3000.0), wanted),
        (lr4_high_pass(120.0, rate_hz=3000.0), wanted[::-1]),
    ):
        _, response = signal.sosfreqz(sections, f_hz, fs=3000.0)
        assert db(np.abs(response)) == pytest.approx(expected, abs=0.06)


def test_low_and_high_side_leave_no_hole():
    """The sides are in phase: amplitudes add up to 1, and the sum is an all-pass, half a turn at fc.

    RaneNote 160, SEEN-P. The sections are fitted in magnitude, each side for itself, so the phase is
    not held as closely: the sum of the sides, which nothing here uses, strays up to 0.22 dB at 3 kHz.
    """
    f_hz = np.geomspace(10.0, 800.0, 500)
    below, above = (
        signal.sosfreqz(sections, f_hz, fs=3000.0)[1]
        for sections in (lr4_low_pass(120.0, rate_hz=3000.0), lr4_high_pass(120.0, rate_hz=3000.0))
    )
    np.testing.assert_allclose(db(np.abs(below) + np.abs(above)), 0.0, rtol=0.0, atol=0.01)
    np.testing.assert_allclose(db(np.abs(below + above)), 0.0, rtol=0.0, atol=0.25)
    assert abs(np.angle(np.interp(120.0, f_hz, below + above))) == pytest.approx(np.pi, abs=0.25)


def test_the_usual_crossover_is_both_lower_bands_filter():
    """At 120 Hz the band below the crossover and the one that is split at 60 Hz share their low-pass."""
    f_hz = [30, 50, 90, 120, 150, 200]
    found, wanted = measured(f_hz, 48_000, 120.0), analogue(f_hz, 120.0)
    assert np.abs(db(found / wanted)).max() <= 0.05


def test_an_offset_does_not_reach_any_band():
    bands = LowBands(Grid(48_000), crossover_hz=120.0)
    window = Window(channels=2, past_frames=bands.past_frames)
    for _ in range(40):
        window.push(np.full((2400, 2), 0.5, np.float32))
        sums, count = bands.process(window, blocks=1)
    assert np.sqrt(sums[0, :, 0] / count).max() < 1e-6


def test_the_sums_are_left_right_and_their_product():
    bands = LowBands(Grid(48_000), crossover_hz=120.0)
    window = Window(channels=2, past_frames=bands.past_frames)
    tone = np.array(sine(50, 48_000, rate_hz=48_000))
    window.push(np.stack([tone, -0.5 * tone], axis=1).astype(np.float32))
    sums, count = bands.process(window, blocks=20)
    assert count * 20 == 48_000 // 16
    ll, rr, lr = sums[-1, LOW_BANDS.index("20-60")]
    assert (rr, lr) == pytest.approx((0.25 * ll, -0.5 * ll), rel=1e-6)


def test_in_silence_every_memory_becomes_exactly_zero():
    bands = LowBands(Grid(11_025), crossover_hz=80.0)
    window = Window(channels=2, past_frames=bands.past_frames)
    window.push(np.ones((551, 2), np.float32))
    bands.process(window, blocks=1)
    blocks = 0
    while not bands.is_at_rest():
        window.push(np.zeros((551, 2), np.float32))
        bands.process(window, blocks=1)
        bands.settle(1e-18)
        blocks += 1
        assert blocks < 100
    assert not bands.process(window, blocks=1)[0].any()


@pytest.mark.parametrize("crossover_hz", [39.9, 300.1, 0.0, -120.0, float("nan"), float("inf")])
def test_a_crossover_out_of_range_is_named(crossover_hz):
    with pytest.raises(
        UsageError, match=f"the crossover is {crossover_hz:g} Hz, but it must lie between 40 and 300 Hz"
    ):
        LowBands(Grid(48_000), crossover_hz=crossover_hz)


@pytest.mark.parametrize("crossover_hz", [40.0, 300.0])
def test_the_ends_of_the_range_are_inside(crossover_hz):
    f_hz = [22, 30, 40, 50]
    found = measured(f_hz, 48_000, crossover_hz)[LOW_BANDS.index("below_crossover")]
    wanted = low(f_hz, crossover_hz) * high(f_hz, 20.0)
    assert np.abs(db(found / wanted)).max() <= 0.05
