"""Beginnings in the low end: where they are told, and that many chunks at once are the same as one by one."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from meter.dsp.kick_onsets import BANDS, CHUNK, EDGES, PARTS, BandPowers, OnsetFinder, step_frames
from tests.support.drum_patterns import swept_kick

RATES_HZ = (2940.0, 3000.0, 4000.0)


def hits(rate_hz: float, chunks: int) -> np.ndarray:
    """Kicks of falling strength in noise that comes and goes, so many chunks long."""
    rng = np.random.default_rng(5)
    sound = rng.standard_normal(chunks * CHUNK * step_frames(rate_hz))
    sound *= 0.003 * (1.0 + np.sin(np.arange(len(sound)) / rate_hz))
    kick = swept_kick(52.0)[:: round(48_000 / rate_hz)]
    for k, at in enumerate(range(1000, len(sound) - len(kick), round(0.43 * rate_hz))):
        sound[at : at + len(kick)] += 0.8 ** (k % 9) * kick
    return sound


def one_by_one(process, sound: np.ndarray, frames: int) -> list:
    return [process(sound[at : at + frames]) for at in range(0, len(sound), frames)]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_many_chunks_at_once_have_the_powers_of_one_by_one_bit_for_bit(rate_hz):
    sound, frames = hits(rate_hz, 7), CHUNK * step_frames(rate_hz)
    apart = one_by_one(BandPowers(rate_hz).process, sound, frames)
    assert_array_equal(BandPowers(rate_hz).process(sound), np.concatenate(apart, axis=1))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_many_chunks_at_once_have_the_beginnings_and_scores_of_one_by_one_bit_for_bit(rate_hz):
    sound = hits(rate_hz, 7)
    single, double = OnsetFinder(rate_hz), OnsetFinder(rate_hz)
    frames = single.chunk_frames
    apart = [told for (told,) in one_by_one(single.process, sound, frames)]
    # Two, one, and the rest: what is kept of the chunks before is asked for too.
    together = double.process(sound[: 2 * frames])
    together += double.process(sound[2 * frames : 3 * frames]) + double.process(sound[3 * frames :])
    assert len(apart) == len(together) == 7
    for (places, scores), (same_places, same_scores) in zip(apart, together, strict=True):
        assert len(places) > 0
        assert_array_equal(same_places, places)
        assert_array_equal(same_scores, scores)


def test_each_band_has_the_power_of_its_bins():
    rate_hz = 3000.0
    sound, width = hits(rate_hz, 1), PARTS * step_frames(rate_hz)
    powers = BandPowers(rate_hz).process(sound)
    frames = np.concatenate([np.zeros(width - step_frames(rate_hz)), sound])
    frames = np.lib.stride_tricks.sliding_window_view(frames, width)[:: step_frames(rate_hz)]
    spectra = np.square(np.abs(np.fft.rfft(frames * np.hanning(width + 1)[:-1]) * (4.0 / width)))
    assert powers.shape == (BANDS, CHUNK)
    for band in range(BANDS):
        wanted = spectra[:, EDGES[band] : EDGES[band + 1]].sum(axis=1)
        np.testing.assert_allclose(powers[band], wanted, rtol=1e-4, atol=1e-9)


def test_a_kick_is_told_where_it_begins():
    sound = np.zeros(2 * 4096)
    kick = swept_kick(52.0)[::16]
    sound[2000 : 2000 + len(kick)] += kick
    ((places, scores), _) = OnsetFinder(3000.0).process(sound)
    assert places[scores.argmax()] == pytest.approx(2000, abs=0.008 * 3000.0)
    assert scores.max() > 0.0


def test_a_rise_is_held_against_the_highest_of_the_last_seconds_whatever_chunk_that_was_in():
    kick = swept_kick(52.0)[::16]
    for seconds, count in ((2.0, 1), (16.0, 2)):  # it fades to a third in 4.4 s
        sound = np.zeros(13 * 4096)
        for at, gain in ((2000, 1.0), (2000 + round(seconds * 3000.0), 0.04)):
            sound[at : at + len(kick)] += gain * kick
        places = np.concatenate([found for found, _ in OnsetFinder(3000.0).process(sound)])
        assert len(np.flatnonzero(np.diff(places, prepend=-3000) > 1500)) == count
