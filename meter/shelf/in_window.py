"""What the window does with the shelf: each a short visit to the journal, and what is said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from meter.journal.store import open_journal, read_journal
from meter.shelf import store
from meter.shelf.compare import Comparison, compare, nothing_to_compare_with
from meter.shelf.reference import Reference
from meter.shelf.spread import Spread, spread_of


def names_and_spread() -> tuple[list[str], Spread | None]:
    """What is on the shelf, and how loud that is.

    Raises
    ------
    JournalError
        The journal cannot be read.
    """
    with read_journal() as journal:
        found = [item.reference for item in store.items(journal)]
    return [one.name for one in found], spread_of(found)


def keep(reference: Reference) -> str:
    """Put it there; a name that is taken gets a number. Its name there.

    Raises
    ------
    JournalError
        The journal cannot be written.
    """
    with open_journal() as journal:
        name = store.free_name(journal, reference.name)
        return store.add(journal, replace(reference, name=name))


def remove(name: str) -> None:
    """Take it away; `bring_back` undoes that for a week.

    Raises
    ------
    UsageError
        There is none of this name.
    """
    with open_journal() as journal:
        store.remove(journal, [name])


def bring_back() -> list[str]:
    """Bring back what was taken away last; its names."""
    with open_journal() as journal:
        return store.undo(journal)


def compared(reference: Reference, chosen: Sequence[str]) -> Comparison:
    """Hold it against the references of these names, or all without any.

    Raises
    ------
    UsageError
        There is none of a name, or none at all.
    """
    with read_journal() as journal:
        references = store.chosen(journal, chosen)
    if not references:
        raise nothing_to_compare_with()
    return compare(reference, references)


def kept_text(name: str) -> str:
    """It is on the shelf."""
    return f'"{name}" is on the shelf: its numbers and spectrum, never its sound'


def removed_text(name: str) -> str:
    """It was taken away."""
    return f'"{name}" was taken off the shelf'
