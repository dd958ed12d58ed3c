"""What can be wrong with the journal, as one sentence for people."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Final

from meter.errors import JournalError

_KINDS: Final = {
    sqlite3.SQLITE_BUSY: "{path}: another program is writing into the journal and does not let go; "
    "try again, or close what holds it",
    sqlite3.SQLITE_LOCKED: "{path}: another part of the program is writing into the journal; try again",
    sqlite3.SQLITE_READONLY: "{path}: the journal can be read, but not written; allow it, or set "
    "LEADLINE_HOME to a folder that can be written",
    sqlite3.SQLITE_FULL: "{path}: the disk that holds the journal is full; free some space on it",
    sqlite3.SQLITE_CANTOPEN: "{path}: the journal cannot be opened; let its folder be written, or set "
    "LEADLINE_HOME to one that can be",
    sqlite3.SQLITE_IOERR: "{path}: the disk did not read or write the journal; look at the disk, and at the "
    "space that is left on it",
    sqlite3.SQLITE_CORRUPT: "{path}: the journal is damaged; give it another name, and a new one is begun",
    sqlite3.SQLITE_NOTADB: "{path}: this is no journal; give it another name, and a new one is begun",
}

DAMAGED: Final = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})


def kind_of(error: sqlite3.Error) -> int:
    """SQLite's primary result code of an error; 0 where there is none."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF


def journal_error(error: sqlite3.Error | OSError, path: Path | str) -> JournalError:
    """The error in one sentence."""
    if isinstance(error, OSError):
        why = error.strerror or str(error)
        return JournalError(
            f"{path}: the journal cannot be opened ({why}); let its folder be written, or set "
            "LEADLINE_HOME to one that can be"
        )
    form = _KINDS.get(kind_of(error), "{path}: the journal could not be used ({error}); please report this")
    return JournalError(form.format(path=path, error=error))
