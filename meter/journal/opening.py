"""Opening the journal, whatever is there: nothing, an older one, a newer one, something unreadable.

What cannot be used is set aside under another name and never deleted.
"""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing, suppress
from pathlib import Path
from typing import Final

from meter.errors import JournalError
from meter.journal.problems import DAMAGED, journal_error, kind_of
from meter.journal.schema import APPLICATION_ID, VERSION, bring_up_to, version_of
from meter.settings import folders

JOURNAL_FILE: Final = "journal.db"

COMPANIONS: Final = ("", "-wal", "-shm")
"""The files that belong together; what SQLite has not yet put in the first stands in the second."""

_SMALLEST_BYTES: Final = 512
"""A database has at least one page of so many bytes. SQLite, "Database File Format", 1.3.2; from memory."""

_UNREADABLE: Final = "cannot be read as a journal"

PATIENCE_S: Final = 5.0
"""A command waits so long for another program that is writing."""


class _CannotBeUsed(Exception):
    """What is there is no journal of ours, or a newer one; the text says which."""


def journal_path(folder: Path | None = None) -> Path:
    """Where the journal is, or would be."""
    return (folders().journal if folder is None else folder) / JOURNAL_FILE


def connect(path: Path, *, patience_s: float = PATIENCE_S) -> tuple[sqlite3.Connection, list[str]]:
    """Open the journal for reading and writing; make it where there is none.

    Returns
    -------
    connection : sqlite3.Connection
        In autocommit mode, for the thread that called.
    notes : list of str
        Sentences on what was done with what was there.

    Raises
    ------
    JournalError
        It cannot be opened; one sentence.
    """
    notes: list[str] = []
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        while True:
            before = _identity(path)
            try:
                return _opened(path, patience_s, notes), notes
            except (_CannotBeUsed, sqlite3.DatabaseError) as error:
                if not isinstance(error, _CannotBeUsed) and kind_of(error) not in DAMAGED:
                    raise
                if _identity(path) != before:  # another program has set it aside meanwhile
                    continue
                why = str(error) if isinstance(error, _CannotBeUsed) else _UNREADABLE
                kept_as = set_aside(path).name
                notes.append(f"{path} {why}; it is kept as {kept_as}, and a new journal was begun")
    except (sqlite3.Error, OSError) as error:
        raise journal_error(error, path) from error


def connect_to_read(path: Path, *, patience_s: float = PATIENCE_S) -> tuple[sqlite3.Connection, list[str]]:
    """The same where nothing is to be written: also on a disk that cannot be, and makes nothing new.

    Where there is no journal the connection is to an empty one in memory.
    """
    if not path.exists():
        return in_memory(), []
    try:
        return connect(path, patience_s=patience_s)
    except JournalError as error:
        first = error.__cause__
        kinds = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN)
        if not (isinstance(first, sqlite3.Error) and kind_of(first) in kinds):
            raise
        with suppress(sqlite3.Error):
            uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
            connection = sqlite3.connect(uri, uri=True, isolation_level=None)
            if version_of(connection) == VERSION:
                return connection, []
            connection.close()
        raise


def in_memory() -> sqlite3.Connection:
    """An empty journal that is gone when it is closed."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    bring_up_to(connection)
    return connection


def set_aside(path: Path) -> Path:
    """Give the journal, with its companions, another name in the same folder; the new name."""
    stamp = time.strftime("%Y-%m-%d-%H%M%S")
    number = 1
    while (to := path.with_name(f"{path.stem}-set-aside-{stamp}-{number}{path.suffix}")).exists():
        number += 1
    for ending in reversed(COMPANIONS):
        with suppress(FileNotFoundError):
            path.with_name(path.name + ending).rename(to.with_name(to.name + ending))
    return to


def _identity(path: Path) -> int | None:
    """What tells one file of this name from the next; None where there is none."""
    try:
        return path.stat().st_ino
    except FileNotFoundError:
        return None


def _opened(path: Path, patience_s: float, notes: list[str]) -> sqlite3.Connection:
    _look_at_size(path)
    connection = sqlite3.connect(path, timeout=patience_s, isolation_level=None)
    try:
        version = _version_of_ours(connection)
        connection.execute("PRAGMA foreign_keys = ON")
        if version == 0:
            connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
        _use_wal(connection, patience_s)
        # What was committed survives a kill; a power cut may take the last seconds.
        connection.execute("PRAGMA synchronous = NORMAL")
        if version < VERSION:
            if version > 0:
                backup = _back_up(connection, path, version)
                notes.append(f"{path} was brought up to date; as it was it is kept as {backup.name}")
            bring_up_to(connection)
        return connection
    except BaseException:
        connection.close()
        raise


def _look_at_size(path: Path) -> None:
    """SQLite takes a file of a few bytes for an empty one, and would write over it.

    Its size only: to open and close it beside SQLite would let go of the locks of other threads.
    """
    if path.exists() and 0 < path.stat().st_size < _SMALLEST_BYTES:
        raise _CannotBeUsed(_UNREADABLE)


def _use_wal(connection: sqlite3.Connection, patience_s: float) -> None:
    """Let one write while others read. SQLite does not wait for others when it changes to this."""
    until_s = time.monotonic() + patience_s
    while True:
        try:
            if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if kind_of(error) != sqlite3.SQLITE_BUSY or time.monotonic() > until_s:
                raise
        time.sleep(0.02)


def _version_of_ours(connection: sqlite3.Connection) -> int:
    """The version of the journal, 0 of an empty file; `_CannotBeUsed` where it is none of ours."""
    connection.execute("BEGIN")  # all that is read is of one moment
    version = version_of(connection)  # reads the file: one that is no database fails here
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    owner = int(connection.execute("PRAGMA application_id").fetchone()[0])
    connection.execute("COMMIT")
    if (owner != APPLICATION_ID or version == 0) and tables:
        raise _CannotBeUsed("holds something else than a journal")
    if version > VERSION:
        raise _CannotBeUsed("was written by a newer version of the program")
    return version


def _back_up(connection: sqlite3.Connection, path: Path, version: int) -> Path:
    """A copy of what is there, before it is changed."""
    number = 1
    while (to := path.with_name(f"{path.stem}-of-version-{version}-{number}{path.suffix}")).exists():
        number += 1
    with closing(sqlite3.connect(to)) as backup:
        connection.backup(backup)
    return to
