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
from dataclasses import astuple, fields
from pathlib import Path
from types import TracebackType
from typing import Any, Final

import numpy as np

from meter.errors import JournalError, UsageError
from meter.journal import opening, summaries
from meter.journal.blobs import form_from, form_text, packed, unpacked
from meter.journal.problems import journal_error
from meter.journal.records import (
    DAYS_TO_UNDO,
    STILL_HEARD_S,
    KeptFinding,
    KeptGap,
    KeptPass,
    PassStart,
    plain_name,
)
from meter.journal.writers import is_running
from meter.soundings import SOUNDING, Soundings, Summary, empty_soundings

MINUTE_ROWS: Final = 600
"""What came second by second is put together to blobs of at least so many rows."""

_FINDING: Final = ", ".join(field.name for field in fields(KeptFinding))
"""Columns of a finding, in the order of its fields."""

_ALL_ROWS: Final = 1 << 62

_PASS: Final = (
    "id, began_unix_s, spec, name, rate_hz, channels, weights, crossover_hz, over_limit_dbtp, frames, rows, "
    "withheld_rows, touched_unix_s, is_ended, is_broken_off, is_set, rows_a_second, writer, "
    "summary IS NOT NULL OR integrated_lufs IS NOT NULL, integrated_lufs, loudest_30s_lufs, true_peak_dbtp"
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

    def now_s(self) -> float:
        """The time that what is written now gets."""
        return self._clock()

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

    def begin_pass(self, start: PassStart, *, writer: str | None = None) -> int:
        """A new pass without soundings; its number. `writer` from `meter.journal.writers`."""
        with self.change() as connection:
            made = connection.execute(
                "INSERT INTO passes (began_unix_s, spec, name, rate_hz, channels, weights, crossover_hz, "
                "over_limit_dbtp, is_set, writer, touched_unix_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    start.began_unix_s,
                    plain_name(start.spec),
                    plain_name(start.name),
                    start.rate_hz,
                    start.channels,
                    json.dumps(start.weights),
                    start.crossover_hz,
                    start.over_limit_dbtp,
                    start.is_set,
                    writer,
                    self._clock(),
                ),
            )
            assert made.lastrowid is not None
            return made.lastrowid

    def add_rows(
        self, number: int, rows: Soundings, *, withheld_rows: int = 0, gaps: Sequence[KeptGap] = ()
    ) -> None:
        """Soundings that follow those which the pass has.

        Parameters
        ----------
        number : int
        rows : ndarray of `SOUNDING`, shape (n,)
            Their ``start_frame`` counts from the beginning of the pass.
        withheld_rows : int
            How many of them came through a system volume that was not 0 dB.
        gaps : sequence of KeptGap
            Breaks before, between or behind them.
        """
        if len(rows) == 0 and not gaps:
            return
        with self.change() as connection:
            first = connection.execute("SELECT rows FROM passes WHERE id = ?", (number,)).fetchone()
            if first is None:
                raise self._no_such(number)
            self._put_blobs(connection, number, first[0], rows)
            connection.executemany(
                "INSERT INTO gaps VALUES (?, ?, ?, ?)",
                [(number, gap.at_s, gap.frames, gap.kind) for gap in gaps],
            )
            connection.execute(
                "UPDATE passes SET rows = rows + ?, frames = frames + ?, withheld_rows = withheld_rows + ?, "
                "touched_unix_s = ? WHERE id = ?",
                (len(rows), int(rows["frames"].sum()), withheld_rows, self._clock(), number),
            )
            self._join_blobs(connection, number, MINUTE_ROWS)

    def mark_ended(self, number: int) -> None:
        """Nothing more comes to this pass; `end_pass` with its numbers follows."""
        with self.change() as connection:
            connection.execute("UPDATE passes SET is_ended = 1 WHERE id = ?", (number,))

    def touch(self, number: int) -> None:
        """Note that a pass goes on, although nothing comes to it."""
        with self.change() as connection:
            connection.execute("UPDATE passes SET touched_unix_s = ? WHERE id = ?", (self._clock(), number))

    def mark_set(self, number: int) -> None:
        """Silence and gaps do not end this pass."""
        with self.change() as connection:
            connection.execute("UPDATE passes SET is_set = 1 WHERE id = ?", (number,))

    def end_pass(
        self,
        number: int,
        summary: Summary,
        findings: Sequence[KeptFinding] = (),
        *,
        is_broken_off: bool | None = None,
    ) -> None:
        """Nothing more comes to this pass; its numbers, and what was found in it.

        Parameters
        ----------
        is_broken_off : bool, optional
            Whether the program that heard it ended before it did; as it is known already unless given.
        """
        with self.change() as connection:
            self._join_blobs(connection, number, 1)
            values = (summary.integrated_lufs, summary.loudest_30s_lufs, summary.true_peak_dbtp)
            connection.execute(
                "UPDATE passes SET is_ended = 1, is_broken_off = coalesce(?, is_broken_off), summary = ?, "
                "integrated_lufs = ?, loudest_30s_lufs = ?, true_peak_dbtp = ? WHERE id = ?",
                (is_broken_off, summaries.to_text(summary), *values, number),
            )
            connection.execute("DELETE FROM findings WHERE pass = ?", (number,))
            connection.executemany(
                f"INSERT INTO findings (pass, number, {_FINDING}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(number, at, *astuple(one)) for at, one in enumerate(findings)],
            )

    def _put_blobs(self, connection: sqlite3.Connection, number: int, first: int, rows: Soundings) -> None:
        """Rows in blobs that are small enough that one hour is opened alone."""
        for at in range(0, len(rows), MINUTE_ROWS):
            self._put_blob(connection, number, first + at, rows[at : at + MINUTE_ROWS])

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
        rows = self.rows(number, small[0])
        connection.execute("DELETE FROM soundings WHERE pass = ? AND first_row >= ?", (number, small[0]))
        self._put_blobs(connection, number, small[0], rows)

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

    def rows(self, number: int, first_row: int = 0, stop_row: int | None = None) -> Soundings:
        """The soundings of a pass, as they were put in: all, or those from one row up to another.

        Of a pass that was made coarser these are the coarser rows; `meter.journal.replay` makes
        ten a second of them again.
        """
        rows, first = self._rows(number, first_row, stop_row)
        return rows[first_row - first : None if stop_row is None else max(stop_row - first, 0)]

    def gaps(self, number: int) -> tuple[KeptGap, ...]:
        """What was lost or held inside a pass, in the order of time."""
        found = self.rows_of("SELECT at_s, frames, kind FROM gaps WHERE pass = ? ORDER BY at_s", number)
        return tuple(KeptGap(at_s=at_s, frames=frames, kind=kind) for at_s, frames, kind in found)

    def summary(self, number: int, *, again: Callable[[], Summary]) -> Summary | None:
        """The numbers that were written at the end of a pass; None where there are none yet.

        Parameters
        ----------
        again : callable
            Works them out from the soundings, for what an older program did not keep.
        """
        found = self.rows_of("SELECT summary FROM passes WHERE id = ?", number)
        return summaries.from_text(found[0][0], again=again) if found and found[0][0] else None

    def findings(self, number: int) -> tuple[KeptFinding, ...]:
        """What was found in a pass, in the order of time."""
        found = self.rows_of(f"SELECT {_FINDING} FROM findings WHERE pass = ? ORDER BY number", number)
        return tuple(KeptFinding(**dict(zip(_FINDING.split(", "), one, strict=True))) for one in found)

    def is_still_heard(self, kept: KeptPass) -> bool:
        """Whether a pass is growing at this moment, here or in another program."""
        if kept.is_ended:
            return False
        known = is_running(kept.writer)
        return self._clock() - kept.touched_unix_s < STILL_HEARD_S if known is None else known

    def _rows(self, number: int, first_row: int, stop_row: int | None = None) -> tuple[Soundings, int]:
        """The rows of all blobs that hold one of [first_row, stop_row), and which is the first of them."""
        found = self.rows_of(
            "SELECT s.rows, f.fields, s.data, s.first_row FROM soundings s JOIN row_forms f ON f.id = s.form "
            "WHERE s.pass = ? AND s.first_row >= (SELECT coalesce(max(first_row), 0) FROM soundings WHERE "
            "pass = ? AND first_row <= ?) AND s.first_row < ? ORDER BY s.first_row",
            number,
            number,
            first_row,
            _ALL_ROWS if stop_row is None else stop_row,
        )
        try:
            parts = [unpacked(data, count, form_from(fields)) for count, fields, data, _ in found]
        except (ValueError, zlib.error) as error:
            raise JournalError(
                f"{self.path}: the soundings of pass {number} are damaged; delete the pass, or bring back a "
                "copy of the journal"
            ) from error
        if not parts:
            return empty_soundings(), first_row
        return np.concatenate(parts).astype(SOUNDING, copy=False), found[0][3]

    def _no_such(self, number: int) -> UsageError:
        return UsageError(
            f"there is no pass {number} in the journal; `leadline journal list --all` lists them"
        )

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
        self.give_space_back()

    def undo(self, *, of_pass: int | None = None) -> list[int]:
        """Bring back what was deleted last, or with this pass; the numbers, none when there is nothing."""
        with self.change() as connection:
            last = self.last_deletion("passes", of=of_pass)
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

    def last_deletion(self, what: str, *, of: int | None = None) -> int | None:
        """The newest deletion of "passes" or "shelf" that can be undone; of any, or of one number."""
        assert what in ("passes", "shelf")
        # Of which something is left: passes can also be deleted for good.
        found = self.rows_of(
            f"SELECT max(d.id) FROM deletions d JOIN {what} t ON t.deletion = d.id "
            "WHERE d.at_unix_s >= ? AND t.id = coalesce(?, t.id)",
            self._too_old_unix_s(),
            of,
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
        self.give_space_back()

    def give_space_back(self) -> None:
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
    frames, rows, withheld_rows, touched_unix_s, is_ended, *rest = rest
    is_broken_off, is_set, rows_a_second, writer, has_numbers, integrated, loudest, peak = rest
    start = PassStart(
        began_unix_s=began_unix_s,
        spec=spec,
        name=name,
        rate_hz=rate_hz,
        channels=channels,
        weights=tuple(json.loads(weights)),
        crossover_hz=crossover_hz,
        over_limit_dbtp=limit,
        is_set=bool(is_set),
    )
    return KeptPass(
        number=number,
        start=start,
        seconds=frames / rate_hz,
        soundings=rows,
        withheld_rows=withheld_rows,
        touched_unix_s=touched_unix_s,
        is_ended=bool(is_ended),
        has_numbers=bool(has_numbers),
        is_broken_off=bool(is_broken_off),
        rows_a_second=rows_a_second,
        writer=writer,
        integrated_lufs=integrated,
        loudest_30s_lufs=loudest,
        true_peak_dbtp=peak,
    )
