"""Where the program keeps what it keeps: settings, journal and logs.

The platform's own folders, unless ``LEADLINE_HOME`` names one folder for all three. Nothing
is created here.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from meter.errors import SettingsError

HOME_VARIABLE: Final = "LEADLINE_HOME"

APP_NAME: Final = "leadline"

TARGETS_FILE: Final = "targets.toml"

WINDOW_FILE: Final = "window.toml"
"""What the window remembers; it alone writes it (`ui.state`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """The three folders; with ``LEADLINE_HOME`` they are one and the same."""

    settings: Path
    journal: Path
    logs: Path


def folders() -> Folders:
    """The folders as the environment says now. They need not exist yet.

    Raises
    ------
    SettingsError
        When ``LEADLINE_HOME`` names something that is no folder.
    """
    home = os.environ.get(HOME_VARIABLE, "").strip()
    if not home:
        import platformdirs

        return Folders(
            settings=Path(platformdirs.user_config_dir(APP_NAME, appauthor=False)),
            journal=Path(platformdirs.user_data_dir(APP_NAME, appauthor=False)),
            logs=Path(platformdirs.user_log_dir(APP_NAME, appauthor=False)),
        )
    try:
        folder = Path(home).expanduser().absolute()
    except RuntimeError as error:
        raise SettingsError(f"{HOME_VARIABLE} = {home}: there is no such user; name a folder") from error
    if folder.exists() and not folder.is_dir():
        raise SettingsError(f"{HOME_VARIABLE} names {folder}, which is no folder; name a folder or unset it")
    return Folders(settings=folder, journal=folder, logs=folder)
