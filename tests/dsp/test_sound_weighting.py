"""A, C, F and S against the tables of IEC 61672-1:2013 (SEEN-S, as the module of constants says)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from meter.dsp.sound_weighting import SoundWeighting, TimeWeighting, weighting_sections
from meter.standards import iec_61672_1_2013 as iec

RATES_HZ = [44_100, 48_000, 96_000, 192_000]
FORMULAS = {"A": iec.a_weighting_db, "C": iec.c_weighting_db}


def exact(nominal_hz: float) -> float:
    """The printed values hold at the exact base-ten frequencies."""
    return iec.exact_hz(list(iec.TABLE_3).index(nominal_hz) + iec.FIRST_INDEX)


def response_db(weighting: str, f_hz: float, rate_hz: int) -> float:
    _, response = signal.freqz_sos(weighting_sections(weighting, rate_hz), [f_hz], fs=rate_hz)
    return float(20.0 * np.log10(np.abs(response[0])))


@pytest.mark.parametrize("nominal_hz", iec.TABLE_3)
def test_the_formulas_give_what_the_table_prints(nominal_hz):
    a_db, c_db, _, _ = iec.TABLE_3[nominal_hz]
    assert exact(nominal_hz) == pytest.approx(nominal_hz, rel=0.013)
    assert iec.a_weighting_db(exact(nominal_hz)) == pytest.approx(a_db, abs=0.05)
    assert iec.c_weighting_db(exact(nominal_hz)) == pytest.approx(c_db, abs=0.05)


def test_the_constants_fit_the_printed_ones():
    assert iec._a_db(1000.0) == pytest.approx(iec.A1000_DB, abs=0.0005)
    assert iec._c_db(1000.0) == pytest.approx(iec.C1000_DB, abs=0.0005)
    # Annex E design formulas: fL = 10^1.5, fH = 10^3.9, fA = 10^2.45, D = sqrt(0.5). SEEN-S + CALC.
    low, high, d = 10.0**3.0, 10.0**7.8, math.sqrt(0.5)
    b = 1.0 / (1.0 - d) * (1e6 + low * high / 1e6 - d * (low + high))
    root = math.sqrt(b * b - 4.0 * low * high)
    assert math.sqrt((-b - root) / 2.0) == pytest.approx(iec.F1_HZ, rel=1e-6) or math.sqrt(
        (-b + root) / 2.0
    ) == pytest.approx(iec.F1_HZ, rel=1e-6)
    assert 10.0**2.45 * (3.0 - math.sqrt(5.0)) / 2.0 == pytest.approx(iec.F2_HZ, rel=1e-6)
    assert 10.0**2.45 * (3.0 + math.sqrt(5.0)) / 2.0 == pytest.approx(iec.F3_HZ, rel=1e-6)


@pytest.mark.parametrize("weighting", FORMULAS)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("nominal_hz", iec.TABLE_3)
def test_every_frequency_of_the_table_is_within_class_1(weighting, rate_hz, nominal_hz):
    *printed, above, below = iec.TABLE_3[nominal_hz]
    error_db = response_db(weighting, exact(nominal_hz), rate_hz) - printed["AC".index(weighting)]
    assert below - 0.05 <= error_db <= above + 0.05
    # Half of the limits are kept for what is not ours, where there are limits on both sides.
    if below > iec.NO_LIMIT and nominal_hz <= 12_500:
        assert below / 2.0 - 0.05 <= error_db <= above / 2.0 + 0.05


@pytest.mark.parametrize("weighting", FORMULAS)
def test_at_48_khz_it_follows_the_formula_within_a_tenth_of_a_decibel_up_to_10_khz(weighting):
    for f_hz in np.geomspace(20.0, 10_000.0, 200):
        assert response_db(weighting, f_hz, 48_000) == pytest.approx(FORMULAS[weighting](f_hz), abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_made_of_c_is_a(rate_hz):
    f_hz = np.geomspace(5.0, 0.49 * rate_hz, 300)
    a, c, a_of_c = (
        np.abs(signal.freqz_sos(weighting_sections(one, rate_hz), f_hz, fs=rate_hz)[1])
        for one in ("A", "C", "A of C")
    )
    np.testing.assert_allclose(c * a_of_c, a, rtol=1e-5)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_stream_in_pieces_gives_the_same_bits_and_what_scipy_gives(rate_hz):
    rng = np.random.default_rng(1)
    planar = rng.standard_normal((2, 5000)).astype(np.float32)
    for weighting in FORMULAS:
        whole = SoundWeighting(weighting, rate_hz=rate_hz, channels=2).process(planar)
        pieces = SoundWeighting(weighting, rate_hz=rate_hz, channels=2)
        cuts = np.split(planar, [1, 77, 3000], axis=1)
        cut = np.concatenate([pieces.process(part) for part in cuts], axis=1)
        assert cut.tobytes() == whole.tobytes()
        wanted = signal.sosfilt(weighting_sections(weighting, rate_hz), planar.astype(np.float64), axis=1)
        np.testing.assert_allclose(whole, wanted, atol=1e-12)


def levels(samples: np.ndarray, rate_hz: int, constant_s: float) -> np.ndarray:
    weighted = SoundWeighting("A", rate_hz=rate_hz, channels=1).process(samples[None])
    means = TimeWeighting(constant_s, rate_hz=rate_hz, channels=1).process(weighted**2)
    return 10.0 * np.log10(np.maximum(means[0], 1e-30))


def burst(length_ms: float, rate_hz: int) -> np.ndarray:
    at_s = np.arange(round(2.5 * rate_hz)) / rate_hz
    on = (at_s >= 0.1) & (at_s < 0.1 + length_ms / 1000.0 - 1e-9)
    return np.where(on, np.sin(2.0 * np.pi * 4000.0 * (at_s - 0.1)), 0.0)


def within(value_db: float, limited: tuple[float, float, float]) -> bool:
    printed, above, below = limited
    return below - 0.05 <= value_db - printed <= above + 0.05


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("length_ms", iec.TABLE_4)
def test_tonebursts_read_what_the_table_says(length_ms, rate_hz):
    fast, slow, exposure = iec.TABLE_4[length_ms]
    samples = burst(length_ms, rate_hz)
    steady_db = 10.0 * math.log10(0.5) + iec.a_weighting_db(4000.0)
    assert within(levels(samples, rate_hz, iec.F_S).max() - steady_db, fast)
    if slow is not None:
        assert within(levels(samples, rate_hz, iec.S_S).max() - steady_db, slow)
    weighted = SoundWeighting("A", rate_hz=rate_hz, channels=1).process(samples[None])
    assert within(10.0 * math.log10((weighted**2).sum() / rate_hz) - steady_db, exposure)


@pytest.mark.parametrize(
    ("constant_s", "limited"), [(iec.F_S, iec.F_DECAY_DB_A_S), (iec.S_S, iec.S_DECAY_DB_A_S)]
)
def test_it_decays_at_the_rate_of_the_standard_and_both_read_a_steady_tone_alike(constant_s, limited):
    rate_hz = 48_000
    at_s = np.arange(16 * rate_hz) / rate_hz
    tone = np.where(at_s < 12.0, np.sin(2.0 * np.pi * 1000.0 * at_s), 0.0)
    read = levels(tone, rate_hz, constant_s)
    assert read[round(11.9 * rate_hz)] == pytest.approx(10.0 * math.log10(0.5), abs=0.1)
    first, second = read[round(12.2 * rate_hz)], read[round(12.7 * rate_hz)]
    assert within((first - second) / 0.5, limited)


@pytest.mark.parametrize(("f_hz", "cycles", "wanted_db", "limit_db"), iec.TABLE_5)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_c_weighted_peak_of_single_cycles_is_within_class_1(f_hz, cycles, wanted_db, limit_db, sign):
    rate_hz = 48_000
    at_s = np.arange(rate_hz) / rate_hz
    since_s = at_s - 0.2
    on = (since_s >= 0.0) & (since_s < cycles / f_hz)
    samples = sign * np.where(on, np.sin(2.0 * np.pi * f_hz * since_s), 0.0)
    weighted = SoundWeighting("C", rate_hz=rate_hz, channels=1).process(samples[None])
    steady_db = 10.0 * math.log10(0.5) + iec.c_weighting_db(f_hz)
    assert 20.0 * math.log10(np.abs(weighted).max()) - steady_db == pytest.approx(wanted_db, abs=limit_db)
