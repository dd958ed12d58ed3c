"""Verdicts are told apart by shape alone."""

import pytest
from PyQt6.QtCore import QRectF
from PyQt6.QtGui import QColor, QImage, QPainter

from meter.targets import Verdict
from ui import verdict_glyph


def picture(glyph):
    image = QImage(24, 24, QImage.Format.Format_RGB32)
    image.fill(QColor("white"))
    painter = QPainter(image)
    verdict_glyph.paint(painter, glyph, QRectF(2, 2, 20, 20), QColor("black"))
    painter.end()
    return {(x, y) for x in range(24) for y in range(24) if image.pixelColor(x, y).lightness() < 128}


@pytest.mark.parametrize("verdict", list(Verdict))
def test_every_verdict_has_a_shape_of_its_own(qapp, verdict):
    assert verdict.glyph in verdict_glyph.SHAPES
    mine = picture(verdict.glyph)
    assert len(mine) > 10
    for other in Verdict:
        if other is not verdict:
            assert len(mine ^ picture(other.glyph)) > 0.5 * len(mine)


def test_without_a_verdict_nothing_is_drawn(qapp):
    assert picture("") == set()


def test_over_points_up_and_under_points_down(qapp):
    over, under = picture("▲"), picture("▼")
    assert {(x, 23 - y) for x, y in over} ^ under == set() or len(
        {(x, 23 - y) for x, y in over} ^ under
    ) < 0.15 * len(over)
    assert sum(1 for _, y in over if y >= 12) > sum(1 for _, y in over if y < 12)
