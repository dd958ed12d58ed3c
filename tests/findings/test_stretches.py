from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from meter.dsp.stereo import fold_loss_db
from meter.findings.stretches import StretchFinder, is_lower, loses_more_than
from meter.music_sentences import balance_db

GOOD = (1.0, 1.0, 1.0)
APART = (1.0, 1.0, -0.3)  # loses 4.6 dB
powers = st.floats(0.01, 1.0)


def of(*parts):
    """Sums of left, right and product: so many soundings of each kind."""
    return np.concatenate([np.tile(np.array(sums), (count, 1)) for sums, count in parts])


def found_in(finder, sums, heard=None, cuts=()):
    found, heard = [], np.ones(len(sums), bool) if heard is None else heard
    edges = [0, *cuts, len(sums)]
    for start, stop in pairwise(edges):
        found += finder.take(sums[start:stop], heard[start:stop])
    return [(one.start, one.stop) for one in [*found, *finder.end()]]


@given(ll=powers, rr=powers, share=st.floats(-1.0, 1.0), lowest_db=st.floats(-20.0, -0.1))
def test_the_condition_is_that_more_is_lost_in_mono_than_allowed(ll, rr, share, lowest_db):
    lr = share * np.sqrt(ll * rr)
    loss_db = fold_loss_db(ll, rr, lr)
    assume(abs(loss_db - lowest_db) > 1e-6)
    weights = loses_more_than(lowest_db).begins
    assert (np.dot(weights, (ll, rr, lr)) > 0.0) == (loss_db < lowest_db)


@given(ll=powers, rr=powers, apart_db=st.floats(1.0, 15.0))
def test_the_condition_is_that_one_side_is_so_far_under_the_other(ll, rr, apart_db):
    assume(abs(abs(balance_db(ll, rr)) - apart_db) > 1e-6)
    for right, under_db in ((True, -balance_db(ll, rr)), (False, balance_db(ll, rr))):
        weights = is_lower(apart_db, right=right).begins
        assert (np.dot(weights, (ll, rr, 0.0)) > 0.0) == (under_db > apart_db)


def test_a_stretch_begins_and_ends_where_it_turns_though_it_is_seen_over_three_seconds():
    sums = of((GOOD, 100), (APART, 40), (GOOD, 100))
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums) == [(100, 140)]


def test_what_is_short_and_made_up_for_within_three_seconds_is_no_stretch():
    sums = of((GOOD, 100), (APART, 5), (GOOD, 100))
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums) == []


def test_a_stretch_from_the_first_sounding_to_the_last_is_whole():
    sums = of((APART, 45))
    finder = StretchFinder(loses_more_than(-1.0))
    finder.take(sums, np.ones(45, bool))
    assert (finder.open.start, finder.open.stop) == (0, 45)
    assert finder.open.sums == pytest.approx((45.0, 45.0, -13.5))
    assert [(one.start, one.stop) for one in finder.end()] == [(0, 45)]
    assert finder.open is None


def test_where_it_is_too_quiet_to_speak_of_there_is_no_stretch():
    sums = of((GOOD, 50), (APART, 50), (GOOD, 50))
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums, np.zeros(150, bool)) == []


def test_near_the_limit_it_does_not_begin_and_end_again_and_again():
    a_little = np.array([1.0, 1.0, 0.62])  # 0.92 dB: under the limit of 1, over three quarters of it
    much = np.array([1.0, 1.0, 0.45])
    sums = np.array([much if k % 60 < 30 else a_little for k in range(600)])
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums) == [(0, 570)]


def test_a_long_ebb_is_no_part_of_it():
    a_little, much = (1.0, 1.0, 0.62), (1.0, 1.0, 0.45)
    finder, sums = StretchFinder(loses_more_than(-1.0)), of((much, 60), (a_little, 900))
    assert found_in(finder, sums) == [(0, 60)]
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums, cuts=range(10, 960, 10)) == [(0, 60)]


@pytest.mark.parametrize("cuts", [(), (40, 95, 111, 130)])
def test_the_worst_three_seconds_of_a_stretch_are_known(cuts):
    sums = of(((1.0, 1.0, 0.3), 100), ((1.0, 1.0, -0.5), 40), ((1.0, 1.0, 0.3), 100))
    finder = StretchFinder(loses_more_than(-1.0))
    for start, stop in pairwise([0, *cuts, len(sums)]):
        finder.take(sums[start:stop], np.ones(stop - start, bool))
    (found,) = finder.end()
    assert (found.start, found.stop) == (0, 240)
    assert 100 <= found.worst_start <= 110
    assert fold_loss_db(*found.worst_sums) == pytest.approx(10 * np.log10((1 - 0.5) / 2))


def test_it_is_told_whether_it_goes_on():
    finder = StretchFinder(loses_more_than(-1.0))
    for count, goes_on in ((60, True), (20, True), (20, False)):
        sums = (1.0, 1.0, 0.45 if count == 60 else 0.62)
        finder.take(of((sums, count)), np.ones(count, bool))
        assert (finder.open.start, finder.open.stop, finder.open.goes_on) == (0, 60, goes_on)


@given(seed=st.integers(0, 50))
def test_as_a_whole_a_stretch_meets_its_condition(seed):
    rng = np.random.default_rng(seed)
    sums = of(*(((1.0, 1.0, rng.uniform(0.3, 0.9)), int(rng.integers(1, 60))) for _ in range(30)))
    finder = StretchFinder(loses_more_than(-1.0))
    for one in [*finder.take(sums, np.ones(len(sums), bool)), *finder.end()]:
        assert one.sums == pytest.approx(sums[one.start : one.stop].sum(axis=0))
        assert fold_loss_db(*one.sums) < -1.0


def test_a_quiet_stretch_right_after_a_loud_good_part_is_found():
    sums = np.concatenate([of((GOOD, 60)) * 1000.0, of((APART, 60)), of((GOOD, 60))])
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums) == [(60, 120)]


def test_a_beginning_that_was_too_quiet_to_be_heard_is_found_when_it_is_heard():
    sums = np.concatenate([of((GOOD, 60)), of((APART, 35)) * 1e-4, of((APART, 30)), of((GOOD, 60))])
    heard = np.ones(len(sums), bool)
    heard[60:95] = False
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums, heard) == [(60, 125)]


def test_a_second_stretch_begins_behind_the_first_one():
    sums = of((APART, 30), (GOOD, 33), (APART, 40), (GOOD, 40))
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums) == [(0, 30), (63, 103)]


def test_what_was_told_already_begins_no_second_stretch():
    # One sounding too quiet to speak of ends the first; the 3 s behind it are still over, by what was told.
    sums, heard = of((APART, 30), (GOOD, 8)), np.ones(38, bool)
    heard[31] = False
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums, heard) == [(0, 30)]


@given(cuts=st.lists(st.integers(0, 400), max_size=10), seed=st.integers(0, 20))
def test_stretches_do_not_depend_on_how_the_soundings_come(cuts, seed):
    rng = np.random.default_rng(seed)
    kinds = [GOOD, APART, (0.01, 0.01, -0.005)]
    sums = of(*((kinds[rng.integers(3)], int(rng.integers(1, 80))) for _ in range(12)))[:400]
    heard = rng.random(len(sums)) > 0.01
    cuts = sorted(min(cut, len(sums)) for cut in cuts)
    expected = found_in(StretchFinder(loses_more_than(-1.0)), sums, heard)
    assert found_in(StretchFinder(loses_more_than(-1.0)), sums, heard, cuts) == expected
