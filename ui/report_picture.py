"""A report drawn as a PNG file; no window and no display is needed.

Qt sets the text, so that nothing is cut off: what does not fit in a line goes on in the next, and the
picture becomes as high as it must.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from meter.errors import OutputError
from meter.report.picture import MARGIN_PX, PAPER, TEXT_STYLE, WIDTH_PX, Picture
from ui.screen_check import why_no_picture

if TYPE_CHECKING:
    from PyQt6.QtGui import QTextDocument

MARK: Final = "Leadline report"
"""Stands in the file as its software; `meter.report_command` knows a report by it."""

GAP_PX: Final = 36


def draw(picture: Picture) -> bytes:
    """The PNG file.

    Raises
    ------
    OutputError
        Qt or the font cannot be used here.
    """
    why = why_no_picture()
    if why is None:
        from PyQt6.QtGui import QGuiApplication

        from ui import fonts

        # Kept until the end of the function: text needs one.
        application = QGuiApplication.instance() or QGuiApplication(["leadline", "-platform", "offscreen"])
        why = fonts.load()
    if why is not None:
        raise OutputError(f"no picture can be drawn: {why}; a page needs nothing of this: --to FILE.html")
    made = _drawn(picture)
    del application
    return made


def _drawn(picture: Picture) -> bytes:
    from PyQt6.QtCore import QBuffer, QByteArray, QIODevice, QRectF
    from PyQt6.QtGui import QColor, QImage, QPainter
    from PyQt6.QtSvg import QSvgRenderer

    width = WIDTH_PX - 2 * MARGIN_PX
    lanes = QSvgRenderer(QByteArray(picture.lanes.encode()))
    assert lanes.isValid(), "please report this: the lanes are no SVG"
    lanes_px = width * lanes.viewBoxF().height() / lanes.viewBoxF().width()
    head = _document(picture.head, width)
    lanes_top = MARGIN_PX + head.size().height() + GAP_PX
    placed, end = [(head, float(MARGIN_PX))], lanes_top + lanes_px
    for html in picture.body:
        placed.append((_document(html, width), end + GAP_PX))
        end = placed[-1][1] + placed[-1][0].size().height()
    image = QImage(WIDTH_PX, math.ceil(end + MARGIN_PX), QImage.Format.Format_RGB32)
    image.fill(QColor(PAPER))
    image.setText("Software", MARK)
    painter = QPainter(image)
    painter.setRenderHints(QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing)
    lanes.render(painter, QRectF(MARGIN_PX, lanes_top, width, lanes_px))
    for document, top in placed:
        painter.save()
        painter.translate(MARGIN_PX, top)
        document.drawContents(painter)
        painter.restore()
    painter.end()
    data = QByteArray()
    buffer = QBuffer(data)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")
    return data.data()


def _document(html: str, width_px: int) -> QTextDocument:
    from PyQt6.QtGui import QTextDocument, QTextOption

    from ui.fonts import font

    made = QTextDocument()
    made.setDocumentMargin(0.0)
    option = QTextOption()
    option.setWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
    made.setDefaultTextOption(option)
    made.setDefaultFont(font(32))
    made.setDefaultStyleSheet(TEXT_STYLE)
    made.setHtml(f"<body>{html}</body>")
    made.setTextWidth(width_px)
    return made
