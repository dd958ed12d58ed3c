"""Levels of the signal against formulas; the weightings themselves are held to IEC 61672-1 elsewhere."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.exposure.sound_levels import HeardSecond, SoundLevels
from meter.standards import iec_61672_1_2013 as iec

RATE_HZ = 48_000


def sine(f_hz: float, seconds: float, amplitude: float = 1.0) -> np.ndarray:
    return amplitude * np.sin(2.0 * np.pi * f_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def seconds_of(left: np.ndarray, right: np.ndarray | None = None) -> list[HeardSecond]:
    planes = [left] if right is None else [left, right]
    levels = SoundLevels(rate_hz=RATE_HZ, channels=len(planes))
    return [*levels.process(np.stack(planes, axis=1)), *levels.flush()]


@pytest.mark.parametrize("f_hz", [50.0, 1000.0, 8000.0])
def test_a_sine_reads_its_weighted_level_against_full_scale(f_hz):
    last = seconds_of(sine(f_hz, 3.0, 0.1))[2]
    assert last.laeq_db == pytest.approx(-20.0 + iec.a_weighting_db(f_hz), abs=0.1)
    assert last.lceq_db == pytest.approx(-20.0 + iec.c_weighting_db(f_hz), abs=0.1)
    assert last.peak_db == pytest.approx(-20.0 + iec.c_weighting_db(f_hz), abs=0.1)
    assert 10.0 * math.log10(last.a_fast) == pytest.approx(last.laeq_db, abs=0.1)


def test_sub_bass_is_nearly_ignored_by_a_and_not_by_c():
    """Facts of Table 3 at 50 Hz: A -30.2 dB, C -1.3 dB."""
    last = seconds_of(sine(50.12, 3.0))[2]
    assert last.lceq_db - last.laeq_db == pytest.approx(30.2 - 1.3, abs=0.15)


def test_the_louder_ear_counts_and_the_ears_are_never_added_up():
    loud, quiet = sine(1000.0, 2.0, 0.5), sine(1000.0, 2.0, 0.05)
    both = seconds_of(loud, quiet)[1]
    assert both.laeq_db == pytest.approx(-6.02, abs=0.05)
    assert both.laeq_db == pytest.approx(seconds_of(quiet, loud)[1].laeq_db)
    assert both.laeq_db == pytest.approx(seconds_of(loud, loud)[1].laeq_db)
    assert both.laeq_db == pytest.approx(seconds_of(loud)[1].laeq_db)  # one channel is heard by both
    assert 10.0 * math.log10(both.a_power[0] / both.a_power[1]) == pytest.approx(20.0, abs=0.01)


@given(cuts=st.lists(st.integers(0, 2 * RATE_HZ), max_size=5))
@settings(max_examples=10)
def test_any_cutting_gives_the_same_seconds(cuts):
    rng = np.random.default_rng(1)
    frames = rng.standard_normal((2 * RATE_HZ + 777, 2)) * 0.1
    whole = SoundLevels(rate_hz=RATE_HZ, channels=2)
    wanted = [*whole.process(frames), *whole.flush()]
    cut = SoundLevels(rate_hz=RATE_HZ, channels=2)
    found = [second for part in np.split(frames, sorted(cuts)) for second in cut.process(part)]
    found += cut.flush()
    assert len(found) == len(wanted) == 3
    for own, theirs in zip(found, wanted, strict=True):
        assert own.seconds == theirs.seconds
        assert own.c_peak == theirs.c_peak
        assert own.a_power == pytest.approx(theirs.a_power, rel=1e-12)


def test_what_is_no_number_counts_as_silence_and_spoils_nothing():
    tone = sine(1000.0, 3.0, 0.1)
    tone[100:200] = np.nan
    tone[300] = np.inf
    assert seconds_of(tone)[2].laeq_db == pytest.approx(-20.0, abs=0.05)
    assert seconds_of(np.zeros(RATE_HZ))[0].laeq_db == -math.inf


@given(gain_db=st.floats(-60.0, 20.0))
@settings(max_examples=10)
def test_gain_moves_every_level_by_as_much(gain_db):
    rng = np.random.default_rng(2)
    noise = rng.standard_normal(RATE_HZ) * 0.05
    plain, louder = seconds_of(noise)[0], seconds_of(noise * 10.0 ** (gain_db / 20.0))[0]
    for name in ("laeq_db", "lceq_db", "peak_db"):
        assert getattr(louder, name) - getattr(plain, name) == pytest.approx(gain_db, abs=1e-6)
