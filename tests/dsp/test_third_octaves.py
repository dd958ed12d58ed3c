"""Third-octave levels against theory, against scipy, and on real music."""

import math

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from meter.dsp.third_octaves import third_octave_powers
from meter.standards import iec_61260_1_2014 as iec

RATE_HZ = 48_000

# ISO 266:1997, preferred frequencies of third-octave bands. From memory.
NOMINAL_HZ = (
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000,
    2500, 3150, 4000, 5000, 6300, 8000, 10_000, 12_500, 16_000, 20_000,
)  # fmt: skip


def db(powers):
    return 10.0 * np.log10(powers)


def pink(seconds, *, seed=1, rate_hz=RATE_HZ):
    """Noise whose spectrum falls exactly by 3 dB an octave, with random phases."""
    frames = round(seconds * rate_hz)
    f_hz = np.fft.rfftfreq(frames, 1.0 / rate_hz)
    phases = np.exp(2j * np.pi * np.random.default_rng(seed).random(len(f_hz)))
    with np.errstate(divide="ignore"):
        spectrum = np.where(f_hz > 5.0, phases / np.sqrt(f_hz), 0.0)
    return np.fft.irfft(spectrum, frames)[:, None] * 1000.0


def test_bands_have_the_preferred_names():
    assert tuple(iec.nominal_hz(index) for index in iec.indices()) == NOMINAL_HZ
    for index in iec.indices():
        assert iec.exact_hz(index) == pytest.approx(iec.nominal_hz(index), rel=0.01)


def test_one_band_ends_where_the_next_begins():
    for index in list(iec.indices())[:-1]:
        assert iec.edges_hz(index)[1] == pytest.approx(iec.edges_hz(index + 1)[0], rel=1e-12)
    # IEC 61260-1:2014, base ten: the edges of 1 kHz are 10^(∓1/20) of it. From memory; CALC.
    assert iec.edges_hz(0) == pytest.approx((891.250938, 1122.018454), rel=1e-9)


@settings(max_examples=20)
@given(band=st.integers(0, 29), place=st.floats(-0.3, 0.3), level=st.floats(1e-4, 1.0))
def test_a_sine_has_its_mean_square_in_its_band_and_nothing_in_the_others(band, place, level):
    seconds = 10.0
    f_hz = iec.exact_hz(iec.FIRST_INDEX + band) * 10.0 ** (place / 10.0)
    t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sound = level * np.sin(2 * np.pi * f_hz * t_s + 1.0)[:, None]
    powers = third_octave_powers(sound, rate_hz=RATE_HZ)
    assert db(powers[band] / (level**2 / 2)) == pytest.approx(0.0, abs=0.02)
    far = np.delete(powers, [max(band - 1, 0), band, band + 1])
    assert db(far.max() / powers[band]) < -60.0
    further = np.delete(powers, range(max(band - 6, 0), min(band + 7, 31)))
    assert db(further.max() / powers[band]) < -90.0


def test_pink_noise_has_the_same_level_in_every_band():
    powers = third_octave_powers(pink(30.0), rate_hz=RATE_HZ)
    # Bins of amplitude 2·1000/(frames·√f), so 2·10^6/(frames·rate·f) a hertz; between two edges that
    # is times ln(f2/f1) = ln(10)/10, the same for every band. CALC.
    expected = 2e6 * math.log(10.0) / 10.0 / (30 * RATE_HZ * RATE_HZ)
    np.testing.assert_allclose(db(powers), db(expected), atol=0.1)


def test_white_noise_rises_by_a_band_s_width():
    rng = np.random.default_rng(3)
    frames = 30 * RATE_HZ
    spectrum = np.exp(2j * np.pi * rng.random(frames // 2 + 1))
    sound = np.fft.irfft(spectrum, frames)[:, None]
    powers = third_octave_powers(sound, rate_hz=RATE_HZ)
    widths_hz = [iec.edges_hz(index)[1] - iec.edges_hz(index)[0] for index in iec.indices()]
    expected = np.square(sound).mean() * np.array(widths_hz) / (RATE_HZ / 2)
    np.testing.assert_allclose(db(powers), db(expected), atol=0.1)


def test_it_agrees_with_the_periodogram_of_scipy_on_real_music(music):
    path = max(music, key=lambda path: path.stat().st_size)
    with soundfile.SoundFile(path) as file:
        rate_hz = file.samplerate
        sound = file.read(30 * rate_hz, always_2d=True)
    powers = third_octave_powers(sound, rate_hz=rate_hz)
    faded = ("tukey", 2 * 0.5 * rate_hz / len(sound))
    f_hz, density = signal.periodogram(sound, rate_hz, window=faded, axis=0, detrend=False)
    compared = 0
    for index, power in zip(iec.indices(), powers, strict=True):
        low, high = iec.edges_hz(index)
        inside = (f_hz >= low) & (f_hz < high)
        theirs = density[inside].sum() * (f_hz[1] - f_hz[0])
        if not math.isnan(power) and theirs > 1e-10:
            assert db(power / theirs) == pytest.approx(0.0, abs=0.1), iec.nominal_hz(index)
            compared += 1
    assert compared > 20


def test_it_agrees_with_filters_on_broad_sound():
    sound = pink(30.0, seed=7)
    powers = third_octave_powers(sound, rate_hz=RATE_HZ)
    for index in (-10, -3, 0, 6, 10):
        low, high = iec.edges_hz(index)
        sos = signal.butter(12, (low, high), "bandpass", fs=RATE_HZ, output="sos")
        filtered = signal.sosfilt(sos, sound[:, 0])[RATE_HZ:]
        # A Butterworth band of order n takes (π/2n)/sin(π/2n) times its width of white noise: 1.003 here.
        assert db(np.square(filtered).mean() / powers[index - iec.FIRST_INDEX]) == pytest.approx(0.0, abs=0.1)


@settings(max_examples=20)
@given(seed=st.integers(0, 1000), gain_db=st.floats(-60, 20), frames=st.integers(5, 30_000))
def test_a_gain_moves_every_band_by_itself(seed, gain_db, frames):
    sound = np.random.default_rng(seed).standard_normal((frames, 2)) * 0.1
    before = third_octave_powers(sound, rate_hz=RATE_HZ)
    after = third_octave_powers(sound * 10.0 ** (gain_db / 20.0), rate_hz=RATE_HZ)
    np.testing.assert_array_equal(np.isnan(before), np.isnan(after))
    told = ~np.isnan(before)
    np.testing.assert_allclose(db(after[told]), db(before[told]) + gain_db, atol=1e-9)


def test_channels_count_as_much_as_their_weights():
    sound = np.random.default_rng(1).standard_normal((48_000, 3)) * 0.1
    one = [third_octave_powers(sound[:, [channel]], rate_hz=RATE_HZ) for channel in range(3)]
    made = third_octave_powers(sound, rate_hz=RATE_HZ, weights=(1.0, 0.0, 1.41))
    told = ~np.isnan(made)
    np.testing.assert_allclose(made[told], (one[0] + 1.41 * one[2])[told])


def test_what_cannot_be_told_has_no_level():
    sound = np.random.default_rng(1).standard_normal((44_100, 1))
    powers = third_octave_powers(sound, rate_hz=44_100)
    untold = [iec.nominal_hz(x) for x, p in zip(iec.indices(), powers, strict=True) if math.isnan(p)]
    assert untold == [20_000]
    short = third_octave_powers(sound[:4410], rate_hz=44_100)  # 100 ms: bands under 40 Hz wide
    untold = [iec.nominal_hz(x) for x, p in zip(iec.indices(), short, strict=True) if math.isnan(p)]
    assert untold == [*NOMINAL_HZ[: NOMINAL_HZ.index(200)], 20_000]
    assert np.isnan(third_octave_powers(sound[:0], rate_hz=44_100)).all()
    assert not third_octave_powers(np.zeros((48_000, 1)), rate_hz=RATE_HZ).any()
