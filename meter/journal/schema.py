"""The tables of the journal, as steps from one version to the next. docs/journal.md describes them."""

from __future__ import annotations

import sqlite3
from typing import Final

APPLICATION_ID: Final = 0x4C454144
"""Says in the file's header whose it is: "LEAD"."""

STEPS: Final = (
    # 1: passes with their soundings and findings; what was deleted can come back.
    """
    CREATE TABLE deletions (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at_unix_s REAL NOT NULL,
        what TEXT NOT NULL
    );
    CREATE TABLE passes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        began_unix_s REAL NOT NULL,
        spec TEXT NOT NULL,
        name TEXT NOT NULL,
        rate_hz INTEGER NOT NULL,
        channels INTEGER NOT NULL,
        weights TEXT NOT NULL,
        crossover_hz REAL NOT NULL,
        over_limit_dbtp REAL NOT NULL,
        withheld_rows INTEGER NOT NULL DEFAULT 0,
        rows INTEGER NOT NULL DEFAULT 0,
        frames INTEGER NOT NULL DEFAULT 0,
        touched_unix_s REAL NOT NULL,
        is_ended INTEGER NOT NULL DEFAULT 0,
        integrated_lufs REAL,
        loudest_30s_lufs REAL,
        true_peak_dbtp REAL,
        deletion INTEGER REFERENCES deletions (id)
    );
    CREATE TABLE row_forms (
        id INTEGER PRIMARY KEY,
        fields TEXT NOT NULL UNIQUE
    );
    CREATE TABLE soundings (
        pass INTEGER NOT NULL REFERENCES passes (id) ON DELETE CASCADE,
        first_row INTEGER NOT NULL,
        rows INTEGER NOT NULL,
        form INTEGER NOT NULL REFERENCES row_forms (id),
        data BLOB NOT NULL
    );
    CREATE UNIQUE INDEX soundings_in_order ON soundings (pass, first_row);
    CREATE TABLE findings (
        pass INTEGER NOT NULL REFERENCES passes (id) ON DELETE CASCADE,
        number INTEGER NOT NULL,
        kind TEXT NOT NULL,
        at_s REAL NOT NULL,
        severity REAL NOT NULL,
        text TEXT NOT NULL,
        PRIMARY KEY (pass, number)
    ) WITHOUT ROWID;
    """,
    # 2: the shelf.
    """
    CREATE TABLE shelf (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        added_unix_s REAL NOT NULL,
        data TEXT NOT NULL,
        deletion INTEGER REFERENCES deletions (id)
    );
    CREATE UNIQUE INDEX shelf_names ON shelf (name) WHERE deletion IS NULL;
    """,
    # 3: sets, with what was lost inside; who writes; the numbers of a pass, kept; what its tunes are.
    """
    ALTER TABLE passes ADD COLUMN is_set INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE passes ADD COLUMN is_broken_off INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE passes ADD COLUMN writer TEXT;
    ALTER TABLE passes ADD COLUMN rows_a_second INTEGER NOT NULL DEFAULT 10;
    ALTER TABLE passes ADD COLUMN summary TEXT;
    CREATE TABLE gaps (
        pass INTEGER NOT NULL REFERENCES passes (id) ON DELETE CASCADE,
        at_s REAL NOT NULL,
        frames INTEGER NOT NULL,
        kind TEXT NOT NULL
    );
    CREATE INDEX gaps_of_pass ON gaps (pass, at_s);
    CREATE TABLE tunes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        pass INTEGER NOT NULL REFERENCES passes (id) ON DELETE CASCADE,
        what TEXT NOT NULL,
        data TEXT NOT NULL
    );
    CREATE INDEX tunes_of_pass ON tunes (pass, id);
    CREATE TABLE choices (
        key TEXT PRIMARY KEY,
        value TEXT NOT NULL
    ) WITHOUT ROWID;
    """,
    # 4: the end of a finding, and how much it is.
    """
    ALTER TABLE findings ADD COLUMN until_s REAL;
    ALTER TABLE findings ADD COLUMN amount REAL;
    ALTER TABLE findings ADD COLUMN unit TEXT;
    """,
    # 5: what ears have had: setups with their calibration, sound by the minute, and what the user entered.
    """
    CREATE TABLE setups (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        saved_unix_s REAL NOT NULL,
        data TEXT NOT NULL
    );
    CREATE INDEX setups_by_name ON setups (name, id);
    CREATE TABLE heard (
        run TEXT NOT NULL,
        minute INTEGER NOT NULL,
        setup TEXT NOT NULL,
        seconds REAL NOT NULL,
        a_power REAL NOT NULL,
        c_power REAL NOT NULL,
        c_peak REAL NOT NULL,
        full_scale_db REAL NOT NULL,
        plus_db REAL NOT NULL,
        is_narrow INTEGER NOT NULL,
        PRIMARY KEY (run, minute, setup)
    ) WITHOUT ROWID;
    CREATE INDEX heard_by_minute ON heard (minute);
    CREATE TABLE entries (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        added_unix_s REAL NOT NULL,
        began_unix_s REAL NOT NULL,
        hours REAL NOT NULL,
        level_dba REAL NOT NULL,
        plus_db REAL NOT NULL,
        note TEXT NOT NULL,
        removed_unix_s REAL
    );
    """,
    # 6: in which seconds of a minute there was sound, so that what two programs heard counts once.
    """
    ALTER TABLE heard ADD COLUMN marks INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE heard ADD COLUMN clock_s REAL NOT NULL DEFAULT 0;
    """,
)
"""What makes version n + 1 of version n. A step that was once shipped is never changed."""

VERSION: Final = len(STEPS)


def version_of(connection: sqlite3.Connection) -> int:
    """The version of what is there; 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def bring_up_to(connection: sqlite3.Connection, version: int = VERSION) -> None:
    """Take every step that is missing, all of them or none.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode.
    version : int
        Where to stop; another than today's in tests.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Asked again inside: another program may have taken the steps meanwhile.
        for number in range(version_of(connection), version):
            for statement in STEPS[number].split(";"):
                if statement.strip():
                    connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number + 1}")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
