"""What a set is held against beside the target: where the user's mixer reads 0."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from typing import Final

from meter.errors import SettingsError, UsageError
from meter.settings import WINDOW_FILE, folders

MIXER_ZERO_DBFS: Final = -18.0
"""Source: EBU R 68, alignment level -18 dBFS (seen quoted). Mixers differ: it is a setting."""

MIXER_ZERO_RANGE_DBFS: Final = (-40.0, 0.0)
"""Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSettings:
    """How a set is looked at.

    Attributes
    ----------
    mixer_zero_dbfs : float
        What a mixer that reads 0 brings here, -40 to 0 dBFS.

    Raises
    ------
    UsageError
        Out of range.
    """

    mixer_zero_dbfs: float = MIXER_ZERO_DBFS

    def __post_init__(self) -> None:
        lowest, highest = MIXER_ZERO_RANGE_DBFS
        if not lowest <= self.mixer_zero_dbfs <= highest:
            raise UsageError(
                f"the mixer's 0 is at {self.mixer_zero_dbfs:g} dBFS; expected {lowest:g} to "
                f"{highest:g} dBFS, such as {MIXER_ZERO_DBFS:g}"
            )

    @property
    def text(self) -> str:
        """In words."""
        return f"my 0 = {self.mixer_zero_dbfs:g} dBFS"


def remembered() -> SetSettings:
    """As the window remembers them; where it remembers none that can be used, as it has them at first.

    What is wrong with its file is for the window to tell.
    """
    lowest, highest = MIXER_ZERO_RANGE_DBFS
    try:
        found = tomllib.loads((folders().settings / WINDOW_FILE).read_text("utf-8-sig"))
    except (OSError, ValueError, RecursionError, SettingsError):
        return SetSettings()
    zero_dbfs = found.get("mixer_zero_dbfs")
    if isinstance(zero_dbfs, bool) or not isinstance(zero_dbfs, int | float):
        return SetSettings()
    return SetSettings(mixer_zero_dbfs=float(zero_dbfs)) if lowest <= zero_dbfs <= highest else SetSettings()
