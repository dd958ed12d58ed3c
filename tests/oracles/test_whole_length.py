"""All pieces at their whole length, and clipped a minute each: what test_real_music holds a part of."""

from __future__ import annotations

from collections.abc import Iterator
from math import gcd

import numpy as np
import pyloudnorm
import pytest
import soundfile
from scipy import signal

from meter.files import open_audio
from meter.passes import measure
from meter.units import Samples, amplitude_to_db, db_to_amplitude
from tests.support import endless, ffmpeg

pytestmark = pytest.mark.long

BAND_EDGES = (0.4535, 0.47, 0.495)
"""Shares of the rate: 20.0 kHz at 44.1 kHz, and nearly all there is. No document chooses between them."""


@pytest.fixture(scope="module")
def long_music(music):
    """Every stereo piece of a minute or more."""
    found = []
    for path in music:
        facts = soundfile.info(str(path))
        if facts.duration >= 60.0 and facts.channels == 2:
            found.append(path)
    assert len(found) >= 20
    return found


def decoded(paths, *, seconds: float = 3600.0) -> Iterator[tuple[str, Samples, int]]:
    for path in paths:
        with open_audio(path) as audio:
            yield path.name, next(iter(audio.blocks(seconds=seconds))).copy(), audio.rate_hz


def test_ffmpeg_reads_the_same_of_whole_pieces(long_music):
    """True peak: FFmpeg's, or where that is low because of what lies over 20 kHz, the 32-fold one."""
    for name, samples, rate_hz in decoded(long_music):
        theirs, ours = ffmpeg.opinion(samples, rate_hz=rate_hz), measure(samples, rate_hz=rate_hz)
        assert ours.integrated_lufs == pytest.approx(theirs.integrated_lufs, abs=0.02), name
        assert ours.loudness_range_lu == pytest.approx(theirs.loudness_range_lu, abs=0.1), name
        for channel, (own, other) in enumerate(
            zip(ours.true_peaks_dbtp, theirs.true_peaks_dbtp, strict=True)
        ):
            if own != pytest.approx(other, abs=0.05):
                other = amplitude_to_db(endless.peak(samples[:, channel]))
            assert own == pytest.approx(other, abs=0.05), f"{name}, channel {channel + 1}"


def test_pyloudnorm_reads_the_same_of_whole_pieces_at_48_khz(long_music):
    meter = pyloudnorm.Meter(48_000, filter_class="DeMan")
    for name, samples, rate_hz in decoded(long_music):
        if rate_hz != 48_000:
            common = gcd(48_000, rate_hz)
            samples = signal.resample_poly(samples, 48_000 // common, rate_hz // common, axis=0)
        samples = np.ascontiguousarray(samples[: len(samples) // 4800 * 4800], np.float32)
        theirs = meter.integrated_loudness(samples.astype(np.float64))
        assert measure(samples, rate_hz=48_000).integrated_lufs == pytest.approx(theirs, abs=0.02), name


@pytest.mark.parametrize("gain_db", [6.0, 12.0])
def test_clipped_music_reads_no_further_off_than_band_edges_differ(long_music, gain_db):
    """Within 0.05 dB of what 32-fold interpolations give whose bands end between 0.4535 and 0.495."""
    differ = []
    for name, samples, rate_hz in decoded(long_music, seconds=60.0):
        clipped = np.clip(samples * np.float32(db_to_amplitude(gain_db)), -1.0, 1.0)
        for channel, own in enumerate(measure(clipped, rate_hz=rate_hz).true_peaks_dbtp):
            ideal = [amplitude_to_db(endless.peak(clipped[:, channel], band_edge=e)) for e in BAND_EDGES]
            assert min(ideal) - 0.05 <= own <= max(ideal) + 0.05, f"{name}, channel {channel + 1}"
            differ.append(max(ideal) - min(ideal))
    # Or the interval would say nothing.
    assert np.percentile(differ, 90) <= 0.05
