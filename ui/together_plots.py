"""Kick and sub together, drawn: what each hit adds or cancels, and what polarity and place change."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QLineF, QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from meter.kick_and_sub import MOVE
from meter.soundings import as_text_time
from ui import fonts
from ui.style import SMALL_PX, typeset
from ui.theme import Theme, worn

if TYPE_CHECKING:
    from meter.kick_and_sub import Together

STEP_DB: Final = 3.0
TOP_DB: Final = 4.0
"""Two that are alike come to +3.01 dB."""
LOWEST_DB: Final = -24.0
LEFT_PX: Final = 52.0
RIGHT_PX: Final = 14.0
BELOW_PX: Final = 24.0
DOT_PX: Final = 3.5
MOST_DOTS: Final = 2000
"""More than that could not be told apart; the lowest of each group is kept."""
TICKS_S: Final = (0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0)
TICK_PX: Final = 90.0


class GainPlot(QWidget):
    """Paper with an axis of decibels; 0 dB is both apart.

    Parameters
    ----------
    name, spoken : str
        What it is, and the same in words.
    low_db : float
        The lowest that is drawn on it.
    first, last : float
        What the other axis spans.
    """

    def __init__(self, name: str, spoken: str, *, low_db: float, first: float, last: float) -> None:
        super().__init__()
        self.setAccessibleName(name)
        self.setAccessibleDescription(spoken)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(130)
        self._first, self._last = first, last
        self.low_db = max(LOWEST_DB, min(-2.0 * STEP_DB, STEP_DB * math.floor(low_db / STEP_DB))) - 1.0

    def sizeHint(self) -> QSize:
        """Wide and low."""
        return QSize(640, 152)

    def plot(self) -> QRectF:
        """Where it is drawn, inside the axes."""
        return QRectF(self.rect()).adjusted(LEFT_PX, 6.0, -RIGHT_PX, -BELOW_PX)

    def point(self, at: float, level_db: float) -> QPointF:
        """Where a level lies; what is lower than the axis lies on its lower end."""
        plot = self.plot()
        x = plot.left() + (at - self._first) / (self._last - self._first) * plot.width()
        share = (TOP_DB - max(level_db, self.low_db)) / (TOP_DB - self.low_db)
        return QPointF(x, plot.top() + share * plot.height())

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """Axes, then what is on them."""
        theme = worn(self.palette())
        painter = QPainter(self)
        try:
            self._paint_axes(painter, theme)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setClipRect(self.plot().adjusted(-2.0 * DOT_PX, -2.0, 2.0 * DOT_PX, 2.0 * DOT_PX))
            self.paint_content(painter, theme)
        finally:
            painter.end()

    def ticks(self) -> list[tuple[float, str]]:
        """Where the other axis has its numbers."""
        raise NotImplementedError

    def paint_content(self, painter: QPainter, theme: Theme) -> None:
        """What is on it."""
        raise NotImplementedError

    def _paint_axes(self, painter: QPainter, theme: Theme) -> None:
        plot, metrics = self.plot(), fonts.metrics(SMALL_PX)
        painter.setFont(fonts.font(SMALL_PX))
        steps = range(math.ceil(self.low_db / STEP_DB), math.floor(TOP_DB / STEP_DB) + 1)
        every = max(1, math.ceil(metrics.height() * len(steps) / plot.height()))
        for step in steps:
            y = self.point(self._first, step * STEP_DB).y()
            colour = theme.edge if step == 0 else theme.hairline
            painter.fillRect(QRectF(plot.left(), round(y), plot.width(), 1.0), QColor(colour))
            if step % every == 0:
                painter.setPen(QColor(theme.ink_soft))
                text = typeset(f"{step * STEP_DB:+g}") if step else "0 dB"
                box = QRectF(0.0, y - metrics.height() / 2.0, LEFT_PX - 8.0, metrics.height())
                painter.drawText(box, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        painter.setPen(QColor(theme.ink_soft))
        for at, text in self.ticks():
            x = self.point(at, 0.0).x()
            painter.fillRect(QRectF(round(x), plot.bottom(), 1.0, 4.0), QColor(theme.edge))
            wide = metrics.horizontalAdvance(text)
            left = min(max(x - wide / 2.0, 0.0), self.width() - wide)
            painter.drawText(QPointF(left, plot.bottom() + 6.0 + metrics.ascent()), text)


class HitsPlot(GainPlot):
    """A dot for each hit; a thread from it up to the best that it could have."""

    def __init__(self, found: Together, spoken: str) -> None:
        hits = found.hits
        every = math.ceil(len(hits) / MOST_DOTS)
        groups = [hits[k : k + every] for k in range(0, len(hits), every)] if hits else []
        self.hits = tuple(min(group, key=lambda hit: hit.g_db) for group in groups)
        first = self.hits[0].at_s if self.hits else 0.0
        last = self.hits[-1].at_s if self.hits else 0.0
        margin = max(0.02 * (last - first), 0.25)
        super().__init__(
            "Each hit",
            spoken,
            low_db=min((hit.g_db for hit in self.hits), default=0.0),
            first=max(first - margin, 0.0),
            last=last + margin,
        )

    def ticks(self) -> list[tuple[float, str]]:
        """Minutes and seconds."""
        most = max(self.plot().width() / TICK_PX, 1.0)
        span = self._last - self._first
        step = next((step for step in TICKS_S if span / step <= most), 600.0)
        first = math.ceil(self._first / step)
        places = [k * step for k in range(first, math.floor(self._last / step) + 1)]
        return [(at_s, as_text_time(at_s).removesuffix(".0")) for at_s in places]

    def paint_content(self, painter: QPainter, theme: Theme) -> None:
        """Threads, then dots."""
        painter.setPen(QPen(QColor(theme.edge), 1.0))
        painter.drawLines(
            [QLineF(self.point(hit.at_s, hit.g_db), self.point(hit.at_s, hit.best_db)) for hit in self.hits]
        )
        for hit in self.hits:
            cancels = hit.g_db < 0.0
            colour = QColor(theme.series[1 if cancels else 0])
            painter.setPen(QPen(colour, 1.4))
            painter.setBrush(colour if cancels else QColor(theme.paper))
            painter.drawEllipse(self.point(hit.at_s, hit.g_db), DOT_PX, DOT_PX)


class ScanPlot(GainPlot):
    """Two curves over the place of the sub; a mark at how it is, and one at what is suggested."""

    def __init__(self, found: Together, spoken: str) -> None:
        assert found.places_s is not None and found.scan_db is not None, "there are hits enough"
        self.found, self.places_ms, self.scan_db = found, 1000.0 * found.places_s, found.scan_db
        super().__init__(
            "Polarity and place of the sub",
            spoken,
            low_db=float(self.scan_db.min()),
            first=float(self.places_ms[0]),
            last=float(self.places_ms[-1]),
        )

    def ticks(self) -> list[tuple[float, str]]:
        """Milliseconds."""
        texts = {-12: "12 ms earlier", 0: "where it is", 12: "12 ms later"}
        return [(float(ms), texts.get(ms, str(abs(ms)))) for ms in range(-12, 13, 4)]

    def paint_content(self, painter: QPainter, theme: Theme) -> None:
        """Curves, their names, marks."""
        for row, style in ((1, Qt.PenStyle.DashLine), (0, Qt.PenStyle.SolidLine)):
            points = [self.point(ms, level) for ms, level in zip(self.places_ms, self.scan_db[row])]
            pen = QPen(QColor(theme.series[row]), 1.6, style)
            painter.setPen(pen)
            painter.drawPolyline(points)
        found = self.found
        self._mark(painter, theme, 0, 0.0, found.g_db, is_filled=False)
        if found.verdict == MOVE:
            best_ms = 1000.0 * found.lag_s
            self._mark(painter, theme, int(found.flips), best_ms, found.best_db, is_filled=True)

    def _mark(
        self, painter: QPainter, theme: Theme, row: int, ms: float, level_db: float, *, is_filled: bool
    ) -> None:
        colour = QColor(theme.series[row])
        painter.setPen(QPen(colour, 2.0))
        painter.setBrush(colour if is_filled else QColor(theme.paper))
        painter.drawEllipse(self.point(ms, level_db), 5.0, 5.0)


class Key(QWidget):
    """Says which curve is which: a piece of each, and its name.

    Parameters
    ----------
    names : sequence of str
        Of the rows of a `ScanPlot`.
    """

    LINE_PX: Final = 34.0

    def __init__(self, *names: str) -> None:
        super().__init__()
        self._names = names
        self.setAccessibleName("")
        self.setFixedHeight(round(fonts.metrics(SMALL_PX).height()) + 4)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        """One behind the other."""
        theme, metrics = worn(self.palette()), fonts.metrics(SMALL_PX)
        painter = QPainter(self)
        try:
            painter.setFont(fonts.font(SMALL_PX))
            x, y = LEFT_PX, self.height() / 2.0
            for row, name in enumerate(self._names):
                style = Qt.PenStyle.DashLine if row else Qt.PenStyle.SolidLine
                painter.setPen(QPen(QColor(theme.series[row]), 1.6, style))
                painter.drawLine(QLineF(x, y, x + self.LINE_PX, y))
                painter.setPen(QColor(theme.ink_soft))
                x += self.LINE_PX + 8.0
                painter.drawText(QPointF(x, y + metrics.ascent() / 2.0 - 1.0), name)
                x += metrics.horizontalAdvance(name) + 24.0
        finally:
            painter.end()
