"""The shelf in the journal: put references there, take them away, bring them back."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

from meter.errors import UsageError
from meter.journal.records import plain_name
from meter.journal.store import Journal
from meter.shelf.reference import Reference, from_text, to_text


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfItem:
    """A reference, and when it was put on the shelf."""

    reference: Reference
    added_unix_s: float


def items(journal: Journal) -> list[ShelfItem]:
    """Everything on the shelf, by name."""
    found = journal.rows_of("SELECT name, data, added_unix_s FROM shelf WHERE deletion IS NULL ORDER BY name")
    return [ShelfItem(reference=from_text(name, data), added_unix_s=at) for name, data, at in found]


def chosen(journal: Journal, names: Sequence[str] = ()) -> list[Reference]:
    """The references of these names; all of them without any.

    Raises
    ------
    UsageError
        There is none of a name.
    """
    there = {item.reference.name: item.reference for item in items(journal)}
    for name in names:
        if name not in there:
            raise _no_such(name, list(there))
    return [there[name] for name in names] if names else list(there.values())


def add(journal: Journal, reference: Reference) -> str:
    """Put a reference on the shelf.

    Returns
    -------
    str
        Its name there, which has no characters that cannot be shown.

    Raises
    ------
    UsageError
        Its name is empty or taken.
    """
    name = plain_name(reference.name)
    if not name:
        raise UsageError("an empty name came; expected one for the reference, such as --name 'deep one'")
    with journal.change() as connection:
        if _is_taken(journal, name):
            raise UsageError(
                f"there is a reference named {name!r} on the shelf already; give another --name, or take "
                "that one away first"
            )
        connection.execute(
            "INSERT INTO shelf (name, added_unix_s, data) VALUES (?, ?, ?)",
            (name, time.time(), to_text(reference)),
        )
    return name


def remove(journal: Journal, names: Sequence[str]) -> None:
    """Take references away, all of them or none; `undo` brings them back for a week.

    Raises
    ------
    UsageError
        There is none of a name.
    """
    with journal.change() as connection:
        there = [row[0] for row in journal.rows_of("SELECT name FROM shelf WHERE deletion IS NULL")]
        for name in names:
            if name not in there:
                raise _no_such(name, there)
        deletion = journal.note_deletion(connection, "shelf")
        connection.executemany(
            "UPDATE shelf SET deletion = ? WHERE name = ? AND deletion IS NULL",
            [(deletion, name) for name in names],
        )


def undo(journal: Journal) -> list[str]:
    """Bring back what was taken away last; the names, none when there is nothing.

    A name that was given to another meanwhile gets a number.
    """
    with journal.change() as connection:
        last = journal.last_deletion("shelf")
        if last is None:
            return []
        back = []
        gone = journal.rows_of("SELECT id, name FROM shelf WHERE deletion = ? ORDER BY id", last)
        for number, name in gone:
            free = free_name(journal, name)
            connection.execute("UPDATE shelf SET deletion = NULL, name = ? WHERE id = ?", (free, number))
            back.append(free)
        connection.execute("DELETE FROM deletions WHERE id = ?", (last,))
        return back


def free_name(journal: Journal, name: str) -> str:
    """The name, with a number where it is taken."""
    free, count = plain_name(name), 2
    while _is_taken(journal, free):
        free, count = f"{plain_name(name)} ({count})", count + 1
    return free


def _is_taken(journal: Journal, name: str) -> bool:
    return bool(journal.rows_of("SELECT 1 FROM shelf WHERE name = ? AND deletion IS NULL", name))


def _no_such(name: str, there: Sequence[str]) -> UsageError:
    on_it = ", ".join(there) if there else "nothing yet"
    return UsageError(f"there is no reference named {name!r} on the shelf; on it: {on_it}")
