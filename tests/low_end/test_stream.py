"""The signal at about 3 kHz: from a chain and from a stream of its own."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from meter.chain import Chain
from meter.low_end.clock import low_clock
from meter.low_end.stream import LowStream
from tests.support.low_sink import Kept

RATES_HZ = (8000, 22_050, 44_100, 48_000, 96_000)


def noise(seconds, rate_hz, channels=2):
    return (0.1 * np.random.default_rng(3).standard_normal((round(seconds * rate_hz), channels))).astype(
        np.float32
    )


def from_chain(sound, rate_hz, *, beside=False, cuts=()):
    kept = Kept()
    with Chain(rate_hz=rate_hz, channels=sound.shape[1], beside=beside, low_sink=kept) as chain:
        for part in np.split(sound, list(cuts)):
            chain.process(part)
        chain.flush()
    return kept


def from_stream(sound, rate_hz, *, cuts=()):
    kept = Kept()
    stream = LowStream(rate_hz=rate_hz, channels=sound.shape[1], sink=kept)
    for part in np.split(sound, list(cuts)):
        stream.process(part)
    stream.flush()
    return kept


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_chain_and_stream_hand_on_the_same(rate_hz, channels):
    sound = noise(1.3, rate_hz, channels)
    ((first, chained),) = from_chain(sound, rate_hz).pieces
    ((also_first, streamed),) = from_stream(sound, rate_hz).pieces
    assert (first, also_first) == (0, 0)
    whole = len(streamed)
    assert len(chained) >= whole > 1.2 * low_clock(rate_hz).rate_hz
    assert_array_equal(chained[:whole], streamed)
    assert chained.shape[1] == 2


@settings(max_examples=20)
@given(cuts=st.lists(st.integers(0, 62_400), max_size=6).map(sorted))
def test_any_cutting_hands_on_the_same(cuts):
    sound = noise(1.3, 48_000)
    ((_, expected),) = from_stream(sound, 48_000).pieces
    ((_, streamed),) = from_stream(sound, 48_000, cuts=cuts).pieces
    ((_, chained),) = from_chain(sound, 48_000, cuts=cuts).pieces
    assert_array_equal(streamed, expected)
    assert_array_equal(chained[: len(expected)], expected)


def test_threads_beside_the_caller_change_nothing():
    sound = noise(14.0, 48_000)
    ((_, expected),) = from_chain(sound, 48_000).pieces
    ((_, beside),) = from_chain(sound, 48_000, beside=True).pieces
    assert_array_equal(beside, expected)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_clock_makes_the_delay_good(rate_hz):
    # The phase of a sine tells where its samples lie: independent of how the filter is made.
    clock, hz = low_clock(rate_hz), 50.0
    at_s = np.arange(rate_hz) / rate_hz
    sound = np.repeat(np.sin(2 * np.pi * hz * at_s)[:, None], 2, axis=1).astype(np.float32)
    ((first, low),) = from_stream(sound, rate_hz).pieces
    index = first + np.arange(len(low))
    times_s = np.array([clock.at_s(k) for k in index])
    inner = (times_s > 0.1) & (times_s < 0.9)
    assert low[inner, 0] == pytest.approx(np.sin(2 * np.pi * hz * times_s[inner]), abs=2e-4)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_lost_frames_are_counted_and_end_a_piece(rate_hz):
    sound, lost = noise(2.0, rate_hz), 1777
    of_chain, of_stream = Kept(), Kept()
    chain = Chain(rate_hz=rate_hz, channels=2, low_sink=of_chain)
    stream = LowStream(rate_hz=rate_hz, channels=2, sink=of_stream)
    factor = low_clock(rate_hz).factor
    for sink in (chain, stream):
        sink.process(sound[:rate_hz])
        sink.gap(lost)
        sink.process(sound[rate_hz:])
        sink.flush()
    for kept in (of_chain, of_stream):
        assert (kept.gaps, kept.flushes) == (1, 1)
        assert [first for first, _ in kept.pieces] == [0, round((rate_hz + lost) / factor)]


def test_samples_that_are_no_numbers_end_a_piece():
    sound = noise(1.0, 48_000)
    sound[24_100, 0] = np.nan
    for kept in (from_chain(sound, 48_000), from_stream(sound, 48_000)):
        assert kept.gaps == 1
        (first, before), (then, after) = kept.pieces
        assert first + len(before) == 24_000 // 16 and then == 26_400 // 16
        assert np.isfinite(before).all() and np.isfinite(after).all()


def test_silence_keeps_its_time():
    sound = noise(1.0, 48_000)
    sound = np.concatenate([sound, np.zeros((96_000, 2), np.float32), sound])
    for kept in (from_chain(sound, 48_000), from_stream(sound, 48_000)):
        ((_, low),) = kept.pieces
        assert len(low) == 4 * 3000
        assert not low[3100:8900].any() and low[9100:].any()
