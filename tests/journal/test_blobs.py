"""Soundings as bytes and back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.journal.blobs import form_from, form_text, in_todays_form, packed, unpacked
from meter.soundings import SOUNDING
from tests.journal.rows import any_rows, heard_rows


@given(seed=st.integers(0, 2**32 - 1), count=st.integers(0, 40))
def test_rows_come_back_bit_for_bit(seed, count):
    rows = any_rows(seed, count)
    assert unpacked(packed(rows), count).tobytes() == rows.tobytes()


def test_an_hour_of_stereo_takes_no_more_than_three_and_a_half_megabytes():
    minute = heard_rows(60.0, rate_hz=48_000)
    assert len(packed(minute)) * 60 < 3.5e6


def test_a_form_comes_back_from_its_text():
    assert form_from(form_text(SOUNDING)) == SOUNDING


def test_rows_of_an_older_form_are_read_and_what_they_lack_is_none_yet():
    older = np.dtype(
        [("start_frame", np.int64), ("frames", np.int32), ("k_power", np.float32, 2), ("gone", np.int8)]
    )
    rows = np.zeros(3, older)
    rows["start_frame"], rows["frames"], rows["k_power"] = [0, 800, 1600], 800, [[1, 2], [3, 4], [5, 6]]
    form = form_from(form_text(older))
    now = unpacked(packed(rows), 3, form)
    assert now.dtype == SOUNDING
    np.testing.assert_array_equal(now["start_frame"], [0, 800, 1600])
    np.testing.assert_array_equal(now["k_power"][:, :3], [[1, 2, 0], [3, 4, 0], [5, 6, 0]])
    assert np.isnan(now["momentary_max"]).all()
    assert not now["true_peak"].any()


def test_what_an_older_form_had_under_another_shape_fits_in():
    older = np.dtype([("ll", np.float32, 9)])
    rows = np.zeros(1, older)
    rows["ll"] = np.arange(9)
    np.testing.assert_array_equal(in_todays_form(rows)["ll"][0], [0, 1, 2, 3, 4])


def test_bytes_that_were_not_written_here_are_refused():
    with pytest.raises(ValueError, match="reshape"):
        unpacked(packed(any_rows(1, 4)), 5)
