"""After some months a pass is kept with one row a second: a tenth of the room.

Its numbers were kept when it ended and stay as they were measured. What a coarser row holds is true of its
second: mean powers, the highest peaks and windows, the sum of what was counted. Only what lies inside a
second is gone, so the I of a part that is measured again may differ by a tenth or two.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final

import numpy as np

from meter.errors import JournalError, UsageError
from meter.journal.blobs import form_text, packed
from meter.journal.records import KeptPass
from meter.journal.replay import live_pass_of
from meter.journal.store import MINUTE_ROWS, Journal
from meter.journal.summaries import to_text
from meter.soundings import AFTER_GAP, BEFORE_GAP, CUT_SHORT, SOUNDING, SOUNDINGS_A_SECOND, Soundings

FINE_DAYS: Final = 90
"""So long a pass keeps ten rows a second unless the user chose another time."""

_CHOICE: Final = "fine_days"
_FOREVER: Final = "forever"

_MEANS: Final = ("k_power", "ll", "rr", "lr", "dc")
_MAXIMA: Final = ("momentary_max", "short_term_max", "true_peak", "sample_peak", "flat_frames")
_COUNTS: Final = ("overs", "nonfinite", "flat_tops", "dropouts", "dropout_frames")


# --- rows


def coarse(rows: Soundings) -> Soundings:
    """One row for each ten, or for fewer where a gap or the end cuts them off."""
    if len(rows) == 0:
        return rows
    is_first = (rows["flags"] & AFTER_GAP) != 0
    is_first[1:] |= (rows["flags"][:-1] & CUT_SHORT) != 0
    is_first[0] = True
    run = np.cumsum(is_first) - 1
    in_run = np.arange(len(rows)) - np.flatnonzero(is_first)[run]
    firsts = np.flatnonzero(in_run % SOUNDINGS_A_SECOND == 0)
    made = np.zeros(len(firsts), SOUNDING)
    made["start_frame"] = rows["start_frame"][firsts]
    frames = rows["frames"].astype(np.float64)
    whole = np.add.reduceat(frames, firsts)
    made["frames"] = whole
    made["flags"] = np.bitwise_or.reduceat(rows["flags"], firsts)
    for name in _MEANS:
        weighted = rows[name].astype(np.float64) * frames[:, None]
        made[name] = np.add.reduceat(weighted, firsts, axis=0) / np.maximum(whole, 1.0)[:, None]
    for name in _MAXIMA:
        made[name] = np.fmax.reduceat(rows[name], firsts, axis=0)
    for name in _COUNTS:
        most = np.iinfo(SOUNDING[name]).max
        made[name] = np.minimum(np.add.reduceat(rows[name].astype(np.int64), firsts), most)
    return made


def fine_again(rows: Soundings, *, rate_hz: int) -> Soundings:
    """Ten rows a second again, for all that draws and measures passes; each second is even inside.

    What was counted stands in the first row of its second, so that sums stay as they were.
    """
    if len(rows) == 0:
        return rows
    whole = rows["frames"].astype(np.int64)
    parts = np.clip(np.round(whole * SOUNDINGS_A_SECOND / rate_hz), 1, SOUNDINGS_A_SECOND).astype(np.int64)
    made = np.repeat(rows, parts)
    firsts = np.cumsum(parts) - parts
    at = np.arange(len(made)) - np.repeat(firsts, parts)
    count, frames = np.repeat(parts, parts), np.repeat(whole, parts)
    begins, ends = at * frames // count, (at + 1) * frames // count
    made["start_frame"] += begins
    made["frames"] = ends - begins
    made["flags"][at > 0] &= ~np.uint16(AFTER_GAP)
    made["flags"][at < count - 1] &= ~np.uint16(CUT_SHORT | BEFORE_GAP)
    for name in _COUNTS:
        made[name][at > 0] = 0
    return made


# --- the journal


def fine_days(journal: Journal) -> int | None:
    """For how many days a pass keeps ten rows a second; None: forever."""
    found = journal.rows_of("SELECT value FROM choices WHERE key = ?", _CHOICE)
    value = found[0][0] if found else str(FINE_DAYS)
    if value == _FOREVER:
        return None
    return int(value) if value.isdecimal() else FINE_DAYS


def choose_fine_days(journal: Journal, days: int | None) -> None:
    """Keep passes fine for so many days, 1 or more; None: forever.

    Raises
    ------
    UsageError
        Less than a day.
    """
    if days is not None and not 1 <= days <= 100_000:
        raise UsageError(f"{days} days came; expected 1 or more, or the word forever")
    with journal.change() as connection:
        value = _FOREVER if days is None else str(days)
        connection.execute("INSERT OR REPLACE INTO choices VALUES (?, ?)", (_CHOICE, value))


def due(journal: Journal, *, clock: Callable[[], float] = time.time) -> list[KeptPass]:
    """The passes that are old enough to be made coarser."""
    days = fine_days(journal)
    if days is None:
        return []
    until_unix_s = clock() - 86_400.0 * days
    return [
        kept
        for kept in journal.passes()
        if kept.has_numbers
        and kept.rows_a_second == SOUNDINGS_A_SECOND
        and kept.start.began_unix_s + kept.seconds < until_unix_s
    ]


def make_coarser(journal: Journal, kept: KeptPass) -> bool:
    """Keep a pass with one row a second from now on; its numbers stay. Whether it could be read."""
    try:
        live_pass = live_pass_of(journal, kept)
    except JournalError as error:
        if error.__cause__ is None or isinstance(error.__cause__, ValueError):
            return False  # damaged: left as it is
        raise
    rows = coarse(live_pass.store.rows())
    summary = to_text(live_pass.summary())  # as it was at its end; of an older journal it is taken now
    with journal.change() as connection:
        connection.execute("INSERT OR IGNORE INTO row_forms (fields) VALUES (?)", (form_text(),))
        form = connection.execute("SELECT id FROM row_forms WHERE fields = ?", (form_text(),)).fetchone()[0]
        connection.execute("DELETE FROM soundings WHERE pass = ?", (kept.number,))
        connection.executemany(
            "INSERT INTO soundings VALUES (?, ?, ?, ?, ?)",
            [
                (kept.number, at, len(part), form, packed(part))
                for at in range(0, len(rows), MINUTE_ROWS)
                for part in [rows[at : at + MINUTE_ROWS]]
            ],
        )
        connection.execute(
            "UPDATE passes SET rows = ?, rows_a_second = 1, summary = ? WHERE id = ?",
            (len(rows), summary, kept.number),
        )
    return True
