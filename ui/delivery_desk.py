"""Delivery in the window: the shown file tried with encoders in the background, and its playback."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal

from meter.errors import MeterError
from ui.errands import Errands
from ui.files_desk import FilesDesk
from ui.session import Session
from ui.state import StateFile
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.delivery.apart import Tried
    from meter.file_pass import FilePass
    from ui.delivery_page import DeliveryPage


class DeliveryDesk(QObject):
    """Binds encoders and playback levels to the window.

    Parameters
    ----------
    apart : bool
        Encoders work in a process of their own.

    Attributes
    ----------
    page : DeliveryPage or None
        The newest page.
    at_work : int or None
        Number of the file that is tried now.

    Signals
    -------
    said : str
        What could not be done.
    remembered
        A choice has changed.
    progressed : str, float
        Words, and the share that is done, 0 to 1.
    """

    said = pyqtSignal(str)
    remembered = pyqtSignal()
    progressed = pyqtSignal(str, float)

    def __init__(
        self, session: Session, state: StateFile, window: MainWindow, desk: FilesDesk, *, apart: bool = True
    ) -> None:
        super().__init__()
        self.session, self.state, self.window, self.desk = session, state, window, desk
        self.page: DeliveryPage | None = None
        self.at_work: int | None = None
        self._apart = apart
        self._is_cancelled = threading.Event()
        self._has_ended = False
        self.errands = Errands("encoders")
        self.errands.failed.connect(lambda sentence: self._end(sentence))
        window.encoding.cancelled.connect(self.cancel)
        self.progressed.connect(self._show_progress)

    # --- the page

    def ask(self) -> None:
        """The page of the shown file."""
        from ui.delivery_page import DeliveryPage  # not before the first paint

        number = self._shown()
        if number is not None and self.desk.files[number].heard:
            self.said.emit("this pass was heard, and its audio was not kept: open the file to try encoders")
            return
        if number is None:
            self.said.emit("encoders and playback are told of a file; open one, or choose it in the list")
            return
        if self.page is not None:
            self.page.close()
        self.page = DeliveryPage(number, self.state.choices, self.window)
        self.page.check_wanted.connect(self.check)
        self.page.cancelled.connect(self.cancel)
        self.page.levels_changed.connect(self._take_levels)
        self._fill()
        self.page.show()

    def _shown(self) -> int | None:
        return self.desk.number_of(self.desk.going.file)

    def _fill(self) -> None:
        """Write on the page what is known."""
        if self.page is None or self.page.number not in self.desk.files:
            return
        from meter.delivery.of_pass import page_text_of

        choices = self.state.choices
        summaries = [one.checked.summary for one in self.desk.files.values()]
        self.page.show_tables(
            page_text_of(
                self.desk.files[self.page.number].checked,
                own_lufs=choices.playback_own_lufs,
                turns_up=choices.playback_turns_up,
                album=summaries if len(summaries) > 1 else (),
            )
        )
        self.page.show_at_work(self.at_work is not None)

    def _take_levels(self, own_lufs: float, turns_up: bool) -> None:
        self.state.remember(playback_own_lufs=own_lufs, playback_turns_up=turns_up)
        self.remembered.emit()
        self._fill()

    # --- the encoders

    def check(self, text: str) -> None:
        """Try the file of the page with these, as `check --encode` takes them."""
        if self.page is None or self.at_work is not None:
            return
        if self.page.number not in self.desk.files:
            self.page.say("the file is out of the list; open it again")
            return
        from meter.delivery.apart import encodes_apart
        from meter.delivery.codecs import wishes_from

        try:
            wishes = wishes_from(text)
        except MeterError as error:
            self.page.say(str(error))
            return
        self.page.say("")
        self.state.remember(encoders=text)
        self.remembered.emit()
        number = self.at_work = self.page.number
        file, target = self.desk.files[number], self.session.target
        self._is_cancelled.clear()
        self.window.message.hide()
        self._show_progress(f"trying {file.title}: the encoders begin", 0.0)
        self.page.show_at_work(True)

        def work() -> Tried:
            return encodes_apart(
                file.checked.name,
                wishes,
                ceiling_dbtp=0.0 if target is None else target.true_peak_limit_dbtp,
                integrated_lufs=file.checked.summary.integrated_lufs,
                tell=lambda words, share: self._tell(file, words, share),
                is_cancelled=self._is_cancelled.is_set,
                apart=self._apart,
            )

        self.errands.run(lambda: _unless_cancelled(work), lambda tried: self._take(number, tried))

    def _tell(self, file: FilePass, words: str, share: float) -> None:
        if words and not self._has_ended:
            self.progressed.emit(f"trying {file.title}: {words}; {int(100.0 * share)} %", share)

    def _show_progress(self, words: str, share: float) -> None:
        if self.at_work is not None:
            self.window.encoding.show_progress(words, share)
            if self.page is not None:
                self.page.show_progress(words, share)

    def _take(self, number: int, tried: Tried | None) -> None:
        if tried is None:
            self._end("cancelled; what encoders made of it before stays")
            return
        encodes, notes = tried
        if encodes:
            self.desk.take_encodes(number, encodes)
        self._end("\n".join(notes))

    def _end(self, sentence: str) -> None:
        self.at_work = None
        self.window.encoding.hide()
        self._fill()
        if self.page is not None:
            self.page.say(sentence)
        if sentence:
            self.said.emit(sentence)

    def cancel(self) -> None:
        """Try no more of them."""
        self._is_cancelled.set()

    def stop(self) -> None:
        """The end."""
        self._has_ended = True
        self._is_cancelled.set()
        self.errands.stop()

    def actions(self) -> dict[str, Callable[[], object]]:
        """What is behind the keys."""
        return {"delivery": self.ask}


def _unless_cancelled(work: Callable[[], Tried]) -> Tried | None:
    from meter.delivery.apart import Cancelled

    try:
        return work()
    except Cancelled:
        return None
