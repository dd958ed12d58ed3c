"""The soundings of a pass while it grows: appended in constant time, readable from any thread."""

from __future__ import annotations

from typing import Final

import numpy as np

from meter.soundings import SOUNDING, Soundings, empty_soundings

CHUNK_ROWS: Final = 6000
"""Ten minutes (1 MB); memory grows by this much at a time and nothing is ever copied again."""


class RowStore:
    """Rows of `SOUNDING` in the order they came.

    One thread appends; any thread reads, and sees whole rows only: their count is published
    after they have been written.
    """

    def __init__(self) -> None:
        self._chunks: list[Soundings] = []
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def append(self, rows: Soundings) -> None:
        """Writer only: keep a copy of the rows.

        Parameters
        ----------
        rows : ndarray of `SOUNDING`, shape (n,)
        """
        at = 0
        while at < len(rows):
            place = self._count % CHUNK_ROWS
            if place == 0:
                self._chunks.append(np.empty(CHUNK_ROWS, SOUNDING))
            part = rows[at : at + CHUNK_ROWS - place]
            self._chunks[-1][place : place + len(part)] = part
            at += len(part)
            self._count += len(part)

    def rows(self, start: int = 0, stop: int | None = None) -> Soundings:
        """A copy of the rows from `start` up to `stop` (not included), as far as they are there.

        Parameters
        ----------
        start, stop : int, >= 0
            Row numbers; None = all there are now.
        """
        end = self._count if stop is None else min(stop, self._count)
        parts = []
        while start < end:
            chunk, place = divmod(start, CHUNK_ROWS)
            part = self._chunks[chunk][place : place + end - start]
            parts.append(part)
            start += len(part)
        return np.concatenate(parts) if parts else empty_soundings()
