"""Cuts what is heard live into passes while it comes, by the rule of `meter.pass_cutter`.

That one looks at a timeline that is kept whole; this one must write a sounding as soon as it is
known to belong to a pass. Silence between two passes is not kept. Of a set everything is kept from
its first sound on: neither silence nor a gap ends it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.pass_cutter import QUIET_LUFS, QUIET_SLOTS
from meter.readings import SHORT_ROWS
from meter.soundings import AFTER_GAP, CUT_SHORT, Soundings, empty_soundings
from meter.units import lufs_to_power

_LOUD_POWER: Final = lufs_to_power(QUIET_LUFS)


@dataclass(frozen=True, slots=True)
class Piece:
    """Soundings of a pass, one after the other.

    Attributes
    ----------
    rows : ndarray of `SOUNDING`
        May be empty.
    withheld_rows : int
        How many of them came through a system volume that was not 0 dB.
    begins, ends : bool
        Whether a pass begins with them, or has ended behind them.
    """

    rows: Soundings
    withheld_rows: int = 0
    begins: bool = False
    ends: bool = False


_Row = tuple[Soundings, bool]
"""One row, and whether no verdict can be given on it."""


class Cutter:
    """Cuts the soundings of one live pass.

    Parameters
    ----------
    weights : sequence of float
        Loudness weight of each channel.
    is_set : bool
        Silence and gaps end nothing.

    Attributes
    ----------
    is_set : bool
        May be changed at any time.
    is_open : bool
        Whether there is a pass that has not ended.
    """

    def __init__(self, weights: Sequence[float], *, is_set: bool = False) -> None:
        self.is_set = is_set
        self._weights = np.asarray(weights)
        self._powers: deque[float] = deque(maxlen=SHORT_ROWS)
        self._lead: deque[_Row] = deque(maxlen=SHORT_ROWS)
        self._quiet: list[_Row] = []
        self.is_open = False

    def take(self, rows: Soundings, *, is_withheld: bool) -> list[Piece]:
        """What new soundings come to."""
        pieces: list[Piece] = []
        for at in range(len(rows)):
            pieces += self._take_row(rows[at : at + 1], is_withheld)
        return _joined(pieces)

    def end(self) -> list[Piece]:
        """Nothing more comes."""
        pieces = [_piece([], ends=True)] if self.is_open else []
        self.is_open = False
        self._quiet.clear()
        self._lead.clear()
        self._powers.clear()
        return pieces

    def _take_row(self, row: Soundings, is_withheld: bool) -> list[Piece]:
        ended = []
        if row["flags"][0] & AFTER_GAP:
            if self.is_set and self.is_open:
                self._powers.clear()  # M holds nothing of before
            else:
                ended = self.end()
        one = (row, is_withheld)
        self._lead.append(one)
        goes_on = bool(row["flags"][0] & CUT_SHORT) and self.is_open and not self._quiet
        if self._is_loud(row) or goes_on or (self.is_set and self.is_open):
            if self.is_open:
                pieces = [_piece([*self._quiet, one])]
            else:
                pieces = [_piece(list(self._lead), begins=True)]
            self.is_open = True
            self._quiet.clear()
            return ended + pieces
        if self.is_open:
            self._quiet.append(one)
            if len(self._quiet) >= QUIET_SLOTS:
                self.is_open = False
                self._quiet.clear()
                ended.append(_piece([], ends=True))
        return ended

    def _is_loud(self, row: Soundings) -> bool:
        """Whether M at the end of a row is no silence."""
        if row["flags"][0] & CUT_SHORT:
            return False
        self._powers.append(float(row["k_power"][0, : len(self._weights)].astype(np.float64) @ self._weights))
        return len(self._powers) == SHORT_ROWS and sum(self._powers) / SHORT_ROWS >= _LOUD_POWER


def _piece(rows: list[_Row], *, begins: bool = False, ends: bool = False) -> Piece:
    return Piece(
        np.concatenate([row for row, _ in rows]) if rows else empty_soundings(),
        sum(withheld for _, withheld in rows),
        begins,
        ends,
    )


def _joined(pieces: list[Piece]) -> list[Piece]:
    """The same with fewer pieces: those that neither begin nor end anything between them put together."""
    made: list[Piece] = []
    for piece in pieces:
        if made and not (made[-1].ends or piece.begins):
            before = made.pop()
            piece = Piece(
                np.concatenate([before.rows, piece.rows]),
                before.withheld_rows + piece.withheld_rows,
                before.begins,
                piece.ends,
            )
        made.append(piece)
    return made
