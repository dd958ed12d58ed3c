"""The tunes of a pass in the journal: what was found, until the user says something else of them.

Every change is kept whole, one behind the other, so that each can be taken back exactly.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict

from meter.journal.records import KeptPass, plain_name
from meter.journal.replay import live_pass_of
from meter.journal.store import Journal
from meter.live_pass import LivePass
from meter.tunes import listed
from meter.tunes.listed import ListedTune, Tune
from meter.tunes.loudness import short_term_by_second
from meter.units import Floats

Change = Callable[[tuple[Tune, ...]], tuple[Tune, ...]]


class PassTunes:
    """The tunes of one pass.

    Parameters
    ----------
    journal : Journal
    kept : KeptPass
    live_pass : LivePass, optional
        The same pass, where it was read already.
    """

    def __init__(self, journal: Journal, kept: KeptPass, live_pass: LivePass | None = None) -> None:
        self._journal, self._number = journal, kept.number
        one = live_pass_of(journal, kept) if live_pass is None else live_pass
        rows = one.store.rows()
        self.live_pass = one
        self.short_term_lufs: Floats = short_term_by_second(rows, rate_hz=one.rate_hz, weights=one.weights)
        self.seconds = float(rows["start_frame"][-1] + rows["frames"][-1]) / one.rate_hz if len(rows) else 0.0

    def tunes(self) -> tuple[Tune, ...]:
        """As the user left them; as they were found where nothing was said of them."""
        found = self._journal.rows_of(
            "SELECT data FROM tunes WHERE pass = ? ORDER BY id DESC LIMIT 1", self._number
        )
        if not found:
            return listed.found_in(self.short_term_lufs)
        return tuple(Tune(**one) for one in json.loads(found[0][0]))

    def listed(self) -> tuple[ListedTune, ...]:
        """The same with what was heard of each."""
        return listed.listed(self.tunes(), self.short_term_lufs, seconds=self.seconds)

    def name(self, number: int, name: str) -> None:
        """Call a tune something; "" takes its name away."""
        self._change("name", lambda tunes: listed.named(tunes, number, plain_name(name)))

    def move(self, number: int, start_s: float) -> None:
        """Let a tune begin at another moment."""
        self._change("move", lambda tunes: listed.moved(tunes, number, start_s, seconds=self.seconds))

    def merge(self, number: int) -> None:
        """Make one of a tune and the one behind it."""
        self._change("merge", lambda tunes: listed.merged(tunes, number))

    def split(self, at_s: float) -> None:
        """Let another tune begin at a moment."""
        self._change("split", lambda tunes: listed.split(tunes, at_s, seconds=self.seconds))

    def undo(self) -> str | None:
        """Take back the last change; which it was, None where there is none."""
        with self._journal.change() as connection:
            found = self._journal.rows_of(
                "SELECT id, what FROM tunes WHERE pass = ? ORDER BY id DESC LIMIT 1", self._number
            )
            if not found:
                return None
            connection.execute("DELETE FROM tunes WHERE id = ?", (found[0][0],))
            return str(found[0][1])

    def _change(self, what: str, change: Change) -> None:
        with self._journal.change() as connection:
            data = json.dumps([asdict(tune) for tune in change(self.tunes())])
            connection.execute(
                "INSERT INTO tunes (pass, what, data) VALUES (?, ?, ?)", (self._number, what, data)
            )
