"""The low end in the window: whose is shown, live or of a file, with the settings of the user."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal

from meter.errors import UsageError
from meter.low_end.lanes import low_end_answers, low_end_flags, low_end_moment
from meter.low_end.picture import Piece
from meter.low_end.settings import LowEndSettings
from meter.shown import BELOW
from meter.summary_keys import value_of
from ui.low_end_page import LowEndPage
from ui.navigator import Navigator
from ui.session import Session
from ui.state import StateFile
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.file_pass import FilePass
    from meter.lanes import Flag


def settings_of(state: StateFile) -> LowEndSettings:
    """What is remembered; what does not go together is the shipped."""
    choices = state.choices
    try:
        return LowEndSettings(
            a4_hz=choices.a4_hz,
            key=choices.key or None,
            kick_band_hz=(choices.kick_low_hz, choices.kick_high_hz),
            crossover_hz=choices.crossover_hz,
        )
    except UsageError:
        return LowEndSettings()


class LowEndDesk(QObject):
    """Binds the low end of a session and of files to the window.

    Signals
    -------
    changed
        The settings are others.
    remembered
        A choice has changed.
    """

    changed = pyqtSignal()
    remembered = pyqtSignal()

    def __init__(self, session: Session, state: StateFile, window: MainWindow, going: Navigator) -> None:
        super().__init__()
        self.session, self.state, self.window, self.going = session, state, window, going
        self.settings = settings_of(state)
        self.page: LowEndPage | None = None
        self._of_file: tuple[object, tuple[Piece, ...]] = (None, ())

    def pieces(self) -> tuple[Piece, ...]:
        """The low end of what is shown."""
        file = self.going.file
        if file is None:
            return self.session.low_end()
        if self._of_file[0] is not file.checked.low_end or not self._of_file[1]:
            low_end = file.checked.low_end
            made = () if low_end is None else (Piece(low_end=low_end, first_slot=0.0),)
            self._of_file = (low_end, made)
        return self._of_file[1]

    def show(self) -> None:
        """Give the lanes what is known now."""
        self.window.lanes.set_pieces(self.pieces())

    def flags(self) -> dict[str, tuple[Flag, ...]]:
        """The flags of the lanes of the low end."""
        file = self.going.file
        channels = self.session.now.channels if file is None else file.live_pass.channels
        bpm = self.state.choices.bpm
        return low_end_flags(
            self.pieces(),
            self.settings,
            bpm=bpm,
            channels=channels or 2,
            whole_lost_db=None if file is None else self._lost_of(file),
        )

    def _lost_of(self, file: FilePass) -> float | None:
        """The number that the other arrangement flies too, where it is of the same crossover."""
        is_of_it = file.checked.options.crossover_hz == self.settings.crossover_hz
        return value_of(file.checked.summary, BELOW) if is_of_it else None

    def moment(self, slot: int) -> list[str]:
        """The numbers of a slot."""
        return low_end_moment(self.pieces(), slot, self.settings, bpm=self.state.choices.bpm)

    def ask(self) -> None:
        """The page of settings, with what a crossover would cost."""
        page = LowEndPage(self.settings, low_end_answers(self.pieces(), self.settings), self.window)
        page.accepted.connect(lambda: self._take(page))
        page.open()
        self.page = page

    def _take(self, page: LowEndPage) -> None:
        found = page.found()
        if found is None or found == self.settings:
            return
        self.settings = found
        self.state.remember(
            a4_hz=found.a4_hz,
            key=found.key or "",
            kick_low_hz=found.kick_band_hz[0],
            kick_high_hz=found.kick_band_hz[1],
            crossover_hz=found.crossover_hz,
        )
        self.session.set_low_end(found)
        self.remembered.emit()
        self.changed.emit()
