"""A kick and a sub from two stems, in the window: asked for, looked at in a thread, shown."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtWidgets import QFileDialog

from meter.av_kinds import SUFFIXES
from meter.errors import MeterError, UsageError
from ui.errands import Errands
from ui.state import StateFile
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.kick_and_sub import Together
    from meter.stems import Stem
    from ui.together_page import TogetherPage


class _Cancelled(Exception):
    """The user has broken it off."""


class TogetherDesk(QObject):
    """Binds the page of two stems to the window.

    Attributes
    ----------
    page : TogetherPage or None
        Once it was asked for; it keeps its files until the program ends.
    is_at_work : bool

    Signals
    -------
    remembered
        A choice has changed.
    progressed : float
        The share that is done, 0 to 1.
    """

    remembered = pyqtSignal()
    progressed = pyqtSignal(float)

    def __init__(self, state: StateFile, window: MainWindow) -> None:
        super().__init__()
        self.state, self.window = state, window
        self.page: TogetherPage | None = None
        self.dialog: QFileDialog | None = None
        self.is_at_work = False
        self._is_cancelled = threading.Event()
        self.errands = Errands("kick and sub")
        self.errands.failed.connect(self._end)
        self.progressed.connect(self._show_progress)

    def ask(self) -> None:
        """Show the page."""
        if self.page is None:
            from ui.together_page import TogetherPage  # not before the first paint

            self.page = TogetherPage(self.window)
            self.page.file_wanted.connect(self.choose)
            self.page.look_wanted.connect(self.look)
            self.page.cancelled.connect(self.cancel)
        self.page.show()
        self.page.raise_()
        self.page.activateWindow()

    def choose(self, key: str) -> None:
        """Let the user choose the file of the kick, or of the sub."""
        page = self.page
        assert page is not None, "it was asked for there"
        dialog = QFileDialog(page, f"The {key} by itself · Leadline")
        folder = self.state.choices.folder
        if folder and Path(folder).is_dir():
            dialog.setDirectory(folder)
        dialog.setFileMode(QFileDialog.FileMode.ExistingFile)
        patterns = " ".join(f"*.{suffix}" for suffix in sorted(SUFFIXES))
        dialog.setNameFilters([f"Audio files ({patterns})", "All files (*)"])
        dialog.fileSelected.connect(lambda path: self.take_file(key, path))
        dialog.open()
        self.dialog = dialog

    def take_file(self, key: str, path: str) -> None:
        """Take this for the kick, or the sub."""
        page = self.page
        assert page is not None, "it was asked for there"
        page.take_file(page.stems[key], path)
        folder = str(Path(path).absolute().parent)
        if folder.isprintable():
            self.state.remember(folder=folder)
            self.remembered.emit()

    def look(self) -> None:
        """Look at the two, in a thread."""
        page = self.page
        if page is None or self.is_at_work:
            return
        try:
            kick, sub = self._stems(page)
        except MeterError as error:
            page.say(str(error))
            return
        self.is_at_work = True
        self._is_cancelled.clear()
        page.say("")
        page.show_at_work(True)
        self._show_progress(0.0)
        self.errands.run(lambda: self._work(kick, sub), self._take)

    @staticmethod
    def _stems(page: TogetherPage) -> tuple[Stem, Stem]:
        from meter.arguments import pair_from
        from meter.stems import Stem

        made = []
        for key, row in page.stems.items():
            if not row.path:
                raise UsageError(f"no {key} came, but a kick and a sub were expected; choose the file of it")
            text = row.channels.text().strip()
            made.append(Stem(name=row.path, pair=pair_from(text, "channels") if text else None))
        if made[0] == made[1]:
            raise UsageError(
                "kick and sub are the same file, but two were expected; choose another, or say which two "
                "channels of it each one is"
            )
        return made[0], made[1]

    def _work(self, kick: Stem, sub: Stem) -> Together | None:
        """In the thread; None when it was broken off."""
        from meter.kick_and_sub import together
        from meter.stems import read_both

        def step(share: float) -> None:
            if self._is_cancelled.is_set():
                raise _Cancelled
            self.progressed.emit(share)

        try:
            kick_samples, sub_samples, rate_hz = read_both(kick, sub, step=lambda share: step(0.6 * share))
            return together(
                kick_samples, sub_samples, rate_hz=rate_hz, step=lambda share: step(0.6 + 0.4 * share)
            )
        except _Cancelled:
            return None

    def _show_progress(self, share: float) -> None:
        if self.page is not None and self.is_at_work:
            words = "reading the two" if share < 0.6 else "looking at every hit"
            self.page.progress.show_progress(f"{words}; {int(100.0 * share)} %", share)

    def _take(self, found: Together | None) -> None:
        from meter.together_words import page_text

        if found is None:
            self._end("cancelled; nothing was found out")
            return
        self._end("")
        if self.page is not None:
            self.page.show_found(page_text(found), found)

    def _end(self, sentence: str) -> None:
        self.is_at_work = False
        if self.page is not None:
            self.page.show_at_work(False)
            self.page.say(sentence)

    def cancel(self) -> None:
        """Look no further."""
        self._is_cancelled.set()

    def stop(self) -> None:
        """The end."""
        self._is_cancelled.set()
        self.errands.stop()

    def actions(self) -> dict[str, Callable[[], object]]:
        """What is behind the keys."""
        return {"together": self.ask}
