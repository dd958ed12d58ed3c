"""The glyphs of verdicts as shapes: the font need not have them, and they are sharp at every size."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPen, QPolygonF

ASPECT: Final = 1.0
"""Width of a glyph against its height."""


def paint(painter: QPainter, glyph: str, box: QRectF, colour: QColor) -> None:
    """Paint a glyph of `meter.targets.Verdict` into a box; one that is not known is written as text.

    Parameters
    ----------
    glyph : str
        "✓" inside, "▲" over, "▼" under, "…" not yet; "" paints nothing.
    box : QRectF
        Square, in the painter's units.
    """
    if not glyph:
        return
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    shape = SHAPES.get(glyph)
    if shape is None:
        painter.setPen(colour)
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, glyph)
    else:
        shape(painter, box, colour)
    painter.restore()


def _solid(painter: QPainter, colour: QColor) -> None:
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)


def _inside(painter: QPainter, box: QRectF, colour: QColor) -> None:
    width = 0.17 * box.height()
    pen = QPen(colour, width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolyline(_points(box, (0.12, 0.55), (0.40, 0.84), (0.90, 0.18)))


def _over(painter: QPainter, box: QRectF, colour: QColor) -> None:
    _solid(painter, colour)
    painter.drawPolygon(_points(box, (0.50, 0.08), (0.98, 0.90), (0.02, 0.90)))


def _under(painter: QPainter, box: QRectF, colour: QColor) -> None:
    _solid(painter, colour)
    painter.drawPolygon(_points(box, (0.50, 0.92), (0.98, 0.10), (0.02, 0.10)))


def _not_yet(painter: QPainter, box: QRectF, colour: QColor) -> None:
    _solid(painter, colour)
    radius = 0.10 * box.height()
    for x in (0.16, 0.50, 0.84):
        painter.drawEllipse(
            QPointF(box.left() + x * box.width(), box.bottom() - 0.22 * box.height()), radius, radius
        )


def _points(box: QRectF, *places: tuple[float, float]) -> QPolygonF:
    return QPolygonF([QPointF(box.left() + x * box.width(), box.top() + y * box.height()) for x, y in places])


SHAPES: Final[dict[str, Callable[[QPainter, QRectF, QColor], None]]] = {
    "✓": _inside,
    "▲": _over,
    "▼": _under,
    "…": _not_yet,
}
