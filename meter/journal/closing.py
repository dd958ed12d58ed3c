"""Ends passes: their numbers and findings are worked out beside the writing, which goes on meanwhile."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

from meter.errors import JournalError
from meter.journal.coarser import due, make_coarser
from meter.journal.records import KeptFinding, KeptPass
from meter.journal.replay import findings_in, live_pass_of
from meter.journal.store import Journal, open_journal
from meter.live_pass import LivePass
from meter.targets import Target

LOG: Final = logging.getLogger("meter.journal")

AGAIN_S: Final = 2.0
"""A journal that could not be written is tried again after so long."""

FindingsIn = Callable[[LivePass], tuple[KeptFinding, ...]]


def left_open(journal: Journal) -> list[KeptPass]:
    """The passes to which nothing comes any more, and whose end or numbers are not written."""
    return [
        kept
        for kept in journal.passes()
        if not kept.has_numbers and (kept.is_ended or not journal.is_still_heard(kept))
    ]


def end_abandoned(journal: Journal, *, target: Target | None = None) -> list[str]:
    """Write the end of passes that were broken off, as by a crash or a power cut.

    Returns
    -------
    list of str
        A sentence for each of them.
    """
    said: list[str] = []
    try:
        found = left_open(journal)
        if found:
            with journal.change():
                pass  # before long work: a journal that can only be read is shown as it is
        for kept in found:
            said += close(journal, kept, lambda one: findings_in(one, target))
    except JournalError as error:
        LOG.info("passes are not closed yet: %s", error)
    return said


def close(journal: Journal, kept: KeptPass, find: FindingsIn) -> list[str]:
    """Write the end of one pass with what there is of it; a sentence where it was broken off."""
    try:
        live_pass = live_pass_of(journal, kept)
    except JournalError as error:
        if isinstance(error.__cause__, sqlite3.Error):
            raise
        LOG.info("%s", error)  # its soundings are damaged: it is listed without numbers, and can be deleted
        return []
    is_broken_off = not kept.is_ended
    journal.end_pass(kept.number, live_pass.summary(), find(live_pass), is_broken_off=is_broken_off or None)
    return [broken_off_text(kept)] if is_broken_off else []


def make_older_coarser(journal: Journal) -> int:
    """Keep what is old enough with one row a second; how many passes that were."""
    made = sum(make_coarser(journal, kept) for kept in due(journal))
    if made:
        journal.give_space_back()
    return made


def broken_off_text(kept: KeptPass) -> str:
    """That a pass was broken off, and what there is of it."""
    seconds = int(kept.seconds)
    length = f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return f"pass {kept.number} was broken off; it is closed with the {length} that were written until then"


class Closer:
    """Closes passes from a thread of its own; an hour takes a second or two.

    Parameters
    ----------
    folder : Path or None
        Of the journal.
    find : callable
        What is to be found in a pass.
    tell : callable
        Takes a sentence for the user; called from the thread.
    """

    def __init__(self, folder: Path | None, find: FindingsIn, tell: Callable[[str], None]) -> None:
        self._folder, self._find, self._tell = folder, find, tell
        self._has_work, self._is_told = threading.Event(), threading.Event()
        self._must_end = False
        self._thread: threading.Thread | None = None

    def wake(self) -> None:
        """There may be passes to close; never waits."""
        self._has_work.set()
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="leadline journal ends", daemon=True)
            self._thread.start()

    def stop(self, wait_s: float) -> None:
        """Close what is to be closed, and end. What is not done in time the next program does."""
        self._must_end = True
        self._is_told.set()
        self._has_work.set()
        if self._thread is not None:
            self._thread.join(wait_s)

    def _run(self) -> None:
        while True:
            self._has_work.wait()
            self._has_work.clear()
            try:
                with open_journal(self._folder) as journal:
                    for kept in left_open(journal):
                        for sentence in close(journal, kept, self._find):
                            self._tell(sentence)
                    make_older_coarser(journal)
            except JournalError as error:
                LOG.info("passes are not closed yet: %s", error)  # the writer says why
                if not self._must_end:
                    self._has_work.set()
                    self._is_told.wait(AGAIN_S)
            except Exception as error:
                LOG.critical("please report this: passes are not closed", exc_info=error)
                return
            if self._must_end and not self._has_work.is_set():
                return
