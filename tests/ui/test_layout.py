"""Where the lanes lie."""

import pytest

from ui import flag
from ui.layout import Layout

WEIGHTS = [1.8, 1.3, 1.0, 1.2]


def of(width, height, *, ratio=1.0, is_large=False, weights=WEIGHTS):
    return Layout.of(width, height, weights=weights, is_large=is_large, device_ratio=ratio)


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("size", [(1040, 580), (2400, 1300), (701, 399)])
def test_plots_lie_on_whole_device_pixels(qapp, size, ratio):
    layout = of(*size, ratio=ratio)
    for number, box in enumerate(layout.lanes):
        for edge in (box.plot.left(), box.plot.top(), box.plot.width(), box.plot.height()):
            assert edge * ratio == pytest.approx(round(edge * ratio), abs=1e-6)
        assert layout.rows(number) == round(box.plot.height() * ratio)


@pytest.mark.parametrize("size", [(1040, 580), (2400, 1300), (420, 320), (300, 330)])
@pytest.mark.parametrize("is_large", [False, True])
def test_lanes_lie_one_under_another_above_the_axis(qapp, size, is_large):
    layout = of(*size, is_large=is_large)
    bottoms = [box.plot.bottom() for box in layout.lanes]
    tops = [box.title.top() for box in layout.lanes]
    assert all(bottom <= top for bottom, top in zip(bottoms, tops[1:], strict=False))
    assert bottoms[-1] <= layout.axis.top()
    assert layout.axis.bottom() <= size[1]


@pytest.mark.parametrize("is_large", [False, True])
@pytest.mark.parametrize("width", [300, 420, 620, 640, 900, 1280, 2560])
def test_flags_end_within_the_widget_and_leave_half_of_it_to_the_plot(qapp, width, is_large):
    from ui.layout import HALYARD

    layout = of(width, 580, is_large=is_large)
    assert layout.axis.right() + HALYARD + layout.flag.width <= width
    assert layout.axis.width() >= 0.2 * width


def test_what_asks_for_more_gets_more(qapp):
    heights = [box.plot.height() for box in of(1040, 580).lanes]
    assert heights[0] > heights[1] > heights[3] > heights[2]
    assert heights[0] / heights[2] == pytest.approx(1.8, abs=0.03)


def test_narrow_and_low_windows_take_the_small_flags(qapp):
    assert of(420, 580).flag is flag.SMALL
    assert of(1040, 300).flag is flag.SMALL
    assert of(1040, 580).flag is flag.NORMAL
    assert of(1040, 580, is_large=True).flag is flag.LARGE
    assert of(420, 580, is_large=True).flag is flag.SMALL
