"""Comparing at equal loudness: by numbers that were chosen, and by files that were made."""

import math

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from meter.errors import UsageError
from meter.shelf import measure
from meter.shelf.compare import KEYS, compare, rank
from meter.standards import iec_61260_1_2014 as iec
from tests.shelf.sounds import PLAIN, RATE_HZ, like, tune, write

BAND_50_HZ = [iec.nominal_hz(index) for index in iec.indices()].index(50.0)


def of_key(found, key):
    (one,) = (one for one in found.differences if one.key == key)
    return one


@settings(max_examples=50)
@given(gain_db=st.floats(-40, 40))
def test_a_gain_is_undone_by_the_trim_and_leaves_no_other_difference(gain_db):
    found = compare(like(louder_db=gain_db), [PLAIN])
    assert found.trim_db == pytest.approx(-gain_db, abs=1e-9)
    assert found.true_peak_after_dbtp == pytest.approx(PLAIN.true_peak_dbtp, abs=1e-9)
    assert [one.key for one in found.differences] == list(KEYS)
    assert all(abs(one.difference) < 1e-9 for one in found.differences)
    assert len(found.bands) == 31
    assert all(abs(band.difference_db) < 1e-9 for band in found.bands)


def test_a_file_six_decibels_lower_needs_six_more_and_differs_in_nothing_else(tmp_path):
    sound = tune(34.0)
    write(tmp_path / "one.wav", sound)
    write(tmp_path / "lower.wav", sound * 10.0 ** (-6.0 / 20.0))
    found = compare(measure.of_file(tmp_path / "lower.wav"), [measure.of_file(tmp_path / "one.wav")])
    assert found.trim_db == pytest.approx(6.0, abs=0.001)
    assert [one.key for one in found.differences] == list(KEYS)
    assert all(abs(one.difference) < 0.001 for one in found.differences)
    assert len(found.bands) > 25
    assert all(abs(band.difference_db) < 0.001 for band in found.bands)


def test_one_channel_is_compared_as_two_speakers_play_it(tmp_path):
    # ITU-R BS.1770-5, Annex 1: the same on both channels is 3.01 LU louder than on one. CALC.
    sound = tune(34.0)[:, :1]
    write(tmp_path / "mono.wav", sound)
    write(tmp_path / "both.wav", np.repeat(sound, 2, axis=1))
    mono, both = (measure.of_file(tmp_path / name) for name in ("mono.wav", "both.wav"))
    assert both.loudest_30s_lufs - mono.loudest_30s_lufs == pytest.approx(3.0103, abs=0.001)
    for one, other in ((mono, both), (both, mono)):
        found = compare(one, [other])
        assert found.trim_db == pytest.approx(0.0, abs=0.001) and found.is_mono == (one is mono)
        levels = [each for each in found.differences if not each.key.startswith("fold_loss")]
        assert len(levels) >= 3 and all(abs(each.difference) < 0.001 for each in levels)
        assert all(abs(band.difference_db) < 0.001 for band in found.bands)


def test_real_music_six_decibels_lower_needs_six_more(tmp_path, music):
    path = max(music, key=lambda path: path.stat().st_size)
    with soundfile.SoundFile(path) as file:
        rate_hz = file.samplerate
        sound = file.read(40 * rate_hz, always_2d=True)
    write(tmp_path / "one.wav", sound, rate_hz=rate_hz)
    write(tmp_path / "lower.wav", sound * 10.0 ** (-6.0 / 20.0), rate_hz=rate_hz)
    found = compare(measure.of_file(tmp_path / "lower.wav"), [measure.of_file(tmp_path / "one.wav")])
    assert found.trim_db == pytest.approx(6.0, abs=0.01)
    assert all(abs(one.difference) < 0.01 for one in found.differences)
    assert all(abs(band.difference_db) < 0.01 for band in found.bands)
    assert len(found.bands) > 15


def test_a_sub_that_is_three_decibels_louder_is_found_where_it_is(tmp_path):
    write(tmp_path / "one.wav", tune())
    write(tmp_path / "more.wav", tune(sub_db=3.0))
    one, more = (measure.of_file(tmp_path / name) for name in ("one.wav", "more.wav"))
    found = compare(more, [one])
    worst = max(found.bands, key=lambda band: band.difference_db)
    assert worst.nominal_hz == 50.0
    # The sub alone is 3 dB more; all of it was turned down by the trim.
    assert worst.difference_db == pytest.approx(3.0 + found.trim_db, abs=0.02)
    assert -2.9 < found.trim_db < -1.0
    others = [band.difference_db for band in found.bands if not 30.0 < band.nominal_hz < 80.0]
    np.testing.assert_allclose(others, found.trim_db, atol=0.05)


def test_the_share_of_the_sub_is_its_energy_over_all_of_it(tmp_path):
    # A sine of 35 Hz, where both band filters pass it all but 0.7 dB, and one of 1 kHz as strong.
    t_s = np.arange(8 * RATE_HZ) / RATE_HZ
    sound = 0.1 * (np.sin(2 * np.pi * 35.0 * t_s) + np.sin(2 * np.pi * 1000.0 * t_s))[:, None]
    made = measure.of_file(write(tmp_path / "two.wav", np.hstack([sound, sound])))
    # |1/(1+(f/60)^4)|² · |(f/20)^4/(1+(f/20)^4)|²: Linkwitz-Riley of fourth order, RaneNote 160; CALC.
    passed = (1 / (1 + (35 / 60) ** 4)) ** 2 * ((35 / 20) ** 4 / (1 + (35 / 20) ** 4)) ** 2
    assert made.share_db["20-60"] == pytest.approx(10 * math.log10(0.5 * passed), abs=0.05)
    assert made.spectrum_db[[iec.nominal_hz(x) for x in iec.indices()].index(1000.0)] == pytest.approx(
        10 * math.log10(2 * 0.1**2 / 2), abs=0.02
    )


def test_the_spectrum_is_that_of_the_loudest_thirty_seconds(tmp_path):
    rng = np.random.default_rng(2)
    t_s = np.arange(31 * RATE_HZ) / RATE_HZ
    loud = 0.3 * np.sin(2 * np.pi * 400.0 * t_s)[:, None]
    quiet = 0.02 * rng.standard_normal((20 * RATE_HZ, 1))
    made = measure.of_file(write(tmp_path / "drop.wav", np.concatenate([quiet, loud, quiet])))
    assert made.loudest_30s_at_s == pytest.approx(20.5, abs=0.6)
    levels = dict(zip((iec.nominal_hz(x) for x in iec.indices()), made.spectrum_db, strict=True))
    assert levels[400.0] == pytest.approx(10 * math.log10(0.3**2 / 2), abs=0.02)
    assert levels[4000.0] < -80.0


def test_levels_are_told_as_they_are_after_the_trim():
    found = compare(like(louder_db=-3.0, integrated_lufs=-12.0), [PLAIN])
    one = of_key(found, "integrated_lufs")
    assert one.value == pytest.approx(-9.0)  # -12 turned up by 3
    assert one.middle == pytest.approx(-8.0)
    assert one.difference == pytest.approx(-1.0)


def test_several_references_are_matched_in_loudness_before_their_middle_is_taken():
    shelf = [like("a", louder_db=-6.0, bands={8: 1.0}), like("b", louder_db=5.0), like("c", bands={8: -1.0})]
    found = compare(like(bands={8: 2.0}), shelf)
    assert found.trim_db == pytest.approx(0.0)
    band = found.bands[8]
    assert (band.difference_db, band.lowest_db, band.highest_db) == pytest.approx((2.0, -1.0, 1.0))
    assert band.is_outside
    assert not found.bands[9].is_outside or abs(found.bands[9].difference_db) < 1e-9


# --- few and many


def test_fewer_than_ten_are_named_and_nobody_is_ranked():
    shelf = [like(f"no {n}", peak_to_loudness_lu=float(n)) for n in range(1, 10)]
    one = of_key(compare(like(peak_to_loudness_lu=6.2), shelf), "peak_to_loudness_lu")
    assert one.nearest == (("no 6", 6.0), ("no 7", 7.0))
    assert one.rank is None
    assert (one.lowest, one.middle, one.highest) == (1.0, 5.0, 9.0)


def test_ten_give_a_rank_with_its_interval():
    shelf = [like(f"no {n}", peak_to_loudness_lu=float(n)) for n in range(1, 11)]
    one = of_key(compare(like(peak_to_loudness_lu=6.2), shelf), "peak_to_loudness_lu")
    assert one.nearest == ()
    assert (one.rank.above, one.rank.of) == (6.0, 10)


@given(lower=st.integers(0, 40), more=st.integers(0, 40))
def test_the_interval_of_a_rank_is_that_of_scipy(lower, more):
    if lower + more == 0:
        return
    found = rank(0.0, [-1.0] * lower + [1.0] * more)
    expected = stats.binomtest(lower, lower + more).proportion_ci(0.95, method="wilson")
    assert found.low_pct == pytest.approx(100.0 * expected.low, abs=1e-4)
    assert found.high_pct == pytest.approx(100.0 * expected.high, abs=1e-4)


def test_equal_values_count_half():
    assert rank(2.0, [1.0, 2.0, 2.0, 3.0]).above == 2.0


# --- what cannot be compared


def test_what_one_side_lacks_is_left_out():
    mono = like(fold_loss_db=dict.fromkeys(PLAIN.fold_loss_db), spectrum_db=None)
    found = compare(mono, [PLAIN])
    assert not found.bands
    assert not any(one.key.startswith("fold_loss_db") for one in found.differences)
    assert compare(PLAIN, [mono]).bands == ()


def test_bands_of_next_to_nothing_are_not_compared():
    empty_top = like(bands=dict.fromkeys(range(25, 31), -70.0))
    found = compare(empty_top, [like(bands=dict.fromkeys(range(25, 31), -65.0))])
    assert len(found.bands) == 25


def test_an_empty_shelf_is_one_sentence():
    with pytest.raises(UsageError, match="there is no reference on the shelf; add one with `leadline"):
        compare(PLAIN, [])


def test_silence_is_refused(tmp_path):
    path = write(tmp_path / "silent.wav", np.zeros((48_000, 2)))
    with pytest.raises(UsageError, match=r"silent.wav is silent or too short to have a loudness"):
        measure.of_file(path)


@pytest.mark.parametrize(
    ("seconds", "rate_hz", "channels"), [(0.5, 48_000, 2), (3.0, 8_000, 1), (2.0, 44_100, 6)]
)
def test_short_slow_and_many_channels_give_what_they_can(tmp_path, seconds, rate_hz, channels):
    sound = np.random.default_rng(1).standard_normal((round(seconds * rate_hz), channels)) * 0.1
    made = measure.of_file(write(tmp_path / "odd.wav", sound, rate_hz=rate_hz))
    assert made.loudest_30s_is_whole
    told = [db for db in made.spectrum_db if db is not None]
    assert 10 < len(told) < 31
    found = compare(made, [made])
    assert found.trim_db == 0.0
    assert len(found.bands) == len(told)


def test_samples_that_are_no_numbers_count_as_silence(tmp_path):
    sound = tune(4.0)
    sound[1000] = np.nan
    made = measure.of_file(write(tmp_path / "nan.wav", sound))
    assert all(db is None or math.isfinite(db) for db in made.spectrum_db)
    assert made.spectrum_db[BAND_50_HZ] == pytest.approx(10 * math.log10(2 * 0.2**2 / 2), abs=0.1)
