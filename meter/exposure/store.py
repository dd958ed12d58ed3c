"""Where it is kept what ears have had: in the journal, by the minute.

A minute that goes on is written again and again under the name of its run, so that a crash loses some
seconds and nothing is ever counted twice; what several runs heard at the same time counts once. A clock that
is set back gives more to a minute, and loses nothing.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Final

from meter.errors import UsageError
from meter.exposure.calibration import Calibration
from meter.exposure.heard import Entry, HeardMinute
from meter.exposure.rules import RULES, Part, Rule
from meter.exposure.same_time import once
from meter.journal.store import Journal

KEPT_DAYS: Final = 400
"""A year and a bit; a dose looks back seven days."""

RULE_KEY: Final = "exposure rule"
SETUP_KEY: Final = "exposure setup"
USUAL_RULE: Final = "who-adult"

_MINUTE: Final = (
    "minute, setup, seconds, a_power, c_power, c_peak, full_scale_db, plus_db, is_narrow, marks, clock_s"
)


class ExposureStore:
    """The part of an open journal that is about ears.

    Parameters
    ----------
    journal : Journal
        Open; every method raises `JournalError` when it cannot be read or written.
    """

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    # --- setups

    def save(self, calibration: Calibration) -> None:
        """Keep a calibration; earlier ones of that setup stay for what they were used for."""
        with self._journal.change() as connection:
            connection.execute(
                "INSERT INTO setups (name, saved_unix_s, data) VALUES (?, ?, ?)",
                (calibration.setup, self._journal.now_s(), json.dumps(asdict(calibration))),
            )
            self._choose(connection, SETUP_KEY, calibration.setup)

    def calibrations(self) -> list[Calibration]:
        """The newest of each setup, by name."""
        rows = self._journal.rows_of(
            "SELECT data FROM setups WHERE id IN (SELECT max(id) FROM setups GROUP BY name) ORDER BY name"
        )
        return [Calibration(**json.loads(data)) for (data,) in rows]

    def calibration(self, setup: str | None = None) -> Calibration | None:
        """That of a setup, or of the one that was used last; None where there is none.

        Raises
        ------
        UsageError
            There is no setup of that name.
        """
        known = {one.setup: one for one in self.calibrations()}
        name = self._chosen(SETUP_KEY) if setup is None else setup
        if setup is not None and setup not in known:
            there = ", ".join(known) or "none"
            raise UsageError(
                f"there is no setup {setup!r}; there are: {there}; make one with `leadline hearing setup`"
            )
        return known.get(name or "")

    def use(self, setup: str) -> None:
        """Choose a setup; `UsageError` when there is none of that name."""
        self.calibration(setup)
        with self._journal.change() as connection:
            self._choose(connection, SETUP_KEY, setup)

    # --- the rule

    def rule(self) -> Rule:
        """The rule that the user chose."""
        return RULES.get(self._chosen(RULE_KEY) or USUAL_RULE, RULES[USUAL_RULE])

    def choose_rule(self, key: str) -> None:
        """Keep the user's choice; the key of a rule."""
        with self._journal.change() as connection:
            self._choose(connection, RULE_KEY, RULES[key].key)

    def _choose(self, connection: sqlite3.Connection, key: str, value: str) -> None:
        connection.execute(
            "INSERT INTO choices (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = ?",
            (key, value, value),
        )

    def _chosen(self, key: str) -> str | None:
        rows = self._journal.rows_of("SELECT value FROM choices WHERE key = ?", key)
        return rows[0][0] if rows else None

    # --- minutes

    def write(self, run: str, minutes: Sequence[HeardMinute]) -> None:
        """Keep what each minute has come to in this run; what was there of it goes."""
        with self._journal.change() as connection:
            connection.executemany(
                f"INSERT OR REPLACE INTO heard (run, {_MINUTE}) VALUES ({', '.join('?' * 12)})",
                [(run, *asdict(one).values()) for one in minutes],
            )

    def minutes(self, from_s: float, to_s: float) -> list[HeardMinute]:
        """What was heard between two moments, in the order of time; what was heard side by side once."""
        return once(self.rows(from_s, to_s))

    def rows(self, from_s: float, to_s: float, *, besides: str = "") -> list[HeardMinute]:
        """What each run has written; of all runs besides one, in the order of time."""
        rows = self._journal.rows_of(
            f"SELECT {_MINUTE} FROM heard WHERE minute >= ? AND minute < ? AND run != ?"
            " ORDER BY minute, setup, run",
            int(from_s // 60.0),
            to_s / 60.0,
            besides,
        )
        return [_minute_from(row) for row in rows]

    def forget_old(self) -> None:
        """Let go of minutes that no dose looks at any more."""
        oldest = int(self._journal.now_s() // 60.0) - KEPT_DAYS * 1440
        with self._journal.change() as connection:
            connection.execute("DELETE FROM heard WHERE minute < ?", (oldest,))

    # --- entries

    def add(self, part: Part, *, began_unix_s: float, note: str) -> Entry:
        """Keep what the user tells."""
        with self._journal.change() as connection:
            made = connection.execute(
                "INSERT INTO entries (added_unix_s, began_unix_s, hours, level_dba, plus_db, note)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                (
                    self._journal.now_s(),
                    began_unix_s,
                    part.hours,
                    part.level_dba,
                    part.uncertainty_db,
                    note,
                ),
            )
        return Entry(number=made.lastrowid or 0, began_unix_s=began_unix_s, part=part, note=note)

    def entries(self) -> list[Entry]:
        """What the user told, in the order of time."""
        rows = self._journal.rows_of(
            "SELECT id, began_unix_s, level_dba, hours, plus_db, note FROM entries"
            " WHERE removed_unix_s IS NULL ORDER BY began_unix_s, id"
        )
        return [_entry_from(row) for row in rows]

    def remove(self, number: int) -> None:
        """Take an entry out; `undo` brings it back. `UsageError` when there is none of that number."""
        with self._journal.change() as connection:
            done = connection.execute(
                "UPDATE entries SET removed_unix_s = ? WHERE id = ? AND removed_unix_s IS NULL",
                (self._journal.now_s(), number),
            )
            if done.rowcount == 0:
                raise UsageError(f"there is no entry {number}; `leadline hearing` lists them")

    def undo(self) -> str | None:
        """Undo the last entry or removal, whichever was later; what was done, or None."""
        rows = self._journal.rows_of(
            "SELECT id, note, removed_unix_s IS NOT NULL, "
            "max(added_unix_s, coalesce(removed_unix_s, 0)) AS at"
            " FROM entries WHERE removed_unix_s IS NULL OR removed_unix_s >= added_unix_s"
            " ORDER BY at DESC, id DESC LIMIT 1"
        )
        if not rows:
            return None
        number, note, was_removed, _ = rows[0]
        with self._journal.change() as connection:
            if was_removed:
                connection.execute("UPDATE entries SET removed_unix_s = NULL WHERE id = ?", (number,))
            else:
                connection.execute("DELETE FROM entries WHERE id = ?", (number,))
        return f"entry {number} ({note}) is {'back' if was_removed else 'out'}"


def _minute_from(row: Sequence[Any]) -> HeardMinute:
    minute, setup, seconds, a_power, c_power, c_peak, full_scale_db, plus_db, is_narrow, marks, clock_s = row
    return HeardMinute(
        minute=minute,
        setup=setup,
        seconds=seconds,
        a_power=a_power,
        c_power=c_power,
        c_peak=c_peak,
        full_scale_db=full_scale_db,
        plus_db=plus_db,
        is_narrow=bool(is_narrow),
        marks=marks,
        clock_s=clock_s,
    )


def _entry_from(row: Sequence[Any]) -> Entry:
    number, began_unix_s, level_dba, hours, plus_db, note = row
    part = Part(level_dba=level_dba, hours=hours, uncertainty_db=plus_db)
    return Entry(number=number, began_unix_s=began_unix_s, part=part, note=note)
