"""Borders of tunes and jumps in made-up sets, whose truth is known, and laws that hold for any."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.tunes.borders import LEAST_JUMP_DB, borders_in, levels_at
from tests.tunes.made_sets import made_set
from tests.tunes.score import Score, score


def check(found: Score):
    assert found.sure > 0
    assert found.found / found.sure >= 0.95, found
    assert found.told_too_small <= 0.003 * found.blends, found
    assert max(found.false_a_set) <= 4, found
    assert np.mean(np.array(found.false_a_set) <= 1) >= 0.95, found
    assert np.mean(np.array(found.size_errors_db) <= 0.3) >= 0.9, found
    assert np.percentile(found.size_errors_db, 95) <= 0.4, found
    assert max(found.time_errors) <= 1.0, found  # of 8 s or half the blend


def test_jumps_of_made_up_sets_are_found_with_their_place_and_size():
    check(score(made_set(seed) for seed in range(30)))


@pytest.mark.long
def test_jumps_of_two_hundred_made_up_sets_are_found():
    found = score(made_set(seed) for seed in range(1000, 1200))
    print(found)
    check(found)


def test_a_breakdown_is_no_border_and_silence_is_one():
    tune = np.full(200, -8.0)
    tune[60:120] = -17.0
    assert borders_in(tune) == []
    silent = np.concatenate([np.full(150, -8.0), np.full(12, -np.inf), np.full(150, -8.2)])
    assert borders_in(silent) == [pytest.approx(154.5, abs=1.0)]


def test_without_enough_to_hear_there_is_no_border():
    for length in range(0, 60, 7):
        assert borders_in(np.full(length, -8.0)) == []
        assert borders_in(np.full(length, np.nan)) == []
        assert borders_in(np.full(length, -np.inf)) == []


def test_what_was_lost_in_between_moves_no_border():
    lufs = np.concatenate([np.full(150, -8.0), np.full(150, -6.0)])
    lufs[50:90] = np.nan
    (border,) = borders_in(lufs)
    assert border == pytest.approx(148.5, abs=1.0)
    assert levels_at(lufs, [border]) == [(pytest.approx(-8.0), pytest.approx(-6.0))]


@given(size=st.floats(-4.0, 4.0), at=st.integers(80, 220), gain=st.floats(-20.0, 5.0))
def test_a_clean_step_is_a_border_where_it_is_when_it_is_a_jump_at_any_gain(size, at, gain):
    lufs = np.full(300, -8.0 + gain)
    lufs[at:] += size
    found = borders_in(lufs)
    if abs(size) >= LEAST_JUMP_DB + 1e-6:
        assert found == [pytest.approx(at - 1.5, abs=1.0)]
        ((before, after),) = levels_at(lufs, found)
        assert after - before == pytest.approx(size, abs=1e-6)
    elif abs(size) < LEAST_JUMP_DB - 1e-6:
        assert found == []


def test_levels_at_a_border_that_the_user_set_are_those_of_its_own_tunes():
    lufs = np.concatenate([np.full(200, -8.0), np.full(200, -5.0)])
    found = levels_at(lufs, [100.0, 198.5])
    assert found == [(-8.0, -8.0), (-8.0, -5.0)]
