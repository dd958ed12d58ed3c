"""Curves in columns: how much of each pixel they cover."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.examples import a_quarter
from ui import raster
from ui.raster import FINE, MARGIN


def paper(rows, columns):
    """A white picture."""
    return np.full((rows, columns, 4), 255, np.uint8)


def ink(picture):
    """How much of each pixel black covers."""
    return (255.0 - picture[:, :, 0].astype(float)) / 255.0


def level(y, columns):
    return np.full((columns + 2 * MARGIN) * FINE, float(y))


@pytest.mark.parametrize("y", [10.0, 10.3, 10.5, 10.77])
@pytest.mark.parametrize("width", [1.0, 2.2, 3.0])
def test_a_level_line_is_as_thick_as_its_pen_wherever_it_lies(y, width):
    picture = paper(21, 30)
    raster.stroke(picture, level(y, 30), width=width, colour="#000000")
    assert ink(picture).sum(axis=0) == pytest.approx(np.full(30, width), abs=0.03)
    rows = np.arange(21) + 0.5
    assert (ink(picture) * rows[:, None]).sum(axis=0) / width == pytest.approx(np.full(30, y), abs=0.05)


def test_a_peak_stands_out_by_no_more_than_half_the_pen():
    y = level(30.0, 40)
    y[len(y) // 2 - 2 : len(y) // 2 + 2] = 5.0
    picture = paper(60, 40)
    raster.stroke(picture, y, width=2.0, colour="#000000")
    reached = np.flatnonzero(ink(picture).max(axis=1) > 0.02)
    assert reached[0] == 4
    assert reached[-1] == 30


def test_a_steep_line_has_no_holes():
    y = np.linspace(0.0, 200.0, (20 + 2 * MARGIN) * FINE)
    picture = paper(200, 20)
    raster.stroke(picture, y, width=1.2, colour="#000000")
    first = round(y[MARGIN * FINE]) + 1
    last = round(y[-MARGIN * FINE - 1]) - 1
    assert ink(picture).max(axis=1)[first:last].min() > 0.1


def test_where_there_is_no_number_nothing_is_drawn():
    y = level(10.0, 30)
    y[(MARGIN + 10) * FINE : (MARGIN + 20) * FINE] = np.nan
    picture = paper(20, 30)
    raster.stroke(picture, y, width=1.0, colour="#000000")
    assert ink(picture)[:, 12:18].max() == 0.0
    assert ink(picture)[:, :9].sum(axis=0).min() > 0.9


def test_all_of_it_missing_is_no_mistake():
    picture = paper(20, 30)
    raster.stroke(picture, np.full((30 + 2 * MARGIN) * FINE, np.nan), width=1.0, colour="#000000")
    assert ink(picture).max() == 0.0


@a_quarter()
@given(
    y=st.lists(st.floats(-20.0, 60.0), min_size=300, max_size=300),
    cut=st.integers(1, 299),
)
def test_drawn_in_two_pieces_it_is_the_same(y, cut):
    columns = 300
    fine = np.repeat(np.array([*y[:MARGIN], *y, *y[-MARGIN:]]), FINE)
    whole, pieces = paper(40, columns), paper(40, columns)
    raster.stroke(whole, fine, width=1.7, colour="#4080c0")
    for first, last in ((0, cut), (cut, columns)):
        part = fine[first * FINE : (last + 2 * MARGIN) * FINE]
        raster.stroke(pieces[:, first:last], part, width=1.7, colour="#4080c0")
    # One step of 255 may differ: sums are formed in another order.
    assert np.abs(whole.astype(int) - pieces.astype(int)).max() <= 1


def test_a_fill_covers_what_is_between_and_no_more():
    picture = paper(20, 10)
    raster.fill(picture, np.full(10, 4.5), np.full(10, 9.0), colour="#000000", share=1.0)
    assert ink(picture)[:, 3].tolist() == pytest.approx([0] * 4 + [0.5] + [1] * 4 + [0] * 11, abs=0.01)


def test_a_fill_takes_so_much_of_a_colour():
    picture = paper(4, 4)
    raster.fill(picture, np.zeros(4), np.full(4, 4.0), colour="#ff0000", share=0.5)
    assert picture[0, 0, :3].tolist() == [128, 128, 255]


def test_a_dashed_line_is_there_in_part():
    picture = paper(20, 8)
    dash = np.repeat([1.0, 0.0] * 4, FINE)
    raster.stroke(picture, level(10.0, 8), width=2.0, colour="#000000", dash=dash)
    assert ink(picture).sum(axis=0) == pytest.approx([2.0, 0.0] * 4, abs=0.05)
