"""The gates against FFmpeg and pyloudnorm: real music with its level drawn down in steps.

Finished music hardly ever comes near a gate. Here the parts lie on both sides of each: -10 LU for I,
-20 LU for the LRA, and -70 LUFS for both (ITU-R BS.1770-5 (11/2023), Annex 1; EBU Tech 3342 v4).
"""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest

from meter.passes import measure
from tests.support import ffmpeg

RATE_HZ = 48_000
STEP_S = 6
DRAWS_DB = {
    "around -10 LU": (0.0, -8.0, -9.0, -11.0, -12.0, 0.0, -9.5, -10.5, -14.0, 0.0),
    "around -20 LU": (0.0, -16.0, -22.0, -18.0, -24.0, -20.0, -17.0, -26.0, 0.0, -19.0),
    "around -70 LUFS": (-48.0, -50.0, -52.0, -54.0, -56.0, -58.0, -60.0, -53.0, -49.0, -55.0),
}


@pytest.fixture(scope="module", params=DRAWS_DB.values(), ids=DRAWS_DB)
def drawn(request, pieces):
    """Three pieces of 48 kHz, drawn down, and what Leadline reads of them."""
    gains = np.repeat(10.0 ** (np.array(request.param) / 20.0), STEP_S * RATE_HZ)[:, None]
    chosen = [piece for piece in pieces if piece.rate_hz == RATE_HZ][:3]
    parts = {piece.name: (piece.samples[: len(gains)] * gains).astype(np.float32) for piece in chosen}
    assert len(parts) == 3
    return [(name, samples, measure(samples, rate_hz=RATE_HZ)) for name, samples in parts.items()]


def test_ffmpeg_gates_the_same(drawn):
    """It sorts blocks into bins of 0.01 LU, so those on a gate fall either way: up to 0.032 LU seen."""
    for name, samples, ours in drawn:
        integrated_lufs, loudness_range_lu = ffmpeg.loudness(samples, rate_hz=RATE_HZ)
        assert ours.integrated_lufs == pytest.approx(integrated_lufs, abs=0.05), name
        assert ours.loudness_range_lu == pytest.approx(loudness_range_lu, abs=0.1), name


def test_pyloudnorm_gates_the_same(drawn):
    for name, samples, ours in drawn:
        theirs = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan").integrated_loudness(
            samples.astype(np.float64)
        )
        assert ours.integrated_lufs == pytest.approx(theirs, abs=0.02), name
