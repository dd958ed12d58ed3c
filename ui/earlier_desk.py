"""Earlier passes in the window: asked for, drawn among the files, forgotten with undo."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from ui.errands import Errands
from ui.files_desk import FilesDesk

if TYPE_CHECKING:
    from meter.file_pass import FilePass
    from ui.earlier_page import EarlierPage

WORDS_AFTER_MS: Final = 400
"""What is there sooner needs no word."""


class EarlierDesk(QObject):
    """Binds the journal's passes to the window.

    Parameters
    ----------
    desk : FilesDesk
        Where what is drawn again is listed.

    Signals
    -------
    said : str, object
        One sentence, and what undoes what it tells, or None.
    """

    said = pyqtSignal(str, object)

    def __init__(self, desk: FilesDesk) -> None:
        super().__init__()
        self.desk = desk
        self.page: EarlierPage | None = None
        self.errands = Errands("earlier passes")
        self.errands.failed.connect(self._fail)
        self._is_reading = False
        self._forgotten: list[int] = []
        self._began_s = time.time()

    def ask(self) -> None:
        """The page; what is in the journal comes when it is there."""
        from ui.earlier_page import EarlierPage  # not before the first paint

        if self.page is not None:
            self.page.close()
        page = self.page = EarlierPage(self.desk.window)
        page.chosen.connect(self.draw)
        page.unwanted.connect(self.forget)
        page.show()
        self._fill()

    def _fill(self) -> None:
        page = self.page
        if page is None or not page.isVisible():
            return
        from meter import earlier

        began_s = self._began_s
        self.errands.run(lambda: earlier.lines(besides_from_s=began_s), page.show_lines)

    def draw(self, number: int) -> None:
        """Draw a pass of the journal; hours take a moment, which is said."""
        from meter import earlier

        target = self.desk.session.target
        self._is_reading = True
        QTimer.singleShot(WORDS_AFTER_MS, lambda: self._say_reading(number))
        self.errands.run(lambda: earlier.drawn_again(number, target), self._take)

    def _say_reading(self, number: int) -> None:
        if self._is_reading:
            self.said.emit(f"reading pass {number} out of the journal", None)

    def _take(self, file: FilePass) -> None:
        self._is_reading = False
        self.desk.window.message.hide()
        self.desk.add(file)

    def _fail(self, sentence: str) -> None:
        self._is_reading = False
        self.said.emit(sentence, None)

    def forget(self, number: int) -> None:
        """Take it out of the journal."""
        from meter import earlier

        def done(_: object) -> None:
            self._forgotten.append(number)
            self._tell_forgotten()
            self._fill()

        self.errands.run(lambda: earlier.forget([number]), done)

    def _tell_forgotten(self) -> None:
        """That the last one is; each in turn can be brought back, the last first."""
        if self._forgotten:
            self.said.emit(f"pass {self._forgotten[-1]} is forgotten", self._bring_back)

    def _bring_back(self) -> None:
        from meter import earlier

        number = self._forgotten.pop()
        self._tell_forgotten()
        self.errands.run(lambda: earlier.bring_back(number), lambda _: self._fill())

    def actions(self) -> dict[str, Callable[[], object]]:
        """What is behind the keys."""
        return {"earlier": self.ask}
