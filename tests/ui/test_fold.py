import numpy as np

from ui import raster
from ui.fold import highest_of_each_beat

COLUMNS = 640  # ten for each of the 64 beats of a phrase


def whole(heights):
    """Heights with margins at both sides, as `curves.curve` gives them."""
    margin = np.full(raster.MARGIN * raster.FINE, np.nan)
    return np.concatenate([margin, heights, margin])


def test_a_line_goes_through_the_highest_place_of_each_beat():
    heights = np.full(COLUMNS * raster.FINE, 100.0)
    heights[10 * raster.FINE :: 10 * raster.FINE] = np.arange(1, 64)  # at the beginning of each later beat
    calm = highest_of_each_beat(whole(heights), COLUMNS)[raster.MARGIN * raster.FINE :]
    middles = calm[5 * raster.FINE : 640 * raster.FINE : 10 * raster.FINE]
    np.testing.assert_allclose(middles[1:], np.arange(1, 64), atol=0.1)


def test_where_nothing_was_heard_there_is_no_line():
    heights = np.full(COLUMNS * raster.FINE, 20.0)
    heights[100 * raster.FINE : 200 * raster.FINE] = np.nan
    line = whole(heights)
    calm = highest_of_each_beat(line, COLUMNS)
    np.testing.assert_array_equal(np.isnan(calm), np.isnan(line))
    nothing = np.full(len(line), np.nan)
    np.testing.assert_array_equal(highest_of_each_beat(nothing, COLUMNS), nothing)
