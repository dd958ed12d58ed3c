"""Other channel counts than two: the weights of mono, 5.0 and 5.1 against two independent libraries.

Real music in every channel, so that a channel that is left out, taken twice or weighted wrongly
shows. Weights: ITU-R BS.1770-5 (11/2023), Annex 1 (1.41 for the surrounds, the LFE left out).
"""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest

from meter.passes import measure
from tests.support import ffmpeg

RATE_HZ = 48_000
SECONDS = 20


@pytest.fixture(scope="module")
def surround(pieces):
    """Three pieces of one rate as L and R, C and LFE, Ls and Rs; each pair has its own level."""
    parts = [
        gain * piece.samples[20 * RATE_HZ : (20 + SECONDS) * RATE_HZ]
        for piece, gain in zip(
            (piece for piece in pieces if piece.rate_hz == RATE_HZ), (0.5, 0.7, 0.9), strict=False
        )
    ]
    assert [len(part) for part in parts] == [SECONDS * RATE_HZ] * 3
    return np.concatenate(parts, axis=1).astype(np.float32)


@pytest.mark.parametrize("channels", [[0], [0, 1], [0, 1, 2, 3, 4, 5]], ids=["mono", "stereo", "5.1"])
def test_ffmpeg_reads_the_same_of_mono_stereo_and_5_1(surround, channels):
    samples = np.ascontiguousarray(surround[:, channels])
    ours, theirs = measure(samples, rate_hz=RATE_HZ), ffmpeg.opinion(samples, rate_hz=RATE_HZ)
    assert ours.integrated_lufs == pytest.approx(theirs.integrated_lufs, abs=0.02)
    assert ours.true_peaks_dbtp == pytest.approx(theirs.true_peaks_dbtp, abs=0.05)


def test_the_lfe_adds_nothing_and_the_surrounds_add_more_than_the_front(surround):
    without, louder = surround.copy(), surround[:, [4, 5, 2, 3, 0, 1]].copy()
    without[:, 3] = 0.0
    read = measure(surround, rate_hz=RATE_HZ).integrated_lufs
    assert measure(without, rate_hz=RATE_HZ).integrated_lufs == read
    theirs = ffmpeg.opinion(louder, rate_hz=RATE_HZ).integrated_lufs
    assert measure(louder, rate_hz=RATE_HZ).integrated_lufs == pytest.approx(theirs, abs=0.02)
    assert abs(theirs - read) > 0.1  # or the order of the channels would not be tested


def test_pyloudnorm_reads_the_same_of_mono_and_five_channels(surround):
    """It knows L, R, C, Ls, Rs and no LFE; filter class DeMan has the published coefficients."""
    meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
    for channels in ([1], [0, 1, 2, 4, 5]):
        samples = np.ascontiguousarray(surround[:, channels])
        theirs = meter.integrated_loudness(samples.astype(np.float64))
        assert measure(samples, rate_hz=RATE_HZ).integrated_lufs == pytest.approx(theirs, abs=0.02)
