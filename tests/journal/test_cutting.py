"""Live sound cut into passes while it comes, as the list of passes of the window cuts it afterwards."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.journal.cutting import Cutter
from meter.journal.replay import timeline_of
from meter.pass_cutter import PassCutter
from meter.soundings import AFTER_GAP, BEFORE_GAP
from tests.journal.rows import RATE_HZ, live_pass, rows_of

LOUD, QUIET = 0.1, 0.0001


def rows_with(stretches, seed=0):
    rng = np.random.default_rng(seed)
    sound = [rng.standard_normal((round(s * RATE_HZ), 2)) * level for s, level in stretches]
    return rows_of(np.concatenate(sound))


def cut(rows, cuts=(), *, is_set=False):
    cutter, pieces = Cutter((1.0, 1.0), is_set=is_set), []
    for part in np.split(rows, sorted(cuts)):
        pieces += cutter.take(part, is_withheld=False)
    pieces += cutter.end()
    passes = []
    for piece in pieces:
        if piece.begins:
            passes.append([])
        passes[-1] += piece.rows["start_frame"].tolist()
    assert sum(piece.begins for piece in pieces) == sum(piece.ends for piece in pieces)
    return passes


def cut_afterwards(rows, *, is_set=False):
    one = live_pass()
    one.add(rows, is_withheld=False)
    cutter = PassCutter()
    cutter.is_set = is_set
    cutter.take(timeline_of(one))
    return [listed.rows()["start_frame"].tolist() for listed in cutter.passes]


@settings(max_examples=25)
@given(
    stretches=st.lists(
        st.tuples(st.sampled_from([0.3, 1.0, 4.9, 5.0, 5.3, 7.0]), st.sampled_from([LOUD, QUIET, 0.0])),
        min_size=1,
        max_size=6,
    ),
    data=st.data(),
)
def test_passes_are_cut_while_they_come_as_they_are_cut_afterwards(stretches, data):
    rows = rows_with(stretches)
    cuts = data.draw(st.lists(st.integers(0, len(rows)), max_size=5))
    assert cut(rows, cuts) == cut_afterwards(rows)


def test_a_pass_ends_after_as_many_quiet_soundings_as_afterwards():
    counts = set()
    for slots in range(44, 58):
        rows = rows_with([(1.0, LOUD), (slots / 10, 0.0), (1.0, LOUD)])
        passes = cut(rows)
        assert passes == cut_afterwards(rows)
        counts.add(len(passes))
    assert counts == {1, 2}


def test_silence_of_five_seconds_ends_a_pass_and_is_not_kept():
    passes = cut(rows_with([(2.0, LOUD), (8.0, 0.0), (2.0, LOUD)]))
    assert len(passes) == 2
    assert [len(one) for one in passes] == pytest.approx([22, 22], abs=2)


def test_a_pause_of_three_seconds_stays_inside_a_pass():
    rows = rows_with([(2.0, LOUD), (3.0, 0.0), (2.0, LOUD)])
    assert cut(rows) == [rows["start_frame"].tolist()]


def test_a_gap_ends_a_pass():
    rows = rows_with([(4.0, LOUD)])
    rows["flags"][20] |= AFTER_GAP
    passes = cut(rows)
    assert [one[0] for one in passes] == [0, 20 * RATE_HZ // 10]
    assert len(passes[0]) == 20


def test_silence_alone_is_no_pass():
    assert cut(rows_with([(9.0, 0.0)])) == []


def test_withheld_soundings_are_counted_with_their_pass():
    rows = rows_with([(2.0, LOUD)])
    cutter = Cutter((1.0, 1.0))
    pieces = cutter.take(rows[:10], is_withheld=False) + cutter.take(rows[10:], is_withheld=True)
    assert [piece.withheld_rows for piece in pieces] == [0, len(rows) - 10]


def with_gaps(rows, ats, lost_frames=4000):
    """The same with so much lost before some of the soundings."""
    for at in ats:
        rows["start_frame"][at:] += lost_frames
        rows["flags"][at] |= AFTER_GAP
        rows["flags"][at - 1] |= BEFORE_GAP
    return rows


@settings(max_examples=15)
@given(
    stretches=st.lists(
        st.tuples(st.sampled_from([1.0, 4.9, 7.0]), st.sampled_from([LOUD, QUIET, 0.0])),
        min_size=1,
        max_size=5,
    ),
    data=st.data(),
)
def test_a_set_is_one_pass_from_its_first_sound_to_its_end_whatever_comes_between(stretches, data):
    rows = rows_with(stretches)
    gaps = data.draw(st.sets(st.integers(1, len(rows) - 2), max_size=3)) if len(rows) > 3 else ()
    rows = with_gaps(rows, sorted(gaps))
    passes = cut(rows, is_set=True)
    assert passes == cut_afterwards(rows, is_set=True)
    assert len(passes) == any(level == LOUD for _, level in stretches) or gaps
    if passes:
        assert len(passes) == 1
        assert passes[0] == rows["start_frame"][len(rows) - len(passes[0]) :].tolist()


def test_a_pass_can_become_a_set_while_it_is_heard():
    rows = rows_with([(2.0, LOUD), (8.0, 0.0), (2.0, LOUD), (8.0, 0.0), (2.0, LOUD)])
    cutter = Cutter((1.0, 1.0))
    pieces = cutter.take(rows[:30], is_withheld=False)
    cutter.is_set = True
    pieces += cutter.take(rows[30:150], is_withheld=False)
    assert [piece.begins for piece in pieces] == [True, False]
    assert sum(len(piece.rows) for piece in pieces) == 150
    cutter.is_set = False
    pieces = cutter.take(rows[150:], is_withheld=False) + cutter.end()
    assert [(piece.begins, piece.ends) for piece in pieces] == [(False, True), (True, False), (False, True)]
