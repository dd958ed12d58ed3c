"""A gap: no block, window or reading holds samples of both its sides, and time goes on over it."""

from __future__ import annotations

from dataclasses import asdict
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.chain import Chain
from meter.errors import UsageError
from meter.passes import summarise
from meter.soundings import AFTER_GAP, BEFORE_GAP, CUT_SHORT, SOUNDING, Gap
from tests.support.sound import noise, run, run_to_end, silence, tone

LOUD_AND_SILENT = {
    "loud before, silence after": (
        lambda rate_hz, s: noise(s, seed=1, level_dbfs=0.0, rate_hz=rate_hz),
        lambda rate_hz, s: silence(s, rate_hz=rate_hz),
    ),
    "silence before, loud after": (
        lambda rate_hz, s: silence(s, rate_hz=rate_hz),
        lambda rate_hz, s: noise(s, seed=2, level_dbfs=0.0, rate_hz=rate_hz),
    ),
    "antiphase sub before, mono sub after": (
        lambda rate_hz, s: tone(50.0, s, rate_hz=rate_hz, phases_deg=(0.0, 180.0)),
        lambda rate_hz, s: tone(50.0, s, rate_hz=rate_hz),
    ),
}
SIDES = pytest.mark.parametrize("sides", LOUD_AND_SILENT.values(), ids=LOUD_AND_SILENT.keys())
RATES = pytest.mark.parametrize("rate_hz", [48_000, 11_025])

# What counts from the start of the pass, so it cannot be as in a fresh chain.
PLACES = {"at_s", "loudest_30s_at_s", "lost_frames"}
OTHER_COLUMNS = [name for name in SOUNDING.names if name not in ("start_frame", "flags")]


def measured_part(chain: Chain) -> dict:
    return {key: value for key, value in asdict(chain.reading()).items() if key not in PLACES}


def as_bytes(rows: np.ndarray, columns: list[str] = OTHER_COLUMNS) -> list[bytes]:
    return [np.ascontiguousarray(rows[name]).tobytes() for name in columns]


@SIDES
@RATES
@pytest.mark.parametrize("before_s", [0.02, 1.234, 3.3])
def test_what_comes_after_is_measured_as_by_a_fresh_chain(sides, rate_hz, before_s):
    before, after = sides[0](rate_hz, before_s), sides[1](rate_hz, 3.77)
    chain = Chain(rate_hz=rate_hz, channels=2)
    fresh = Chain(rate_hz=rate_hz, channels=2, is_excerpt=True)
    run(chain, before)
    chain.gap(4321)
    edges = [round(s * rate_hz) for s in (0.0, 0.05, 0.4, 2.99, 3.0, 3.77)]
    for start, end in pairwise(edges):
        rows, wanted = run(chain, after[start:end]), run(fresh, after[start:end])
        assert as_bytes(rows) == as_bytes(wanted)
        assert measured_part(chain) == measured_part(fresh)
    assert as_bytes(chain.gap(1)) == as_bytes(fresh.flush())


@SIDES
@RATES
@pytest.mark.parametrize("before_s", [0.02, 1.234, 3.3])
def test_what_came_before_is_measured_as_if_the_stream_had_ended_but_for_peaks_at_the_edge(
    sides, rate_hz, before_s
):
    before = sides[0](rate_hz, before_s)
    chain, ended = Chain(rate_hz=rate_hz, channels=2), Chain(rate_hz=rate_hz, channels=2)
    rows = np.concatenate([run(chain, before), chain.gap(99)])
    wanted = run_to_end(ended, before)
    edge = ("true_peak", "overs")
    columns = [name for name in [*OTHER_COLUMNS, "start_frame"] if name not in edge]
    assert as_bytes(rows, columns) == as_bytes(wanted, columns)
    assert as_bytes(rows[:-1], list(edge)) == as_bytes(wanted[:-1], list(edge))
    assert (rows["true_peak"] <= wanted["true_peak"]).all()
    assert (rows["true_peak"] >= rows["sample_peak"]).all()


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_where_a_gap_cuts_a_tone_no_peak_arises(rate_hz):
    """Cut at its top, a tone followed by silence overshoots; that it ended there is not known."""
    whole = tone(997.0, 0.1, level_dbfs=-0.5, rate_hz=rate_hz)
    pieces = [whole[: rate_hz // 20 + frames] for frames in range(48)]  # all phases of 1 kHz and more
    told_db = []
    for sound in pieces:
        chain = Chain(rate_hz=rate_hz, channels=2, low_end=False)
        rows = np.concatenate([run(chain, sound), chain.gap(480)])
        told_db.append(20.0 * np.log10(rows["true_peak"][:, 0].max()))
        assert rows["overs"].sum() == 0
    assert max(told_db) == pytest.approx(-0.5, abs=0.01)
    assert any(peak_dbtp(sound, rate_hz) > 0.0 for sound in pieces)


def peak_dbtp(sound, rate_hz):
    """What is read of a sound between silence and silence."""
    chain = Chain(rate_hz=rate_hz, channels=2, low_end=False)
    run_to_end(chain, sound)
    return chain.reading().true_peak_max_dbtp[0]


@pytest.mark.parametrize("cut_frames", [4800, 700, 100, 50, 10])
@pytest.mark.parametrize("rate_hz", [8000, 11_025, 44_100, 48_000, 96_000])
def test_where_a_tone_comes_back_behind_a_gap_no_peak_arises(rate_hz, cut_frames):
    """The same from the other side, however soon the next gap comes."""
    whole = tone(997.0, 0.7, level_dbfs=-0.5, rate_hz=rate_hz)
    pieces = [whole[frames:][:cut_frames] for frames in range(48)]
    told_db = []
    for sound in pieces:
        chain = Chain(rate_hz=rate_hz, channels=2, low_end=False)
        chain.gap(480)
        rows = np.concatenate([run(chain, sound), chain.gap(480)])
        told_db.append(20.0 * np.log10(rows["true_peak"][:, 0].max()))
        assert rows["overs"].sum() == 0
        assert (rows["true_peak"] >= rows["sample_peak"]).all()
    assert max(told_db) <= -0.49
    assert any(peak_dbtp(sound, rate_hz) > 0.0 for sound in pieces)


def test_a_tone_between_two_gaps_reads_its_peak_where_it_can_be_known():
    """12 kHz at 45 degrees stands between all samples: 3 dB above them."""
    chain = Chain(rate_hz=48_000, channels=2, low_end=False)
    chain.gap(480)
    rows = run(chain, tone(12_000.0, 0.1, level_dbfs=-6.0, phases_deg=(45.0, 45.0)))
    assert 20.0 * np.log10(rows["true_peak"][0, 0]) == pytest.approx(-6.0, abs=0.01)
    assert 20.0 * np.log10(rows["sample_peak"][0, 0]) == pytest.approx(-9.01, abs=0.01)


@pytest.mark.parametrize("silent_s", [0.1, 2.0])
def test_an_onset_behind_a_gap_and_silence_reads_as_any_onset(silent_s):
    sound = np.concatenate([silence(silent_s), tone(997.0, 0.1, phases_deg=(90.0, 90.0))])
    cut, fresh = Chain(rate_hz=48_000, channels=2), Chain(rate_hz=48_000, channels=2)
    run(cut, silence(1.0))
    cut.gap(480)
    assert as_bytes(run(cut, sound)) == as_bytes(run(fresh, sound))


@pytest.mark.parametrize("back", [1, 5, 24, 25, 60])
def test_an_over_right_before_a_gap_is_counted(back):
    chain = Chain(rate_hz=48_000, channels=2)
    sound = silence(0.123)
    sound[-back, 1] = 1.05
    rows = np.concatenate([run(chain, sound), chain.gap(480)])
    assert rows["overs"].sum() == 1
    assert rows["true_peak"][:, 1].max() == np.float32(1.05)


@given(before=st.integers(0, 30_000), lost=st.integers(1, 10**7), after=st.integers(1, 12_000))
@settings(max_examples=40)
@RATES
def test_time_advances_by_the_counted_frames(rate_hz, before, lost, after):
    chain = Chain(rate_hz=rate_hz, channels=1)
    samples = noise(1.0, seed=5, rate_hz=30_000, channels=1)
    earlier = np.concatenate([run(chain, samples[:before]), chain.gap(lost)])
    assert chain.frames == before + lost
    assert chain.reading().at_s == (before + lost) / rate_hz
    later = run_to_end(chain, samples[:after])
    assert earlier["frames"].sum() == before
    assert later["frames"].sum() == after
    assert later["start_frame"][0] == before + lost
    assert later["flags"][0] & AFTER_GAP
    assert chain.reading().at_s == (before + lost + after) / rate_hz


def test_the_sounding_before_a_gap_is_closed_short_and_flagged():
    chain = Chain(rate_hz=48_000, channels=2)
    rows = run(chain, noise(0.24, seed=1))
    (closed,) = chain.gap(480)
    later = run(chain, noise(0.3, seed=2))
    assert list(rows["flags"]) == [0, 0]
    assert closed["flags"] == CUT_SHORT | BEFORE_GAP
    assert (closed["start_frame"], closed["frames"]) == (9600, 1920)
    assert list(later["flags"]) == [AFTER_GAP, 0, 0]
    assert list(later["start_frame"]) == [12_000, 16_800, 21_600]


def test_a_gap_between_two_soundings_has_none_to_close():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, silence(0.2))
    assert len(chain.gap(480)) == 0
    assert list(run(chain, silence(0.2))["flags"]) == [AFTER_GAP, 0]


def test_gaps_that_follow_each_other_are_all_counted():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, noise(0.05, seed=1))
    chain.gap(100)
    chain.gap(200)
    assert list(run(chain, noise(0.1, seed=1))["flags"]) == [AFTER_GAP]
    assert chain.gaps == [Gap(at_s=0.05, frames=100), Gap(at_s=2500 / 48_000, frames=200)]
    assert chain.lost_frames == chain.reading().lost_frames == 300


def test_right_after_a_gap_nothing_is_known():
    chain = Chain(rate_hz=8000, channels=2, low_end=False)
    run(chain, noise(61.0, seed=1, level_dbfs=0.0, rate_hz=8000))
    full = chain.reading()
    assert full.loudness_range_stable
    assert full.loudest_30s_lufs is not None
    assert full.overs > 0
    chain.gap(800)
    empty, known = Chain(rate_hz=8000, channels=2, low_end=False).reading(), chain.reading()
    assert measured_part(chain) == {key: value for key, value in asdict(empty).items() if key not in PLACES}
    assert (known.at_s, known.loudest_30s_at_s, known.lost_frames) == (61.1, None, 800)


def test_windows_fill_anew_after_a_gap():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, tone(1000.0, 4.0, level_dbfs=0.0))
    chain.gap(48)
    later = tone(1000.0, 3.0, level_dbfs=-40.0)
    run(chain, later[:18_000])
    assert (chain.reading().momentary_lufs, chain.reading().correlation) == (None, None)
    run(chain, later[18_000:19_200])
    # BS.1770-5, Annex 1 (facts.md 1.2, CALC): 1 kHz on L and R at -40 dBFS reads -39.9933.
    assert chain.reading().momentary_lufs == pytest.approx(-39.993, abs=0.002)
    assert chain.reading().correlation == pytest.approx(1.0)
    assert chain.reading().integrated_lufs == pytest.approx(-39.993, abs=0.006)
    run(chain, later[19_200:142_000])
    assert (chain.reading().short_term_lufs, chain.reading().correlation_3s) == (None, None)
    run(chain, later[142_000:])
    assert chain.reading().short_term_lufs == pytest.approx(-39.993, abs=0.002)
    assert chain.reading().momentary_max_lufs == pytest.approx(-39.993, abs=0.002)
    assert chain.reading().true_peak_max_dbtp == pytest.approx((-40.0, -40.0), abs=0.05)


def test_the_loudest_30_s_is_found_behind_the_gap_and_at_its_place():
    chain = Chain(rate_hz=8000, channels=2, low_end=False)
    run(chain, noise(31.0, seed=1, level_dbfs=0.0, rate_hz=8000))
    chain.gap(8000)
    run(chain, noise(29.9, seed=2, rate_hz=8000))
    assert chain.reading().loudest_30s_lufs is None
    run(chain, noise(0.1, seed=3, rate_hz=8000))
    assert chain.reading().loudest_30s_at_s == 32.0
    assert not chain.reading().loudness_range_stable


def test_a_loudness_range_is_not_stable_before_60_s_behind_the_gap():
    chain = Chain(rate_hz=8000, channels=1)
    run(chain, silence(60.0, rate_hz=8000, channels=1))
    chain.gap(8000 * 60)
    run(chain, silence(59.95, rate_hz=8000, channels=1))
    assert not chain.reading().loudness_range_stable
    run(chain, silence(0.05, rate_hz=8000, channels=1))
    assert chain.reading().loudness_range_stable


def test_an_over_does_not_go_on_over_a_gap():
    chain = Chain(rate_hz=48_000, channels=1)
    spike = silence(0.1, channels=1)
    spike[-100] = spike[100] = 1.05
    run(chain, spike)
    assert [over.at_s for over in chain.overs] == [100 / 48_000, 4700 / 48_000]
    chain.gap(48)
    assert (chain.overs, chain.over_count) == ([], 0)
    rows = run(chain, spike)
    assert [over.at_s for over in chain.overs] == [(4848 + 100) / 48_000, (4848 + 4700) / 48_000]
    assert rows["overs"].sum() == 2


def test_a_summary_joins_no_blocks_over_a_gap():
    """0.3 s on each side: there is no 400 ms block, though there are 600 ms of sound."""
    chain = Chain(rate_hz=48_000, channels=2)
    sound = tone(1000.0, 0.3, level_dbfs=-23.0)
    rows = np.concatenate([run(chain, sound), chain.gap(10), run(chain, sound), chain.flush()])
    summary = summarise(rows, rate_hz=48_000, channels=2, gaps=chain.gaps)
    assert summary.integrated_lufs is None
    assert summary.why_null["integrated_lufs"] == "not yet"
    assert (summary.lost_frames, summary.gaps) == (10, (Gap(at_s=0.3, frames=10),))
    assert summary.seconds == pytest.approx(0.6)


def test_a_summary_over_a_gap_holds_the_blocks_of_both_sides_and_no_other():
    """10 s at -20, a gap, 10 s at -30: nine blocks fewer than without one, none of them mixed."""
    chain = Chain(rate_hz=48_000, channels=2)
    loud, soft = (tone(1000.0, 10.0, level_dbfs=level) for level in (-20.0, -30.0))
    rows = np.concatenate([run(chain, loud), chain.gap(4800), run(chain, soft), chain.flush()])
    summary = summarise(rows, rate_hz=48_000, channels=2)
    # Mean of 97 blocks of each level; +0.0067 is K at 1 kHz (facts.md 1.1, CALC). The onsets read
    # lower by the filter's transient: 0.001.
    wanted = 10.0 * np.log10((10.0**-2.0 + 10.0**-3.0) / 2.0) + 0.0067
    assert summary.integrated_lufs == pytest.approx(wanted, abs=0.001)
    assert summary.loudness_range_lu == pytest.approx(10.0, abs=0.001)
    assert summary.momentary_max_lufs == pytest.approx(-19.993, abs=0.002)


def test_a_summary_seeks_the_loudest_30_s_on_each_side_of_a_gap():
    chain = Chain(rate_hz=8000, channels=1)
    parts = [tone(1000.0, s, level_dbfs=level, rate_hz=8000, phases_deg=(0.0,), gains=(1.0,))
             for s, level in ((40.0, -30.0), (20.0, -10.0), (31.0, -20.0))]  # fmt: skip
    rows = [
        run(chain, parts[0]),
        chain.gap(8000),
        run(chain, parts[1]),
        chain.gap(8000),
        run(chain, parts[2]),
    ]
    summary = summarise(np.concatenate([*rows, chain.flush()]), rate_hz=8000, channels=1)
    # The 20 s at -10 are louder, but no 30 s long. The 31 s at -20 are all alike.
    assert 62.0 <= summary.loudest_30s_at_s <= 63.0
    assert summary.loudest_30s_lufs == pytest.approx(-20.0 - 3.0103 + 0.0067, abs=0.02)
    assert not summary.loudest_30s_is_whole


def test_the_loudest_low_end_of_a_summary_is_not_sought_over_a_gap():
    """2 s of sub on each side hold no 3 s window, so nothing is known to be 30 dB under it."""
    chain = Chain(rate_hz=48_000, channels=2)
    loud, soft = tone(50.0, 2.0, level_dbfs=-6.0), tone(180.0, 2.0, level_dbfs=-45.0)
    rows = np.concatenate(
        [run(chain, loud), chain.gap(10), run(chain, loud), chain.gap(10), run(chain, soft)]
    )
    assert summarise(rows, rate_hz=48_000, channels=2).fold_loss_db["120-250"] is not None


@pytest.mark.parametrize("frames", [0, -5])
def test_a_gap_has_at_least_one_frame(frames):
    with pytest.raises(UsageError, match=f"the gap is {frames} frames long, but a gap has at least 1 frame"):
        Chain(rate_hz=48_000, channels=2).gap(frames)


def test_a_gap_after_the_end_belongs_to_a_new_pass():
    chain = Chain(rate_hz=48_000, channels=2)
    run_to_end(chain, noise(0.33, seed=1))
    assert len(chain.gap(480)) == 0
    rows = run(chain, noise(0.1, seed=2))
    assert (rows["start_frame"][0], rows["flags"][0]) == (480, AFTER_GAP)
    assert chain.gaps == [Gap(at_s=0.0, frames=480)]


def test_a_gap_in_lasting_silence_is_a_gap_too():
    chain, fresh = Chain(rate_hz=48_000, channels=2), Chain(rate_hz=48_000, channels=2)
    run(chain, np.concatenate([noise(0.5, seed=1), silence(3.02)]))
    chain.gap(10)
    later = np.concatenate([silence(0.3), noise(0.5, seed=4)])
    assert as_bytes(run_to_end(chain, later)) == as_bytes(run_to_end(fresh, later))
