import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from meter.findings.spots import NEAR_SLOTS, SilenceFinder, overs_in
from meter.soundings import SOUNDING
from meter.units import db_to_amplitude, lufs_to_power


def rows_of(levels_lufs):
    rows = np.zeros(len(levels_lufs), SOUNDING)
    rows["k_power"][:, 0] = [lufs_to_power(level) for level in levels_lufs]
    rows["frames"] = 4800
    return rows


def silences(levels_lufs, cuts=()):
    finder = SilenceFinder((1.0,))
    return [found for part in np.split(rows_of(levels_lufs), list(cuts)) for found in finder.take(part)]


def overs(peaks_dbtp, *, limit_dbtp=0.0, counts=None, samples=0.5):
    rows = np.zeros(len(peaks_dbtp), SOUNDING)
    rows["true_peak"][:, 0] = [db_to_amplitude(peak) for peak in peaks_dbtp]
    rows["sample_peak"][:, 0] = samples
    rows["overs"] = [int(peak > limit_dbtp) for peak in peaks_dbtp] if counts is None else counts
    return list(overs_in(rows, first=100, limit_dbtp=limit_dbtp, channels=1))


# --- silence


def test_silence_is_told_when_music_is_back():
    assert silences([-20.0] * 10 + [-80.0] * 8 + [-20.0]) == [(10, 18)]
    assert silences([-20.0] * 10 + [-80.0] * 8) == []


def test_too_short_and_so_long_that_a_pass_ends_are_none():
    assert silences([-20.0] + [-80.0] * 3 + [-20.0]) == []
    assert silences([-20.0] + [-80.0] * 4 + [-20.0]) == [(1, 5)]
    assert silences([-20.0] + [-80.0] * 49 + [-20.0]) == [(1, 50)]
    assert silences([-20.0] + [-80.0] * 50 + [-20.0]) == []


def test_silence_before_the_first_music_is_none():
    assert silences([-80.0] * 8 + [-20.0] * 5) == []
    assert silences([-58.5] * 3 + [-80.0] * 8 + [-20.0] * 5) == []


def test_a_tail_that_flickers_around_the_threshold_ends_once():
    tail = [-20.0] * 5 + [-59.0, -61.0, -59.0, -61.0, -59.5, -80.0, -80.0, -58.0, -20.0]
    assert silences(tail) == [(6, 13)]


def test_what_dies_away_before_it_is_silent_was_not_cut_off():
    assert silences([-20.0, -39.0, -45.0, -55.0] + [-80.0] * 8 + [-20.0]) == [(4, 12)]
    assert silences([-20.0, -39.0, -45.0, -50.0, -55.0] + [-80.0] * 8 + [-20.0]) == []
    assert silences([-41.0] * 10 + [-80.0] * 8 + [-20.0]) == []


@given(levels=st.lists(st.sampled_from([-20.0, -58.5, -80.0]), max_size=90), cuts=st.sets(st.integers(0, 90)))
def test_silences_do_not_depend_on_how_the_soundings_come(levels, cuts):
    assert silences(levels, sorted(cuts)) == silences(levels)


# --- overs


def test_no_over_is_nothing():
    assert overs([-1.0, 0.0, -3.0]) == []


def test_one_over_is_told_with_its_place_and_height():
    (found,) = overs([-6.0, 1.5, -6.0])
    assert (found.start, found.stop, found.top, found.count) == (101, 102, 101, 1)
    assert abs(found.peak_dbtp - 1.5) < 1e-5
    assert abs(found.severity - 0.15) < 1e-5


def test_overs_nearer_than_three_seconds_are_one():
    near = [1.0, *[-6.0] * NEAR_SLOTS, 2.0]
    assert [(found.start, found.stop, found.top) for found in overs(near)] == [(100, 132, 131)]
    far = [1.0, *[-6.0] * (NEAR_SLOTS + 1), 2.0]
    assert [(found.start, found.stop) for found in overs(far)] == [(100, 101), (132, 133)]


def test_a_peak_that_is_highest_in_the_sounding_after_the_over_began_is_part_of_it():
    (found,) = overs([0.2, 1.1, -6.0], counts=[1, 0, 0])
    assert (found.count, found.top) == (1, 101)


def test_what_is_over_is_told_by_the_limit_of_now_whatever_was_counted_against_another():
    (found,) = overs([-6.0, -0.5, -6.0], limit_dbtp=-1.0, counts=[0, 0, 0])
    assert (found.start, found.stop, found.count) == (101, 102, 1)
    assert overs([-6.0, -0.5, -6.0], counts=[0, 3, 0]) == []


def test_the_limit_is_the_one_that_is_given():
    assert len(overs([-0.5], limit_dbtp=-1.0)) == 1
    assert overs([-1.5], limit_dbtp=-1.0) == []


def test_whether_the_samples_themselves_are_over_is_told():
    assert not overs([1.0], samples=0.99)[0].samples_over
    assert overs([1.0], samples=32_767 / 32_768)[0].samples_over
    assert overs([0.5], limit_dbtp=-6.0, samples=0.6)[0].samples_over
