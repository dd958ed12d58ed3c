"""Planted excursions above the limit, through the whole chain.

Our own definition (design.md 5): above the limit, merged within 10 ms; the limit itself is inside.
A lone sample of 1.05 stands above 1 only at its own frame: 0.9 a quarter sample away, by sin(pi t)/(pi t).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from meter.chain import Chain
from meter.dsp.overs import KEPT, OverLog
from meter.dsp.true_peak import LAG_FRAMES, Peaks
from meter.soundings import Over
from meter.units import db_to_amplitude
from tests.support.sound import run, run_to_end, silence, tone

RATE_HZ = 48_000
PEAK_DB = 20.0 * math.log10(1.05)


def spikes(*frames: int, height: float = 1.05, channel: int = 0, rate_hz: int = RATE_HZ) -> np.ndarray:
    samples = silence(1.0, rate_hz=rate_hz)
    samples[list(frames), channel] = height
    return samples


def overs_of(samples: np.ndarray, *, rate_hz: int = RATE_HZ, **options: float) -> list[Over]:
    chain = Chain(rate_hz=rate_hz, channels=samples.shape[1], **options)
    rows = run_to_end(chain, samples)
    assert rows["overs"].sum() == chain.over_count == len(chain.overs)
    return chain.overs


@pytest.mark.parametrize("height", [1.05, -1.05])
@pytest.mark.parametrize("channel", [0, 1])
def test_an_over_has_its_place_its_height_and_its_channel(height, channel):
    (over,) = overs_of(spikes(12_345, height=height, channel=channel))
    assert over.at_s == 12_345 / RATE_HZ
    assert over.until_s == 12_346 / RATE_HZ
    assert over.peak_dbtp == pytest.approx(PEAK_DB, abs=1e-3)
    assert over.channel == channel


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 48_000, 96_000])
def test_within_10_ms_it_is_one_over_beyond_it_another(rate_hz):
    near = math.floor(0.010 * rate_hz)
    (joined,) = overs_of(spikes(3000, 3000 + near, rate_hz=rate_hz), rate_hz=rate_hz)
    assert (joined.at_s, joined.until_s) == (3000 / rate_hz, (3001 + near) / rate_hz)
    assert len(overs_of(spikes(3000, 3001 + near, rate_hz=rate_hz), rate_hz=rate_hz)) == 2


def test_a_chain_of_near_ones_is_one_over_with_the_highest_peak_and_its_channel():
    samples = spikes(*range(3000, 30_000, 450))
    samples[15_150, 1] = -1.2
    (over,) = overs_of(samples)
    assert (over.at_s, over.until_s) == (3000 / RATE_HZ, 29_551 / RATE_HZ)
    assert over.peak_dbtp == pytest.approx(20.0 * math.log10(1.2), abs=1e-3)
    assert over.channel == 1


def test_channels_at_the_same_moment_make_one_over():
    samples = spikes(3000)
    samples[3100, 1] = 1.05
    assert len(overs_of(samples)) == 1


@pytest.mark.parametrize("limit_dbtp", [0.0, -1.0, -0.3, 2.0])
def test_the_limit_itself_is_inside(limit_dbtp):
    limit = np.float32(db_to_amplitude(limit_dbtp))
    if float(limit) > db_to_amplitude(limit_dbtp):  # the nearest float32 may lie above the limit
        limit = np.nextafter(limit, np.float32(0.0))
    above = np.nextafter(limit, np.float32(9.0))
    assert overs_of(spikes(3000, height=float(limit)), over_limit_dbtp=limit_dbtp) == []
    assert len(overs_of(spikes(3000, height=float(above)), over_limit_dbtp=limit_dbtp)) == 1


def test_an_over_and_the_true_peak_that_is_shown_never_disagree():
    """Tones and plateaus that touch full scale: rounding alone makes no over."""
    fade = np.clip(np.minimum(np.arange(RATE_HZ), np.arange(RATE_HZ)[::-1]) / 10_000.0, 0.0, 1.0)
    smooth = (0.5 - 0.5 * np.cos(np.pi * fade))[:, None]
    touching = [tone(f_hz, 1.0, level_dbfs=0.0) * smooth for f_hz in (100.0, 997.0, 3000.0, 8000.0, 12_000.0)]
    for samples in (*touching, np.repeat(smooth, 2, axis=1)):
        chain = Chain(rate_hz=RATE_HZ, channels=2)
        rows = run_to_end(chain, samples)
        assert (chain.over_count > 0) == bool((rows["true_peak"] > 1.0).any())
        assert (rows["overs"] > 0).any() == (chain.over_count > 0)


def test_an_over_between_samples_counts():
    """A sine of fs/4 at 45 degrees: no sample over 0.9, the waveform at 1.27 (Tech 3341 case 16's shape)."""
    samples = tone(12_000.0, 0.5, level_dbfs=2.1, phases_deg=(45.0, 45.0))
    assert np.abs(samples).max() < 0.91
    (over,) = overs_of(samples)
    assert over.peak_dbtp >= 2.05
    assert over.until_s - over.at_s == pytest.approx(0.5, abs=0.001)


L = LAG_FRAMES


@pytest.mark.parametrize(
    "frame", [0, 1, L - 1, L, 2399, 2400, 4799 - L, 4799, 4800, 47_999 - L, 48_000 - L, 48_001 - L, 47_999]
)
def test_an_over_at_any_edge_is_found_once_and_in_its_place(frame):
    """Of the pass, a block, a sounding, within the lag of the meter. The row is the one that brings it."""
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    rows = run_to_end(chain, spikes(frame))
    (over,) = chain.overs
    assert over.at_s == pytest.approx(frame / RATE_HZ, abs=1.01 / RATE_HZ)
    (row,) = rows[rows["overs"] > 0]
    assert row["start_frame"] <= frame + LAG_FRAMES
    assert frame < row["start_frame"] + max(row["frames"], 1)
    assert row["overs"] == 1


def test_overs_in_other_soundings_are_counted_there():
    rows = run(Chain(rate_hz=RATE_HZ, channels=2), spikes(1000, 2000, 11_000, 30_000))
    assert list(rows["overs"]) == [2, 0, 1, 0, 0, 0, 1, 0, 0, 0]


def test_more_overs_than_are_kept_are_still_counted():
    log = OverLog(RATE_HZ)
    frames = np.arange(KEPT + 5) * 1000
    zeros = np.zeros(len(frames), int)
    log.add(Peaks(np.zeros((1, 1)), frames, zeros, zeros + 1.5), first_frame=0)
    assert (log.count, len(log.overs)) == (KEPT + 5, KEPT)
    log.reset()
    assert (log.count, log.overs) == (0, [])


def test_a_mark_keeps_the_overs_of_the_sounding_that_is_open():
    """The open sounding is the first of the new pass; what came before it belongs to the old one."""
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    run(chain, spikes(1000, 24_500)[:28_000])
    assert chain.over_count == 2
    chain.mark()
    rows = run_to_end(chain, spikes(500)[:10_000])
    assert [over.at_s for over in chain.overs] == [500 / RATE_HZ, 4500 / RATE_HZ]
    assert rows["overs"].sum() == chain.over_count == 2


def test_a_mark_leaves_no_over_of_the_old_pass():
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    run(chain, spikes(1000, 20_000, 47_000))
    chain.mark()
    assert (chain.overs, chain.over_count, chain.reading().overs) == ([], 0, 0)
