"""The set in the window: the flags of what is played live, or of a file, with the settings of the user."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from meter.set_lanes import file_set_flags, set_flags, set_spoken
from meter.set_settings import SetSettings
from ui.files_desk import FilesDesk
from ui.navigator import Navigator
from ui.state import StateFile

if TYPE_CHECKING:
    from meter.lanes import Flag, Lane
    from meter.now import Now


class SetDesk:
    """Knows what flies on the lanes of the arrangement Set.

    Attributes
    ----------
    settings : SetSettings
    """

    def __init__(self, state: StateFile, going: Navigator, desk: FilesDesk) -> None:
        self.state, self.going, self.desk = state, going, desk
        self.settings = SetSettings()
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

    def spoken(self, now: Now, lanes: Sequence[Lane]) -> dict[str, str]:
        """Each lane in words, by its key."""
        shown = self.flags(now) if self.going.file is None else self.file_flags()
        return {lane.key: set_spoken(lane, shown.get(lane.key, ())) for lane in lanes}
