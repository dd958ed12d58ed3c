"""The frequency at which a kick settles, against what it was made of and against its spectrum."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest
from numpy.testing import assert_allclose

from demo_signals.pattern import RATE_HZ
from tests.support import debian
from tests.support.drum_patterns import KICKS, kicks_of_kits, one_shot, swept_kick
from tests.support.low_end import body_of

SWEEPS_S = (0.003, 0.006, 0.01, 0.016)
"""From a click to a fall that is over after 80 ms."""


@pytest.mark.parametrize("body_hz", [40.0, 57.3, 95.0, 120.0])
@pytest.mark.parametrize(("sweep_s", "sweep_hz"), [(0.003, 300.0), (0.007, 240.0), (0.016, 160.0)])
def test_a_swept_kick_settles_where_it_was_made_to(body_hz, sweep_s, sweep_hz):
    found = body_of(swept_kick(body_hz, sweep_s=sweep_s, sweep_hz=sweep_hz, decay_s=0.12))
    assert found.hz == pytest.approx(body_hz, abs=2.0)


@pytest.mark.parametrize("rate_hz", [44_100, 22_050, 96_000])
def test_it_is_the_same_at_other_rates(rate_hz):
    t = np.arange(round(0.35 * rate_hz)) / rate_hz
    phase = 2.0 * np.pi * (63.0 * t + 240.0 * 0.007 * (1.0 - np.exp(-t / 0.007)))
    found = body_of(np.sin(phase) * np.exp(-t / 0.1), rate_hz)
    assert found.hz == pytest.approx(63.0, abs=0.7)


@pytest.mark.long
@pytest.mark.parametrize("body_hz", range(40, 121, 4))
def test_many_sweeps_and_lengths_settle_within_2_hz(body_hz):
    told, tried = 0, 0
    for sweep_s in SWEEPS_S:
        for sweep_hz in (80.0, 160.0, 300.0):
            for decay_s in (0.06, 0.1, 0.2):
                kick = swept_kick(body_hz, sweep_s=sweep_s, sweep_hz=sweep_hz, decay_s=decay_s, seconds=0.4)
                found = body_of(kick).hz
                tried += 1
                if found is not None:
                    told += 1
                    assert found == pytest.approx(body_hz, abs=2.0), (sweep_s, sweep_hz, decay_s)
    assert told >= tried - 2  # a fall as long as the hit itself never settles


def test_a_kick_that_falls_all_along_has_no_body():
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    falling = np.sin(2.0 * np.pi * (150.0 * t - 140.0 * t * t)) * np.exp(-t / 0.15)  # 150 to 38 Hz
    assert body_of(falling).hz is None


def test_noise_has_no_body():
    noise = np.random.Generator(np.random.PCG64(3)).standard_normal(RATE_HZ // 3)
    assert body_of(0.2 * noise * np.exp(-np.arange(len(noise)) / (0.1 * RATE_HZ))).hz is None


def test_level_length_and_share_are_those_of_the_formula():
    """A sine of amplitude a that decays as exp(-t/d) is 24 dB down after 2.763·d."""
    t = np.arange(round(0.6 * RATE_HZ)) / RATE_HZ
    found = body_of(0.5 * np.sin(2.0 * np.pi * 50.0 * t) * np.exp(-t / 0.05))
    assert found.seconds == pytest.approx(0.05 * 2.4 * np.log(10.0) / 2.0, abs=0.02)
    assert found.sub_share > 0.9
    assert body_of(0.5 * np.sin(2.0 * np.pi * 95.0 * t) * np.exp(-t / 0.05)).sub_share < 0.1
    held = body_of(0.5 * np.sin(2.0 * np.pi * 80.0 * t))
    assert held.level_dbfs == pytest.approx(-6.02, abs=0.5)
    assert held.seconds is None  # nobody hears it end


def test_a_louder_kick_is_the_same_kick():
    kick = swept_kick(60.0, decay_s=0.05)
    loud, quiet = body_of(kick), body_of(0.01 * kick)
    assert loud.level_dbfs - quiet.level_dbfs == pytest.approx(40.0, abs=0.01)
    for name in ("hz", "seconds", "sub_share", "crest_db"):
        assert_allclose(getattr(loud, name), getattr(quiet, name), rtol=1e-3)


# --- real drums, against a long window on their tails ------------------------------------------

TAIL_S = 0.08
CLEAR_HZ = 6.0


def tail_peak_hz(kick: np.ndarray) -> float | None:
    """Highest point of the spectrum from 80 ms on to 30 dB down; None where there is no clear one.

    Clear is: the tail lasts 100 ms, and half of its energy from 25 to 200 Hz lies within 6 Hz of the point.
    """
    from scipy.signal import butter, sosfiltfilt

    sound = np.concatenate([np.zeros(4800), kick, np.zeros(4800)])
    band = sosfiltfilt(butter(2, (25.0, 200.0), "bandpass", fs=RATE_HZ, output="sos"), sound)
    level = np.sqrt(np.convolve(band**2, np.full(960, 1 / 960), "same"))[4800:]
    top = int(level.argmax())
    under = np.flatnonzero(level[top:] < level[top] * 10.0**-1.5)
    end = min(top + int(under[0]) if len(under) else len(kick), round(0.5 * RATE_HZ))
    tail = kick[round(TAIL_S * RATE_HZ) : end]
    if len(tail) < 0.1 * RATE_HZ:
        return None
    size = 1 << 18
    power, hz = np.abs(np.fft.rfft(tail, size)) ** 2, np.fft.rfftfreq(size, 1.0 / RATE_HZ)
    low = (hz > 25.0) & (hz < 200.0)
    peak_hz = float(hz[low][power[low].argmax()])
    near = low & (np.abs(hz - peak_hz) <= CLEAR_HZ)
    return peak_hz if power[near].sum() > 0.5 * power[low].sum() else None


def held_to_their_tails(names: Iterable[str]) -> list[tuple[str, float, float]]:
    """Kicks whose body is told and whose tail has a clear peak: name, body, peak."""
    both = []
    for name in names:
        kick = one_shot(name)[RATE_HZ // 1000 :]
        body_hz, peak_hz = body_of(kick).hz, tail_peak_hz(kick)
        if body_hz is not None and peak_hz is not None:
            both.append((name, body_hz, peak_hz))
    return both


@pytest.mark.packages("sonic-pi-samples")
def test_sampled_kicks_settle_where_their_tails_have_their_peak():
    both = held_to_their_tails(KICKS)
    assert len(both) >= 5
    assert all(abs(body_hz - peak_hz) <= 4.0 for _, body_hz, peak_hz in both), both


@pytest.mark.long
@pytest.mark.packages("hydrogen-drumkits")
def test_kicks_of_drum_kits_settle_where_their_tails_have_their_peak():
    kicks = kicks_of_kits()
    assert debian.missing(["hydrogen-drumkits"]) == [] and len(kicks) > 40
    both = held_to_their_tails(kicks)
    assert len(both) >= 8
    off = [one for one in both if abs(one[1] - one[2]) > 4.0]
    assert len(off) <= 1, off  # one of the kicks goes on moving once it is 12 dB down
