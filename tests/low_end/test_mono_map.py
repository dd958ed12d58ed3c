"""Left and right against frequency: the map against scipy, the table of mono sums, polarity and delay."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from meter.dsp.low_bands import lr4_high_pass, lr4_low_pass
from meter.low_end.clock import LowClock, low_clock
from meter.low_end.mono_map import MonoMaps, band_edges_hz
from meter.low_end.mono_records import MonoMap
from meter.low_end.mono_summary import SUMMED_BELOW_HZ, summarise
from meter.low_end.stream import LowStream

RATE_HZ = 3000.0
CLOCK = LowClock(rate_hz=RATE_HZ)

# Phase in degrees: (L+R)/2 against one channel, dB. Facts.md 5, mono-sum table, CALC; the floor is ours.
MONO_SUM = {0: 0.0, 60: -1.249, 90: -3.010, 120: -6.021, 180: -60.0}


def mapped(pair: np.ndarray, *, clock: LowClock = CLOCK) -> MonoMap:
    maps = MonoMaps(clock)
    maps.process(pair, 0)
    maps.flush()
    found = maps.reading()
    assert found is not None
    return found


def told(pair: np.ndarray):
    return summarise(mapped(pair), crossover_hz=120.0)


def noise(seconds: float, seed: int = 1, *, order: int = 2) -> np.ndarray:
    top_hz = 300.0 if order == 2 else 235.0
    sections = signal.butter(order, [22.0, top_hz], "bandpass", fs=RATE_HZ, output="sos")
    rng = np.random.default_rng(seed)
    return 0.1 * signal.sosfilt(sections, rng.standard_normal(round(seconds * RATE_HZ)))


def later(samples: np.ndarray, delay_ms: float) -> np.ndarray:
    """Moved to a fraction of a sample, in the frequency domain."""
    f_hz = np.fft.rfftfreq(len(samples), 1.0 / RATE_HZ)
    return np.fft.irfft(np.fft.rfft(samples) * np.exp(-2j * np.pi * f_hz * delay_ms / 1000.0), len(samples))


def tone(f_hz: float, degrees: float, seconds: float = 9.0) -> np.ndarray:
    at_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    right = np.sin(2.0 * np.pi * f_hz * at_s - math.radians(degrees))
    return 0.5 * np.stack([np.sin(2.0 * np.pi * f_hz * at_s), right], axis=1)


# --- the map


@pytest.mark.parametrize("f_hz", [30.0, 55.0, 110.0, 200.0])
@pytest.mark.parametrize("degrees", MONO_SUM)
def test_a_tone_loses_in_its_band_what_the_table_says_and_shows_its_phase(f_hz, degrees):
    found = told(tone(f_hz, degrees))
    band = int(np.searchsorted(band_edges_hz(), f_hz)) - 1
    assert found.bands[band].lost_db == pytest.approx(MONO_SUM[degrees], abs=0.01)
    assert abs(found.bands[band].phase_deg) == pytest.approx(degrees, abs=0.1)
    if 0 < degrees < 180:
        assert found.bands[band].phase_deg > 0.0  # the right one is behind


def test_it_agrees_with_scipy_s_cross_spectrum():
    left = noise(21.0, 1)
    right = 0.6 * later(left, 2.0) + 0.4 * noise(21.0, 2)
    found = mapped(np.stack([left, right], axis=1)).powers.mean(axis=0)
    options = {"fs": RATE_HZ, "nperseg": 1500, "noverlap": 750, "detrend": False, "scaling": "spectrum"}
    f_hz, cross = signal.csd(right, left, window="hann", **options)  # scipy conjugates the first
    _, own = signal.csd(left, left, window="hann", **options)
    edges = band_edges_hz()
    for band, (low, high) in enumerate(pairwise(edges)):
        inside = (f_hz >= low) & (f_hz < high)
        if inside.sum() < 4:
            continue
        phase = math.degrees(math.atan2(found[band, 3], found[band, 2]))
        wanted = np.angle(cross[inside].sum(), deg=True)
        assert phase == pytest.approx(wanted, abs=4.0)
        wanted_power = own[inside].real.sum() * (high - low) / (inside.sum() * 2.0)
        assert 10.0 * math.log10(found[band, 0] * 1.5 / wanted_power) == pytest.approx(0.0, abs=1.2)


def test_powers_add_up_to_the_mean_square_of_what_lies_in_the_bands():
    found = mapped(tone(80.0, 0.0))
    assert found.powers[1:-1, :, 0].sum(axis=1) == pytest.approx(0.125, rel=0.001)


@given(cuts=st.lists(st.integers(0, 15_000), max_size=6))
@settings(max_examples=20)
def test_any_cutting_gives_the_same_bits(cuts):
    pair = np.stack([noise(5.0, 3), noise(5.0, 4)], axis=1)
    whole = mapped(pair)
    maps = MonoMaps(CLOCK)
    edges = sorted({0, len(pair), *cuts})
    for start, stop in pairwise(edges):
        maps.process(pair[start:stop], start)
    maps.flush()
    cut = maps.reading()
    assert cut is not None
    assert cut.powers.tobytes() == whole.powers.tobytes()
    assert cut.at_s.tobytes() == whole.at_s.tobytes()


def test_no_spectrum_holds_both_sides_of_a_gap():
    maps = MonoMaps(CLOCK)
    maps.process(tone(50.0, 0.0, 2.6), 0)
    maps.gap()
    maps.process(tone(50.0, 180.0, 2.6), 90_000)
    maps.flush()
    found = maps.reading()
    assert found is not None
    assert found.at_s == pytest.approx([0.0, 1.0, 2.0, 30.0, 31.0, 32.0])
    band = int(np.searchsorted(band_edges_hz(), 50.0)) - 1
    real = found.powers[:, band, 2] / found.powers[:, band, 0]
    assert real == pytest.approx([1.0, 1.0, 1.0, -1.0, -1.0, -1.0], abs=1e-4)


def test_what_was_handed_out_never_changes_while_more_comes():
    maps = MonoMaps(CLOCK)
    maps.process(np.stack([noise(400.0, 5)] * 2, axis=1), 0)
    early = maps.reading()
    assert early is not None
    before = early.powers.copy()
    maps.process(np.stack([noise(400.0, 6)] * 2, axis=1), 1_200_000)
    assert early.powers.tobytes() == before.tobytes()
    later_on = maps.reading()
    assert later_on is not None
    assert len(later_on.at_s) >= 798
    assert later_on.powers[:100].tobytes() == before[:100].tobytes()


def test_nothing_is_told_of_silence_and_of_too_little():
    maps = MonoMaps(CLOCK)
    assert maps.reading() is None
    maps.process(np.zeros((100, 2)), 0)
    maps.flush()
    assert maps.reading() is None
    found = told(np.zeros((30_000, 2)))
    assert all(band.lost_db is None and band.phase_deg is None for band in found.bands)
    assert all(one.lost_db is None for one in found.if_summed)
    assert found.worst == ()
    assert found.flipped_below_hz is None
    assert found.delay_ms is None


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_the_same_at_every_rate_through_the_stream_s_own_filter(rate_hz):
    at_s = np.arange(8 * rate_hz) / rate_hz
    pair = 0.5 * np.stack([np.sin(2 * np.pi * 60 * at_s), np.sin(2 * np.pi * 60 * at_s - np.pi / 2)], axis=1)
    clock = low_clock(rate_hz)
    maps = MonoMaps(clock)
    stream = LowStream(rate_hz=rate_hz, channels=2, sink=maps)
    stream.process(pair)
    stream.flush()
    found = maps.reading()
    assert found is not None
    band = int(np.searchsorted(band_edges_hz(), 60.0)) - 1
    summary = summarise(found, crossover_hz=120.0)
    assert summary.bands[band].lost_db == pytest.approx(-3.01, abs=0.02)
    assert summary.bands[band].phase_deg == pytest.approx(90.0, abs=0.2)


# --- if summed


def resummed_db(pair: np.ndarray, below_hz: float) -> tuple[float, float]:
    """By filters: what lies below loses, and what becomes of everything from 20 to 250 Hz."""
    low = signal.sosfilt(lr4_low_pass(below_hz, rate_hz=RATE_HZ), pair, axis=0)
    high = signal.sosfilt(lr4_high_pass(below_hz, rate_hz=RATE_HZ), pair, axis=0)
    mono = low.mean(axis=1, keepdims=True)
    lost = 2.0 * (mono**2).mean() / (low**2).sum(axis=1).mean()
    change = ((mono + high) ** 2).sum(axis=1).mean() / ((low + high) ** 2).sum(axis=1).mean()
    return 10.0 * math.log10(lost), 10.0 * math.log10(change)


@pytest.mark.parametrize("below_hz", SUMMED_BELOW_HZ)
@pytest.mark.parametrize("kind", ["wide", "late", "flipped low"])
def test_what_summing_costs_is_what_filters_say(kind, below_hz):
    left = noise(30.0, 7, order=8)  # nothing beside what the map shows
    right = {
        "wide": lambda: 0.7 * left + 0.7 * noise(30.0, 8, order=8),
        "late": lambda: later(left, 3.0),
        "flipped low": lambda: left - 2.0 * signal.sosfiltfilt(
            signal.butter(4, 70.0, fs=RATE_HZ, output="sos"), left
        ),
    }[kind]()  # fmt: skip
    pair = np.stack([left, right], axis=1)
    one = next(one for one in told(pair).if_summed if one.below_hz == below_hz)
    lost_db, change_db = resummed_db(pair, below_hz)
    assert one.lost_db == pytest.approx(lost_db, abs=0.25)
    assert one.low_end_db == pytest.approx(change_db, abs=0.25)


# --- worst places


def test_the_worst_places_are_where_most_is_lost():
    left = noise(60.0, 9)
    right = left.copy()
    for start_s, seconds, other in ((20, 5, -1.0), (41, 4, 0.2)):
        span = slice(round(start_s * RATE_HZ), round((start_s + seconds) * RATE_HZ))
        right[span] = other * left[span]
    found = told(np.stack([left, right], axis=1))
    assert found.worst[0].at_s == pytest.approx(21.0, abs=1.5)
    assert found.worst[0].lost_db < -20.0
    assert found.worst[-1].at_s == pytest.approx(41.0, abs=2.0)
    assert told(np.stack([left, left], axis=1)).worst == ()


# --- polarity and delay


@pytest.mark.parametrize("seed", range(3))
def test_a_flipped_low_end_is_named_with_its_upper_end(seed):
    left = noise(20.0, 10 + seed)
    low = signal.sosfiltfilt(signal.butter(6, 100.0, fs=RATE_HZ, output="sos"), left)
    found = told(np.stack([left, left - 2.0 * low], axis=1))
    assert found.flipped_below_hz == pytest.approx(100.0, rel=0.13)
    assert told(np.stack([left, -left], axis=1)).flipped_below_hz == pytest.approx(250.0)
    assert told(np.stack([left, left], axis=1)).flipped_below_hz is None


def test_what_is_flipped_half_of_the_time_is_not_called_so():
    left = noise(20.0, 13)
    right = np.where(np.arange(len(left)) < len(left) // 2, left, -left)
    assert told(np.stack([left, right], axis=1)).flipped_below_hz is None


@pytest.mark.parametrize("delay_ms", [1.0, -1.0, 0.3, -2.5, 5.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_delay_on_broadband_sound_is_named_within_a_tenth_of_a_millisecond(delay_ms, sign):
    left = noise(30.0, 14)
    right = sign * later(left, delay_ms) + 0.1 * noise(30.0, 15)
    assert told(np.stack([left, right], axis=1)).delay_ms == pytest.approx(delay_ms, abs=0.1)


CANNOT_TELL = ["one tone", "few partials", "unrelated", "the same", "changing", "phase of 90"]


@pytest.mark.parametrize("kind", CANNOT_TELL)
def test_no_delay_is_named_where_the_signal_cannot_tell_one(kind):
    left = noise(30.0, 16)
    at_s = np.arange(len(left)) / RATE_HZ
    bass = sum(np.sin(2 * np.pi * 46.0 * k * at_s) / k**2 for k in range(1, 5))
    half = len(left) // 2
    pair = {
        "one tone": lambda: tone(50.0, 40.0, 30.0).T,
        "few partials": lambda: np.stack([bass, later(bass, 1.0)]),
        "unrelated": lambda: np.stack([left, noise(30.0, 17)]),
        "the same": lambda: np.stack([left, left]),
        "changing": lambda: np.stack(
            [left, np.concatenate([later(left, 1.0)[:half], later(left, 3.0)[half:]])]
        ),
        "phase of 90": lambda: np.stack([left, signal.hilbert(left).imag]),
    }[kind]()
    assert told(pair.T).delay_ms is None
