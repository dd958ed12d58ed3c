"""What the chain says now: left and right, the low end, and when there is nothing to say."""

from __future__ import annotations

import math
from dataclasses import asdict

import numpy as np
import pytest

from meter.chain import Chain
from meter.passes import summarise
from meter.readings import LiveReadings
from meter.soundings import BANDS, LOW_BANDS, Reading
from tests.support.sound import noise, run, run_to_end, silence, tone

# The band in which each tone lies; 40, 80 and 180 Hz have whole periods in 100 ms.
BAND_OF = {40: "20-60", 80: "60-120", 180: "120-250"}

# rho of two equal sines: (L+R)/2 re one channel, dB. Facts.md 5, mono-sum table, CALC.
MONO_SUM = {
    1.0: 0.0, 0.9: -0.223, 0.75: -0.580, 0.7: -0.706, 0.5: -1.249, 0.3: -1.871, 0.25: -2.041, 0.0: -3.010,
    -0.25: -4.260, -0.5: -6.021, -0.75: -9.031, -0.9: -13.010, -0.99: -23.010,
}  # fmt: skip


def degrees(rho: float) -> float:
    """Phase between two equal sines that gives this correlation: r = cos φ. Facts.md 5.4, SEEN-S."""
    return math.degrees(math.acos(rho))


def settled(samples: np.ndarray, *, rate_hz: int = 48_000, **options: float) -> Reading:
    """The reading after the samples; what they begin with has left the windows."""
    chain = Chain(rate_hz=rate_hz, channels=samples.shape[1], **options)
    run(chain, samples)
    return chain.reading()


def pair(f_hz: float, rho: float, **options: float) -> np.ndarray:
    return tone(f_hz, 4.0, phases_deg=(0.0, degrees(rho)), **options)


# --- mono sum, correlation -------------------------------------------------------------------


@pytest.mark.parametrize("f_hz", BAND_OF)
@pytest.mark.parametrize("rho", MONO_SUM)
def test_steady_tones_lose_in_mono_what_the_table_says_in_their_band_and_over_all(f_hz, rho):
    reading = settled(pair(f_hz, rho))
    for losses in (reading.fold_loss_db, reading.fold_loss_3s_db):
        for name in (BAND_OF[f_hz], "full"):
            assert losses[name] == pytest.approx(MONO_SUM[rho], abs=0.01), name
        if f_hz < 120:
            assert losses["below_crossover"] == pytest.approx(MONO_SUM[rho], abs=0.01)


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 22_050, 44_100, 96_000])
@pytest.mark.parametrize("f_hz", BAND_OF)
@pytest.mark.parametrize("rho", [0.5, -0.9])
def test_other_rates_read_the_same(rate_hz, f_hz, rho):
    reading = settled(pair(f_hz, rho, rate_hz=rate_hz), rate_hz=rate_hz)
    for name in (BAND_OF[f_hz], "full"):
        assert reading.fold_loss_3s_db[name] == pytest.approx(MONO_SUM[rho], abs=0.01), name


@pytest.mark.parametrize("f_hz", [*BAND_OF, 1000])
@pytest.mark.parametrize("degrees_apart", [0, 15, 45, 60, 90, 120, 135, 179, 180])
def test_correlation_is_the_cosine_of_the_phase(f_hz, degrees_apart):
    reading = settled(tone(f_hz, 4.0, phases_deg=(0.0, degrees_apart)))
    wanted = math.cos(math.radians(degrees_apart))
    assert reading.correlation == pytest.approx(wanted, abs=0.001)
    assert reading.correlation_3s == pytest.approx(wanted, abs=0.001)
    if f_hz < 120:
        assert reading.low_correlation == pytest.approx(wanted, abs=0.001)


@pytest.mark.parametrize("gain", [0.01, 0.1, 0.9, 3.0])
def test_correlation_does_not_depend_on_the_level_of_either_channel(gain):
    """Facts.md 5.5, SEEN-S."""
    reading = settled(tone(80, 4.0, level_dbfs=-20.0, phases_deg=(0.0, 60.0), gains=(1.0, gain)))
    assert (reading.correlation, reading.low_correlation) == pytest.approx((0.5, 0.5), abs=0.001)


@pytest.mark.parametrize("difference_db", [1.0, 3.0, 6.0, 10.0, 20.0])
@pytest.mark.parametrize("rho", [1.0, 0.5, 0.0, -0.5, -1.0])
def test_unequal_levels_lose_what_the_formula_says(difference_db, rho):
    """10·log10((1 + g² + 2·rho·g) / (2·(1 + g²))): design.md 5; algebra, facts.md 5.10."""
    g = 10.0 ** (-difference_db / 20.0)
    wanted = 10.0 * math.log10((1.0 + g**2 + 2.0 * rho * g) / (2.0 * (1.0 + g**2)))
    for f_hz, band in BAND_OF.items():
        reading = settled(pair(f_hz, rho, gains=(1.0, g)))
        assert reading.fold_loss_3s_db[band] == pytest.approx(wanted, abs=0.01)
        assert reading.fold_loss_3s_db["full"] == pytest.approx(wanted, abs=0.01)


# Level difference, dB: (L+R)/2 re the louder channel for rho = +1, +0.5, 0, -0.5, -1. Facts.md 5, CALC.
UNEQUAL = {
    1: (-0.49, -1.73, -3.48, -6.46, -25.29),
    3: (-1.37, -2.58, -4.26, -7.03, -16.71),
    6: (-2.49, -3.58, -5.05, -7.27, -12.06),
    10: (-3.63, -4.51, -5.61, -7.08, -9.32),
    20: (-5.19, -5.57, -5.98, -6.43, -6.94),
}


@pytest.mark.parametrize("difference_db", UNEQUAL)
def test_the_printed_table_of_unequal_levels_follows(difference_db):
    g = 10.0 ** (-difference_db / 20.0)
    for rho, printed_db in zip((1.0, 0.5, 0.0, -0.5, -1.0), UNEQUAL[difference_db], strict=True):
        lost = settled(pair(80, rho, gains=(1.0, g))).fold_loss_3s_db["60-120"]
        # Both channels together lie 10·log10(1 + g²) over the louder one, and (L+R)/2 3.01 dB lower.
        assert lost + 10.0 * math.log10((1.0 + g**2) / 2.0) == pytest.approx(printed_db, abs=0.015)


def test_opposite_channels_read_the_floor():
    reading = settled(tone(40, 4.0, gains=(1.0, -1.0)))
    assert reading.fold_loss_3s_db["20-60"] == reading.fold_loss_3s_db["full"] == -60.0
    assert reading.correlation == reading.low_correlation == -1.0


@pytest.mark.parametrize("gains", [(1.0, 0.0), (0.0, 1.0)])
def test_one_side_alone_loses_3_01_db_and_has_no_correlation(gains):
    reading = settled(tone(50, 4.0, gains=gains))
    for name in ("20-60", "below_crossover", "full"):
        assert reading.fold_loss_db[name] == pytest.approx(-3.0103, abs=0.001)
    assert (reading.correlation, reading.correlation_3s, reading.low_correlation) == (None, None, None)


@pytest.mark.parametrize("offsets", [(0.003, 0.003), (0.003, -0.003), (0.003, 0.0)])
@pytest.mark.parametrize("rho", [1.0, 0.0, -0.75, -1.0])
def test_an_offset_of_0_003_changes_no_loss_of_the_low_bands(offsets, rho):
    """A quiet sub, which without the high-pass such an offset hides."""
    for f_hz, level_dbfs in ((40, -12.0), (80, -40.0), (180, -40.0)):
        plain = pair(f_hz, rho, level_dbfs=level_dbfs)
        moved = plain + np.float32(offsets)
        without, with_offset = (settled(samples).fold_loss_3s_db for samples in (plain, moved))
        assert without[BAND_OF[f_hz]] is not None
        for name in LOW_BANDS:
            if without[name] is not None:
                assert with_offset[name] == pytest.approx(without[name], abs=0.01), name


def test_an_antiphase_sub_is_seen_under_loud_mono_highs():
    """Over all it is hidden; its own band tells it."""
    samples = tone(50, 4.0, level_dbfs=-20.0, gains=(1.0, -1.0)) + tone(3000, 4.0, level_dbfs=-6.0)
    reading = settled(samples)
    assert reading.fold_loss_3s_db["full"] > -0.3
    assert reading.fold_loss_3s_db["20-60"] < -50.0
    assert reading.low_correlation == pytest.approx(-1.0, abs=1e-3)


@pytest.mark.parametrize(("crossover_hz", "is_below"), [(80.0, False), (180.0, True)])
def test_the_band_below_the_crossover_follows_it(crossover_hz, is_below):
    """Mono sub at 40 Hz, antiphase tone at 120 Hz as loud."""
    samples = tone(40, 4.0) + tone(120, 4.0, gains=(1.0, -1.0))
    lost = settled(samples, crossover_hz=crossover_hz).fold_loss_3s_db["below_crossover"]
    low_pass = 1.0 / (1.0 + (120.0 / crossover_hz) ** 4), 1.0 / (1.0 + (40.0 / crossover_hz) ** 4)
    high_pass = 1.0 / (1.0 + (20.0 / 120.0) ** 4), 1.0 / (1.0 + (20.0 / 40.0) ** 4)
    antiphase, mono = ((a * b) ** 2 for a, b in zip(low_pass, high_pass, strict=True))
    assert lost == pytest.approx(10.0 * math.log10(mono / (mono + antiphase)), abs=0.02)
    assert (lost < -1.0) == is_below


def test_short_and_long_windows_are_400_ms_and_3_s():
    """Mono, and then half a second of antiphase: all of the short window, a sixth of the long one."""
    reading = settled(np.concatenate([tone(40, 4.0), tone(40, 0.5, gains=(1.0, -1.0))]))
    assert reading.fold_loss_db["full"] == -60.0
    assert reading.fold_loss_3s_db["full"] == pytest.approx(10.0 * math.log10(5 / 6), abs=0.001)
    assert reading.correlation == pytest.approx(-1.0)
    assert reading.correlation_3s == pytest.approx(4 / 6, abs=0.001)
    assert reading.low_correlation == pytest.approx(4 / 6, abs=0.02)  # the bands ring on for a moment
    assert reading.fold_loss_db["20-60"] < -30.0
    assert reading.fold_loss_3s_db["20-60"] == pytest.approx(10.0 * math.log10(5 / 6), abs=0.1)


def test_with_more_channels_the_first_two_are_the_pair():
    samples = np.concatenate([pair(80, 0.5), noise(4.0, seed=1, channels=4)], axis=1)
    reading = settled(samples)
    assert reading.fold_loss_3s_db["60-120"] == pytest.approx(-1.249, abs=0.01)
    assert reading.correlation == pytest.approx(0.5, abs=0.001)


# --- blank -----------------------------------------------------------------------------------


def lr4_low_db(f_hz: float, corner_hz: float) -> float:
    return -20.0 * math.log10(1.0 + (f_hz / corner_hz) ** 4)


def lr4_high_db(f_hz: float, corner_hz: float) -> float:
    return -20.0 * math.log10(1.0 + (corner_hz / f_hz) ** 4)


@pytest.mark.parametrize(("under_db", "is_said"), [(29.9, True), (30.1, False)])
def test_a_band_more_than_30_db_under_the_loudest_low_end_is_blank(under_db, is_said):
    """The loudest 3 s of the band below the crossover so far; the tone's own 3 s in its band."""
    sub_db = lr4_high_db(40.0, 20.0) + lr4_low_db(40.0, 120.0)
    upper_db = lr4_high_db(180.0, 20.0) + lr4_high_db(180.0, 120.0) + lr4_low_db(180.0, 250.0)
    soft = tone(180, 4.0, level_dbfs=-10.0 + sub_db - under_db - upper_db)
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, tone(40, 4.0, level_dbfs=-10.0))
    run(chain, soft)
    assert (chain.reading().fold_loss_3s_db["120-250"] is not None) == is_said
    assert (chain.reading().fold_loss_db["120-250"] is not None) == is_said
    assert chain.reading().fold_loss_3s_db["full"] is not None


def test_the_loudest_low_end_is_the_loudest_so_far_and_not_of_what_is_to_come():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, tone(40, 4.0, level_dbfs=-50.0))
    assert chain.reading().fold_loss_3s_db["20-60"] == pytest.approx(0.0, abs=0.001)
    run(chain, tone(40, 4.0, level_dbfs=-10.0))
    run(chain, tone(40, 4.0, level_dbfs=-50.0))
    assert chain.reading().fold_loss_3s_db["20-60"] is None
    assert chain.reading().low_correlation is None
    run(chain, tone(40, 4.0, level_dbfs=-35.0))
    assert chain.reading().fold_loss_3s_db["20-60"] == pytest.approx(0.0, abs=0.001)


@pytest.mark.parametrize(("level_dbfs", "is_said"), [(-69.5, True), (-70.5, False)])
def test_a_band_under_minus_70_dbfs_is_blank(level_dbfs, is_said):
    """Mean square of both channels together: two sines of -70 dBFS peak in a band that passes them."""
    passes_db = lr4_high_db(40.0, 20.0) + lr4_low_db(40.0, 60.0)
    reading = settled(tone(40, 4.0, level_dbfs=level_dbfs - passes_db))
    assert (reading.fold_loss_3s_db["20-60"] is not None) == is_said


def test_mono_has_no_pair():
    reading = settled(tone(50, 4.0)[:, :1])
    assert reading.fold_loss_db == reading.fold_loss_3s_db == dict.fromkeys(BANDS)
    assert (reading.correlation, reading.correlation_3s, reading.low_correlation) == (None, None, None)
    assert reading.integrated_lufs is not None


# --- when ------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [48_000, 11_025])
def test_every_value_appears_when_its_window_is_full(rate_hz):
    chain, samples = Chain(rate_hz=rate_hz, channels=2), tone(50, 31.0, rate_hz=rate_hz)
    known_before: set[str] = set()
    first_at_s = {}
    for tenth in range(1, 311):
        edges = [round(k * rate_hz / 10) for k in (tenth - 1, tenth)]
        run(chain, samples[edges[0] : edges[1]])
        known = {name for name, value in asdict(chain.reading()).items() if value is not None}
        first_at_s |= dict.fromkeys(known - known_before, tenth / 10)
        known_before |= known
    assert {name: at_s for name, at_s in first_at_s.items() if at_s > 0.1} == {
        "momentary_lufs": 0.4,
        "integrated_lufs": 0.4,
        "momentary_max_lufs": 0.4,
        "peak_to_loudness_lu": 0.4,
        "correlation": 0.4,
        "short_term_lufs": 3.0,
        "short_term_max_lufs": 3.0,
        "loudness_range_lu": 3.0,
        "short_term_peak_to_loudness_lu": 3.0,
        "correlation_3s": 3.0,
        "low_correlation": 3.0,
        "loudest_30s_lufs": 30.0,
        "loudest_30s_at_s": 30.0,
    }


def test_before_the_first_sounding_peaks_are_silence_in_every_channel():
    """One value a channel from the start, so that whoever draws them needs no other case."""
    reading = Chain(rate_hz=48_000, channels=2).reading()
    silent = (-math.inf, -math.inf)
    assert (reading.true_peak_dbtp, reading.true_peak_max_dbtp, reading.sample_peak_max_dbfs) == (silent,) * 3
    assert (reading.at_s, reading.overs, reading.lost_frames, reading.nonfinite_samples) == (0.0, 0, 0, 0)


def test_momentary_moves_every_50_ms_for_the_eye():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, np.concatenate([silence(0.5), tone(1000, 0.05, level_dbfs=0.0)]))
    # An eighth of the window: -9.03 dB.
    assert chain.reading().momentary_lufs == pytest.approx(0.0067 - 9.031, abs=0.05)
    assert chain.reading().momentary_max_lufs == -math.inf  # of whole soundings


def test_the_true_peak_of_a_reading_is_that_of_the_last_100_ms():
    chain = Chain(rate_hz=48_000, channels=2)
    run(chain, tone(1000, 0.3, level_dbfs=-3.0, gains=(1.0, 0.5)))
    assert chain.reading().true_peak_dbtp == pytest.approx((-3.0, -9.02), abs=0.05)
    run(chain, silence(0.2))
    assert chain.reading().true_peak_dbtp == (-math.inf, -math.inf)
    assert chain.reading().true_peak_max_dbtp == pytest.approx((-3.0, -9.02), abs=0.05)


@pytest.mark.parametrize(("seconds", "is_stable"), [(59.9, False), (60.0, True)])
def test_a_loudness_range_is_stable_from_60_s_on(seconds, is_stable):
    """EBU Tech 3341 v4 2.4: the meter must signal it before. SEEN-S."""
    assert (
        settled(silence(seconds, rate_hz=8000, channels=1), rate_hz=8000).loudness_range_stable == is_stable
    )


# --- peak to loudness ------------------------------------------------------------------------


# Facts.md 9.4 and 9.5, CALC: 997 Hz full scale on one channel, 1 kHz -23 dBFS on both, on one, 40 Hz on both.
PEAK_TO_LOUDNESS = [
    (997, 0.0, (1.0, 0.0), 3.0103),
    (1000, -23.0, (1.0, 1.0), -0.0067),
    (1000, -23.0, (1.0, 0.0), 3.0036),
    (40, -12.0, (1.0, 1.0), 6.258),
]


@pytest.mark.parametrize(("f_hz", "level_dbfs", "gains", "wanted_lu"), PEAK_TO_LOUDNESS)
def test_peak_to_loudness_of_sines_is_the_formula(f_hz, level_dbfs, gains, wanted_lu):
    """Allowed ±0.05 (facts.md 9.4), which is what the true peak may be off."""
    rows_of, samples = Chain(rate_hz=48_000, channels=2), tone(f_hz, 6.0, level_dbfs=level_dbfs, gains=gains)
    samples *= np.clip(np.arange(len(samples)) / 4800.0, 0.0, 1.0).astype(np.float32)[:, None]
    rows = run_to_end(rows_of, samples)
    reading, summary = rows_of.reading(), summarise(rows, rate_hz=48_000, channels=2)
    for found in (reading, summary):
        assert found.short_term_peak_to_loudness_lu == pytest.approx(wanted_lu, abs=0.05)
        assert found.peak_to_loudness_lu == pytest.approx(wanted_lu, abs=0.08)  # the fade lies in I


def test_short_term_peak_to_loudness_takes_the_peak_of_the_same_3_s():
    """A spike 20 dB over a steady tone counts for as long as it is inside, and no longer."""
    chain = Chain(rate_hz=48_000, channels=2)
    samples = tone(1000, 8.0, level_dbfs=-26.0)
    samples[48_000 * 4] = 10.0 ** (-6.0 / 20.0)
    found = {}
    for tenth in range(80):
        run(chain, samples[tenth * 4800 : (tenth + 1) * 4800])
        found[(tenth + 1) / 10] = chain.reading().short_term_peak_to_loudness_lu
    assert found[4.0] == pytest.approx(-0.0067, abs=0.05)
    assert found[4.1] == pytest.approx(20.0, abs=0.1)
    assert found[7.0] == pytest.approx(20.0, abs=0.1)
    assert found[7.1] == pytest.approx(-0.0067, abs=0.05)
    assert chain.reading().peak_to_loudness_lu == pytest.approx(20.0, abs=0.1)


def test_peak_to_loudness_of_silence_is_nothing():
    reading = settled(silence(4.0))
    assert (reading.peak_to_loudness_lu, reading.short_term_peak_to_loudness_lu) == (None, None)


# --- ten times a second


def live_readings(samples: np.ndarray) -> list[tuple[Reading, Reading]]:
    """The reading of each sounding as it is taken live, and in full."""
    chain, live = Chain(rate_hz=48_000, channels=2), LiveReadings()
    found = []
    for start in range(0, len(samples), 4800):
        rows = chain.process(samples[start : start + 4800])
        found.append((live.reading(chain, soundings=len(rows)), chain.reading()))
    return found


def test_live_i_and_lra_are_new_once_a_second_and_all_else_each_time():
    # EBU Tech 3341 v4 2.2: I at least once a second, S ten times. SEEN-S. The level rises all the time.
    samples = noise(8.0, seed=1) * np.linspace(0.1, 1.0, 8 * 48_000, dtype=np.float32)[:, None]
    found = live_readings(samples)
    gated = ("integrated_lufs", "loudness_range_lu", "peak_to_loudness_lu")
    fresh = [k for k, (live, full) in enumerate(found) if live == full]
    assert fresh[:4] == [0, 1, 2, 3], "none yet, and the first one as soon as it is there"
    assert np.diff(fresh[3:]).tolist() == [10] * 7
    for live, full in found:
        assert {k: v for k, v in asdict(live).items() if k not in gated} == {
            k: v for k, v in asdict(full).items() if k not in gated
        }
    shown = [live.integrated_lufs for live, _ in found[3:]]
    assert [len(set(shown[k : k + 10])) for k in range(0, 70, 10)] == [1] * 7
    assert len(set(shown)) == 8


def test_live_i_begins_anew_with_the_pass():
    chain, live = Chain(rate_hz=48_000, channels=2), LiveReadings()
    live.reading(chain, soundings=len(chain.process(noise(1.0, seed=1))))
    chain.mark()
    live.start()
    assert live.reading(chain, soundings=len(chain.process(noise(0.1, seed=1)))).integrated_lufs is None
