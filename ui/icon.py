"""The program's sign: a lead on its line, over the water line. Drawn, so that it is sharp at any size."""

from __future__ import annotations

from typing import Final

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QIcon, QPainter, QPainterPath, QPen, QPixmap

from ui.theme import LIGHT

SIZES_PX: Final = (16, 24, 32, 48, 64, 128, 256)
MARKS: Final = (0.30, 0.42, 0.54)
"""Where the line has its marks, in parts of the height."""


def icon() -> QIcon:
    """The sign in the sizes that desktops ask for; needs an application."""
    made = QIcon()
    for size_px in SIZES_PX:
        made.addPixmap(_drawn(size_px))
    return made


def _drawn(size_px: int) -> QPixmap:
    picture = QPixmap(size_px, size_px)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    try:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.scale(size_px, size_px)
        painter.setPen(Qt.PenStyle.NoPen)
        sheet = QPainterPath()
        sheet.addRoundedRect(QRectF(0.02, 0.02, 0.96, 0.96), 0.18, 0.18)
        painter.fillPath(sheet, QColor(LIGHT.paper))
        painter.setClipPath(sheet)
        painter.fillRect(QRectF(0.0, 0.22, 1.0, 0.78), QColor(LIGHT.fairway))
        _draw_line(painter)
    finally:
        painter.end()
    return picture


def _draw_line(painter: QPainter) -> None:
    ink = QColor(LIGHT.ink)
    painter.setPen(QPen(QColor(LIGHT.series[0]), 0.05))
    painter.drawLine(QPointF(0.0, 0.22), QPointF(1.0, 0.22))
    painter.setPen(QPen(ink, 0.06))
    painter.drawLine(QPointF(0.5, 0.0), QPointF(0.5, 0.66))
    painter.setPen(QPen(QColor(LIGHT.series[1]), 0.06))
    for at in MARKS:
        painter.drawLine(QPointF(0.38, at), QPointF(0.62, at))
    lead = QPainterPath(QPointF(0.44, 0.62))
    lead.lineTo(0.56, 0.62)
    lead.lineTo(0.64, 0.92)
    lead.lineTo(0.36, 0.92)
    lead.closeSubpath()
    painter.fillPath(lead, ink)
