"""A kick and a sub that are there apart."""

from __future__ import annotations

import numpy as np
import pytest

from demo_signals.pattern import RATE_HZ
from meter.errors import UsageError
from meter.kick_and_sub import FITS, MOVE, TOO_FEW, VARIES, together
from meter.units import Floats
from tests.support.drum_patterns import swept_kick

TIMES_S = 0.3 + 0.517 * np.arange(8)
FRAMES = round(4.6 * RATE_HZ)
BODIES_HZ = (42.0, 48.0, 55.0, 62.0, 70.0, 85.0, 97.0)
MOVED = ((-0.007, 1.0), (0.003, -1.0), (0.0095, 1.0), (-0.0015, -1.0))
"""How much later the sub comes, and its polarity."""


def stem(sound: Floats, times_s: Floats = TIMES_S) -> Floats:
    made = np.zeros(FRAMES)
    for at_s in times_s:
        start = round(at_s * RATE_HZ)
        stop = min(start + len(sound), FRAMES)
        made[start:stop] += sound[: stop - start]
    return made


def moved(sound: Floats, by_s: float) -> Floats:
    """The same so much later, between the samples too."""
    hz = np.fft.rfftfreq(len(sound), 1.0 / RATE_HZ)
    return np.fft.irfft(np.fft.rfft(sound) * np.exp(-2j * np.pi * hz * by_s), len(sound))


def body_of(kick: Floats) -> Floats:
    """What a sub is that fits a kick as well as can be: the kick's own low end, at zero phase."""
    hz = np.fft.rfftfreq(len(kick), 1.0 / RATE_HZ)
    return 0.7 * np.fft.irfft(np.fft.rfft(kick) * ((hz > 30.0) & (hz < 120.0)), len(kick))


def column(sound: Floats) -> Floats:
    return sound[:, None]


@pytest.mark.parametrize("body_hz", BODIES_HZ)
def test_polarity_and_delay_are_found_again(body_hz):
    kick = stem(swept_kick(body_hz))
    sub = body_of(kick)
    for later_s, polarity in MOVED:
        found = together(column(kick), column(polarity * moved(sub, later_s)), rate_hz=RATE_HZ)
        assert found.flips == (polarity < 0.0), (later_s, polarity)
        assert found.lag_s == pytest.approx(-later_s, abs=3e-4)
        assert found.served == 1.0 and len(found.hits) == len(TIMES_S)


def plain_sum_db(kick: Floats, sub: Floats, at_s: float) -> float:
    """G of one hit, straight from its definition, at the full rate."""
    from scipy.signal import firwin, oaconvolve

    taps = firwin(16_001, (30.0, 120.0), pass_zero=False, fs=RATE_HZ)
    k, s = (oaconvolve(x, taps, "same") for x in (kick, sub))
    part = slice(round((at_s - 0.002) * RATE_HZ), round((at_s + 0.118) * RATE_HZ))
    k, s = k[part], s[part]
    return float(10.0 * np.log10(((k + s) @ (k + s)) / (k @ k + s @ s)))


def sub_notes(hz: float, phases: Floats) -> Floats:
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    made = np.zeros(FRAMES)
    for at_s, phase in zip(TIMES_S, phases, strict=True):
        start = round(at_s * RATE_HZ)
        made[start : start + len(t)] += (
            0.5 * np.sin(2.0 * np.pi * hz * t + phase) * np.minimum(t / 0.006, 1.0)
        )
    return made


@pytest.mark.parametrize("phase", [0.0, 1.5, 3.0, 4.5])
def test_what_a_hit_comes_to_is_the_sum_at_the_full_rate(phase):
    kick, sub = stem(swept_kick(50.0)), sub_notes(50.0, np.full(len(TIMES_S), phase))
    found = together(column(kick), column(sub), rate_hz=RATE_HZ)
    plain = [plain_sum_db(kick, sub, at_s) for at_s in TIMES_S]
    assert [hit.g_db for hit in found.hits] == pytest.approx(plain, abs=0.4)


def test_a_sub_that_is_turned_is_told_to_be_turned_back():
    kick = stem(swept_kick(55.0))
    found = together(column(kick), column(-body_of(kick)), rate_hz=RATE_HZ)
    assert found.verdict == MOVE and found.flips
    assert found.g_db < -10.0 and found.best_db > 2.0
    assert found.gain_db == pytest.approx(found.best_db - found.g_db)


def test_a_sub_that_fits_is_left_alone():
    kick = stem(swept_kick(55.0))
    found = together(column(kick), column(body_of(kick)), rate_hz=RATE_HZ)
    assert found.verdict == FITS
    assert found.g_db == pytest.approx(10.0 * np.log10(1.7**2 / (1.0 + 0.7**2)), abs=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_suggested_for_a_sub_that_runs_free(seed):
    rng = np.random.Generator(np.random.PCG64(seed))
    hz = rng.uniform(45.0, 60.0)
    sub = sub_notes(hz, rng.uniform(0.0, 2.0 * np.pi, len(TIMES_S)))
    found = together(column(stem(swept_kick(hz + 2.0))), column(sub), rate_hz=RATE_HZ)
    assert found.verdict == VARIES


@pytest.mark.long
def test_nothing_is_suggested_for_a_steady_tone_under_loose_kicks():
    for seed in range(40):
        rng = np.random.Generator(np.random.PCG64(100 + seed))
        kick = stem(swept_kick(rng.uniform(45.0, 65.0)), TIMES_S + rng.uniform(-0.03, 0.03, len(TIMES_S)))
        tone = 0.5 * np.sin(2.0 * np.pi * rng.uniform(40.0, 60.0) * np.arange(FRAMES) / RATE_HZ)
        assert together(column(kick), column(tone), rate_hz=RATE_HZ).verdict != MOVE


def test_gain_changes_nothing():
    kick, sub = stem(swept_kick(52.0)), sub_notes(52.0, np.full(len(TIMES_S), 2.0))
    loud, quiet = (together(column(g * kick), column(g * sub), rate_hz=RATE_HZ) for g in (1.0, 0.05))
    assert loud.g_db == pytest.approx(quiet.g_db, abs=1e-4)
    assert (loud.verdict, loud.flips) == (quiet.verdict, quiet.flips)


def test_kicks_with_no_sub_are_counted_apart():
    kick = stem(swept_kick(52.0))
    sub = sub_notes(52.0, np.full(len(TIMES_S), 2.0))
    sub[round(2.2 * RATE_HZ) :] = 0.0
    found = together(column(kick), column(sub), rate_hz=RATE_HZ)
    assert len(found.hits) == 4 and found.without_sub == 4
    sub[round(1.2 * RATE_HZ) :] = 0.0
    assert together(column(kick), column(sub), rate_hz=RATE_HZ).verdict == TOO_FEW


def test_a_first_file_without_kicks_is_refused():
    with pytest.raises(UsageError, match="no kick was found in the first of the two"):
        together(np.zeros((RATE_HZ, 1)), np.zeros((RATE_HZ, 1)), rate_hz=RATE_HZ)
