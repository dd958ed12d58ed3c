import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.errors import UsageError
from meter.phrases import phrases


def test_sixteen_bars_at_120_bpm_are_32_seconds():
    assert phrases(0, 1000, 120.0, 0.0) == [(0, 320), (320, 640), (640, 960), (960, 1000)]


def test_the_downbeat_counts_from_the_beginning_of_the_pass():
    assert phrases(100, 800, 120.0, 1.0)[0] == (110, 430)


def test_a_downbeat_in_the_middle_also_tells_the_phrases_before_it():
    assert phrases(0, 1000, 120.0, 65.0) == phrases(0, 1000, 120.0, 1.0)


def test_a_downbeat_before_the_pass_is_one_of_the_same_row():
    assert phrases(0, 1000, 120.0, -31.0) == phrases(0, 1000, 120.0, 1.0)


@given(
    first=st.integers(0, 10_000),
    slots=st.integers(0, 30_000),
    bpm=st.floats(30.0, 400.0),
    downbeat_s=st.floats(-100.0, 3000.0),
)
def test_phrases_follow_each_other_on_the_beat_and_lie_in_the_pass(first, slots, bpm, downbeat_s):
    found = phrases(first, first + slots, bpm, downbeat_s)
    exact = 16 * 4 * 600.0 / bpm
    for start, stop in found:
        assert first <= start < stop <= first + slots
        from_the_beat = (start - first - downbeat_s * 10.0) / exact
        assert abs(from_the_beat - round(from_the_beat)) * exact <= 0.51
    assert {stop - start for start, stop in found[:-1]} <= {round(exact)}
    if slots > 2 * exact:
        assert len(found) >= slots // exact


@pytest.mark.parametrize("bpm", [0.0, 29.9, 401.0, float("nan")])
def test_a_tempo_that_cannot_be_meant_is_refused(bpm):
    with pytest.raises(UsageError, match=r"the tempo is \S+ BPM, but 30 to 400 was expected; give beats"):
        phrases(0, 100, bpm, 0.0)


def test_a_downbeat_that_is_no_number_is_refused():
    with pytest.raises(UsageError, match="the first downbeat is nan s, but a time in the pass was expected"):
        phrases(0, 100, 120.0, float("nan"))
