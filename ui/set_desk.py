"""The set in the window: the flags of what is played live, or of a file, with the settings of the user."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from PyQt6.QtCore import QObject, pyqtSignal

from meter.set_lanes import file_set_flags, set_flags, set_spoken
from meter.set_settings import SetSettings
from meter.set_words import against_zero_db
from ui.files_desk import FilesDesk
from ui.session import Session
from ui.set_page import SetPage
from ui.state import StateFile
from ui.window import MainWindow

if TYPE_CHECKING:
    from meter.lanes import Flag, Lane
    from meter.now import Now

_FULL_SCALE: Final = SetSettings(mixer_zero_dbfs=0.0)


class SetDesk(QObject):
    """Knows what flies on the lanes of the arrangement Set.

    Attributes
    ----------
    settings : SetSettings

    Signals
    -------
    changed
        The settings are others.
    """

    changed = pyqtSignal()

    def __init__(self, session: Session, state: StateFile, window: MainWindow, desk: FilesDesk) -> None:
        super().__init__()
        self.session, self.state, self.window, self.desk = session, state, window, desk
        self.going = desk.going
        self.settings = SetSettings(mixer_zero_dbfs=state.choices.mixer_zero_dbfs)
        self.page: SetPage | None = None
        self._of_file: tuple[object, dict[str, tuple[Flag, ...]]] = (None, {})

    def flags(self, now: Now) -> dict[str, tuple[Flag, ...]]:
        """The flags of what is heard now."""
        return set_flags(now, self.settings)

    def file_flags(self) -> dict[str, tuple[Flag, ...]]:
        """The flags of the shown file; none where none is shown."""
        file = self.going.file
        if file is None:
            return {}
        if self._of_file[0] is not file:
            self._of_file = (file, file_set_flags(file.live_pass))
        return {"loudness": self.desk.flags()["loudness"], **self._of_file[1]}

    def ask(self) -> None:
        """The page of settings."""
        page = SetPage(self.settings, lambda: against_zero_db(self.session.now, _FULL_SCALE), self.window)
        page.accepted.connect(lambda: self._take(page))
        page.open()
        self.page = page

    def _take(self, page: SetPage) -> None:
        if page.found() != self.settings:
            self.settings = page.found()
            self.state.remember(mixer_zero_dbfs=self.settings.mixer_zero_dbfs)
            self.changed.emit()

    def spoken(self, now: Now, lanes: Sequence[Lane]) -> dict[str, str]:
        """Each lane in words, by its key."""
        shown = self.flags(now) if self.going.file is None else self.file_flags()
        return {lane.key: set_spoken(lane, shown.get(lane.key, ())) for lane in lanes}
