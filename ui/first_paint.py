"""Something that is done once, when a window has been painted for the first time."""

from __future__ import annotations

from collections.abc import Callable

from PyQt6.QtCore import QEvent, QObject, QTimer
from PyQt6.QtWidgets import QWidget


class FirstPaint(QObject):
    """Calls once, soon after the first paint of the window it watches.

    Parameters
    ----------
    call : callable
    """

    def __init__(self, call: Callable[[], None]) -> None:
        super().__init__()
        self._call: Callable[[], None] | None = call
        self._widget: QWidget | None = None

    def watch(self, widget: QWidget) -> None:
        """Watch this window; before it is shown."""
        self._widget = widget
        widget.installEventFilter(self)

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        """Wait for a paint; take nothing away."""
        if event is not None and event.type() == QEvent.Type.Paint and self._call is not None:
            call, self._call = self._call, None
            if self._widget is not None:
                self._widget.removeEventFilter(self)
            QTimer.singleShot(0, call)
        return False
