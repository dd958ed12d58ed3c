"""The journal, open: passes with their soundings and findings go in and come out, and can be brought back.

One object belongs to one thread; every thread and program opens its own, and they do not disturb
each other.
"""

from __future__ import annotations

import json
import sqlite3
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Final

import numpy as np

from meter.errors import JournalError, UsageError
from meter.journal import opening
from meter.journal.blobs import form_from, form_text, packed, unpacked
from meter.journal.problems import journal_error
from meter.journal.records import (
    DAYS_TO_UNDO,
    STILL_HEARD_S,
    KeptFinding,
    KeptPass,
    PassStart,
    plain_name,
)
from meter.soundings import SOUNDING, Soundings, Summary, empty_soundings

MINUTE_ROWS: Final = 600
"""What came second by second is put together to blobs of at least so many rows."""

_PASS: Final = (
    "id, began_unix_s, spec, name, rate_hz, channels, weights, crossover_hz, over_limit_dbtp, frames, rows, "
    "withheld_rows, touched_unix_s, is_ended, integrated_lufs, loudest_30s_lufs, true_peak_dbtp"
)


class Journal:
    """An open journal; a context manager. Made by `open_journal` and `read_journal`.

    Every method raises `JournalError`, one sentence, when the journal cannot be read or written.

    Attributes
    ----------
    path : Path
    notes : list of str
        Sentences on what was done when it was opened: brought up to date, set aside.
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        path: Path,
        *,
        notes: Sequence[str] = (),
        clock: Callable[[], float] = time.time,
    ) -> None:
        self._connection = connection
        self._clock = clock
        self.path = path
        self.notes = list(notes)

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close it. May be called twice."""
        self._connection.close()

    # --- for this class and those beside it

    def rows_of(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        """What a question to the database gives."""
        try:
            return self._connection.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise journal_error(error, self.path) from error

    def _is_changing(self) -> bool:
        return self._connection.in_transaction

    @contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """All that is done inside is kept together, or none of it. Inside another it belongs to that."""
        if self._is_changing():
            yield self._connection
            return
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._is_changing():
                    self._connection.execute("ROLLBACK")
                raise
        except sqlite3.Error as error:
            raise journal_error(error, self.path) from error

    # --- writing passes

    def begin_pass(self, start: PassStart) -> int:
        """A new pass without soundings; its number."""
        with self.change() as connection:
            made = connection.execute(
                "INSERT INTO passes (began_unix_s, spec, name, rate_hz, channels, weights, crossover_hz, "
                "over_limit_dbtp, touched_unix_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    start.began_unix_s,
                    plain_name(start.spec),
                    plain_name(start.name),
                    start.rate_hz,
                    start.channels,
                    json.dumps(start.weights),
                    start.crossover_hz,
                    start.over_limit_dbtp,
                    self._clock(),
                ),
            )
            assert made.lastrowid is not None
            return made.lastrowid

    def add_rows(self, number: int, rows: Soundings, *, withheld_rows: int = 0) -> None:
        """Soundings that follow those which the pass has.

        Parameters
        ----------
        number : int
        rows : ndarray of `SOUNDING`, shape (n,)
            Their ``start_frame`` counts from the beginning of the pass.
        withheld_rows : int
            How many of them came through a system volume that was not 0 dB.
        """
        if len(rows) == 0:
            return
        with self.change() as connection:
            first = connection.execute("SELECT rows FROM passes WHERE id = ?", (number,)).fetchone()
            if first is None:
                raise self._no_such(number)
            self._put_blob(connection, number, first[0], rows)
            connection.execute(
                "UPDATE passes SET rows = rows + ?, frames = frames + ?, withheld_rows = withheld_rows + ?, "
                "touched_unix_s = ? WHERE id = ?",
                (len(rows), int(rows["frames"].sum()), withheld_rows, self._clock(), number),
            )
            self._join_blobs(connection, number, MINUTE_ROWS)

    def end_pass(self, number: int, summary: Summary, findings: Sequence[KeptFinding] = ()) -> None:
        """Nothing more comes to this pass; its numbers for the list, and what was found in it."""
        with self.change() as connection:
            self._join_blobs(connection, number, 1)
            values = (summary.integrated_lufs, summary.loudest_30s_lufs, summary.true_peak_dbtp)
            connection.execute(
                "UPDATE passes SET is_ended = 1, integrated_lufs = ?, loudest_30s_lufs = ?, "
                "true_peak_dbtp = ? WHERE id = ?",
                (*values, number),
            )
            connection.execute("DELETE FROM findings WHERE pass = ?", (number,))
            connection.executemany(
                "INSERT INTO findings VALUES (?, ?, ?, ?, ?, ?)",
                [(number, at, f.kind, f.at_s, f.severity, f.text) for at, f in enumerate(findings)],
            )

    def _put_blob(self, connection: sqlite3.Connection, number: int, first: int, rows: Soundings) -> None:
        fields = form_text(rows.dtype)
        connection.execute("INSERT OR IGNORE INTO row_forms (fields) VALUES (?)", (fields,))
        form = connection.execute("SELECT id FROM row_forms WHERE fields = ?", (fields,)).fetchone()[0]
        connection.execute(
            "INSERT INTO soundings VALUES (?, ?, ?, ?, ?)", (number, first, len(rows), form, packed(rows))
        )

    def _join_blobs(self, connection: sqlite3.Connection, number: int, at_least: int) -> None:
        """Put the small blobs at the end of a pass together when they hold so many rows."""
        small = connection.execute(
            "SELECT min(first_row), sum(rows), count(*) FROM soundings WHERE pass = ? AND rows < ?",
            (number, MINUTE_ROWS),
        ).fetchone()
        if small[2] < 2 or small[1] < at_least:
            return
        rows = self._rows(number, small[0])
        connection.execute("DELETE FROM soundings WHERE pass = ? AND first_row >= ?", (number, small[0]))
        self._put_blob(connection, number, small[0], rows)

    # --- reading passes

    def passes(self) -> list[KeptPass]:
        """All that were not deleted, oldest first."""
        found = self.rows_of(f"SELECT {_PASS} FROM passes WHERE deletion IS NULL ORDER BY began_unix_s, id")
        return [_pass_from(row) for row in found]

    def kept_pass(self, number: int, *, also_deleted: bool = False) -> KeptPass:
        """One of them; with `also_deleted` one that can be brought back, too.

        Raises
        ------
        UsageError
            There is none of this number.
        """
        where = "id = ?" if also_deleted else "id = ? AND deletion IS NULL"
        is_a_number = 0 < number < 1 << 63
        found = self.rows_of(f"SELECT {_PASS} FROM passes WHERE {where}", number) if is_a_number else []
        if not found:
            raise self._no_such(number)
        return _pass_from(found[0])

    def has_pass(self, number: int) -> bool:
        """Whether there is a pass of this number, deleted or not."""
        return bool(self.rows_of("SELECT 1 FROM passes WHERE id = ?", number))

    def rows(self, number: int) -> Soundings:
        """All soundings of a pass, as they were put in."""
        return self._rows(number, 0)

    def findings(self, number: int) -> tuple[KeptFinding, ...]:
        """What was found in a pass, in the order of time."""
        found = self.rows_of(
            "SELECT kind, at_s, severity, text FROM findings WHERE pass = ? ORDER BY number", number
        )
        return tuple(KeptFinding(kind=k, at_s=a, severity=s, text=t) for k, a, s, t in found)

    def is_still_heard(self, kept: KeptPass) -> bool:
        """Whether a pass is growing at this moment, here or in another program."""
        return not kept.is_ended and self._clock() - kept.touched_unix_s < STILL_HEARD_S

    def _rows(self, number: int, first_row: int) -> Soundings:
        found = self.rows_of(
            "SELECT s.rows, f.fields, s.data FROM soundings s JOIN row_forms f ON f.id = s.form "
            "WHERE s.pass = ? AND s.first_row >= ? ORDER BY s.first_row",
            number,
            first_row,
        )
        try:
            parts = [unpacked(data, count, form_from(fields)) for count, fields, data in found]
        except (ValueError, zlib.error) as error:
            raise JournalError(
                f"{self.path}: the soundings of pass {number} are damaged; delete the pass, or bring back a "
                "copy of the journal"
            ) from error
        return np.concatenate(parts).astype(SOUNDING, copy=False) if parts else empty_soundings()

    def _no_such(self, number: int) -> UsageError:
        return UsageError(f"there is no pass {number} in the journal; `leadline journal --all` lists them")

    # --- deleting, and bringing back

    def delete(self, numbers: Sequence[int]) -> None:
        """Take passes out of the list; all of them or none. They can be brought back for `DAYS_TO_UNDO` days.

        Raises
        ------
        UsageError
            One of them is not there.
        """
        with self.change() as connection:
            for number in numbers:
                self.kept_pass(number)
            deletion = self.note_deletion(connection, "passes")
            connection.executemany(
                "UPDATE passes SET deletion = ? WHERE id = ?", [(deletion, number) for number in numbers]
            )

    def delete_for_good(self, numbers: Sequence[int]) -> None:
        """Take passes out of the file at once, deleted ones too; nothing brings them back.

        Raises
        ------
        UsageError
            One of them is not there.
        """
        with self.change() as connection:
            for number in numbers:
                self.kept_pass(number, also_deleted=True)
            connection.executemany("DELETE FROM passes WHERE id = ?", [(number,) for number in set(numbers)])
        self._give_space_back()

    def undo(self) -> list[int]:
        """Bring back what was deleted last; the numbers of the passes, none when there is nothing."""
        with self.change() as connection:
            last = self.last_deletion("passes")
            if last is None:
                return []
            back = self.rows_of("SELECT id FROM passes WHERE deletion = ? ORDER BY id", last)
            connection.execute("UPDATE passes SET deletion = NULL WHERE deletion = ?", (last,))
            connection.execute("DELETE FROM deletions WHERE id = ?", (last,))
            return [row[0] for row in back]

    def note_deletion(self, connection: sqlite3.Connection, what: str) -> int:
        """A new deletion, of "passes" or "shelf"; its number."""
        made = connection.execute(
            "INSERT INTO deletions (at_unix_s, what) VALUES (?, ?)", (self._clock(), what)
        )
        assert made.lastrowid is not None
        return made.lastrowid

    def last_deletion(self, what: str) -> int | None:
        """The newest deletion of "passes" or "shelf" that can be undone."""
        assert what in ("passes", "shelf")
        # Of which something is left: passes can also be deleted for good.
        found = self.rows_of(
            f"SELECT max(d.id) FROM deletions d JOIN {what} t ON t.deletion = d.id WHERE d.at_unix_s >= ?",
            self._too_old_unix_s(),
        )
        number: int | None = found[0][0]
        return number

    def tidy(self) -> None:
        """Let go for good of what was deleted too long ago to come back."""
        old = self.rows_of("SELECT id FROM deletions WHERE at_unix_s < ?", self._too_old_unix_s())
        if not old:
            return
        with self.change() as connection:
            for (deletion,) in old:
                for table in ("passes", "shelf"):
                    connection.execute(f"DELETE FROM {table} WHERE deletion = ?", (deletion,))
                connection.execute("DELETE FROM deletions WHERE id = ?", (deletion,))
        self._give_space_back()

    def _give_space_back(self) -> None:
        """Make the file smaller; while others use it that waits for the next time."""
        with suppress(sqlite3.OperationalError):
            # As a script: alone, a pragma without columns is given up after its first page.
            self._connection.executescript("PRAGMA incremental_vacuum; PRAGMA wal_checkpoint(TRUNCATE)")

    def _too_old_unix_s(self) -> float:
        return self._clock() - DAYS_TO_UNDO * 86_400.0


def open_journal(
    folder: Path | None = None,
    *,
    patience_s: float = opening.PATIENCE_S,
    clock: Callable[[], float] = time.time,
) -> Journal:
    """Open the journal to write; make it where there is none.

    Parameters
    ----------
    folder : Path, optional
        Another than that of the settings.
    patience_s : float
        How long another program that is writing is waited for.

    Raises
    ------
    JournalError
        It cannot be opened or written; one sentence.
    """
    path = opening.journal_path(folder)
    connection, notes = opening.connect(path, patience_s=patience_s)
    journal = Journal(connection, path, notes=notes, clock=clock)
    try:
        journal.tidy()
    except BaseException:
        journal.close()
        raise
    return journal


def read_journal(folder: Path | None = None, *, clock: Callable[[], float] = time.time) -> Journal:
    """Open the journal to read, also where nothing can be written; an empty one where there is none."""
    path = opening.journal_path(folder)
    connection, notes = opening.connect_to_read(path)
    return Journal(connection, path, notes=notes, clock=clock)


def _pass_from(row: Sequence[Any]) -> KeptPass:
    number, began_unix_s, spec, name, rate_hz, channels, weights, crossover_hz, limit, *rest = row
    frames, rows, withheld_rows, touched_unix_s, is_ended, integrated, loudest, peak = rest
    start = PassStart(
        began_unix_s=began_unix_s,
        spec=spec,
        name=name,
        rate_hz=rate_hz,
        channels=channels,
        weights=tuple(json.loads(weights)),
        crossover_hz=crossover_hz,
        over_limit_dbtp=limit,
    )
    return KeptPass(
        number=number,
        start=start,
        seconds=frames / rate_hz,
        soundings=rows,
        withheld_rows=withheld_rows,
        touched_unix_s=touched_unix_s,
        is_ended=bool(is_ended),
        integrated_lufs=integrated,
        loudest_30s_lufs=loudest,
        true_peak_dbtp=peak,
    )
