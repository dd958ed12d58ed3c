"""The soundings of a pass while it grows: appended in constant time, readable from any thread.

A sounding has room for 5.1, and nearly every pass is stereo: what belongs to channels that a pass does
not have is not kept, which is a third of every row. What is older than half an hour is packed, which
saves another third.
"""

from __future__ import annotations

import zlib
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from meter.soundings import MAX_CHANNELS, SOUNDING, Soundings, empty_soundings

CHUNK_ROWS: Final = 600
"""A minute (80 kB of stereo); memory grows by this much at a time and nothing is ever copied again."""

PLAIN_CHUNKS: Final = 30
"""The newest half hour is not packed: it is looked at again and again. To pack a minute takes 3 ms."""

PIECE_ROWS: Final = 6000
"""Ten minutes: who goes through hours takes so many rows at once, for all of them are several times their
memory."""

FASTEST: Final = 1

Bytes = npt.NDArray[np.bool_]
"""For every byte of a row whether it is kept, shape (itemsize,)."""


@cache
def _forms(channels: int) -> tuple[np.dtype[Any], np.dtype[Any]]:
    """Runs of bytes that are kept of a row: where they lie in it, and the same without gaps."""
    is_kept: Bytes = np.zeros(SOUNDING.itemsize, np.bool_)
    for form, first, *_ in (SOUNDING.fields or {}).values():
        is_a_channel = form.shape == (MAX_CHANNELS,)
        width = form.base.itemsize * channels if is_a_channel else form.itemsize
        is_kept[first : first + width] = True
    edges = np.flatnonzero(np.diff(is_kept, prepend=False, append=False)).tolist()
    firsts, lengths = edges[::2], [stop - first for first, stop in zip(edges[::2], edges[1::2], strict=True)]
    names, formats = [f"bytes {first}" for first in firsts], [f"V{length}" for length in lengths]
    apart = np.dtype(
        {"names": names, "formats": formats, "offsets": firsts, "itemsize": SOUNDING.itemsize}
    )
    return apart, np.dtype(list(zip(names, formats, strict=True)))


class RowStore:
    """Rows of `SOUNDING` in the order they came.

    One thread appends; any thread reads, and sees whole rows only: their count is published
    after they have been written.

    Parameters
    ----------
    channels : int, 1 to 6
        Of the pass; the fields of others hold 0 in every row.
    """

    def __init__(self, channels: int = MAX_CHANNELS) -> None:
        self._apart, self._together = _forms(channels)
        self._chunks: list[npt.NDArray[np.void] | bytes] = []
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def append(self, rows: Soundings) -> None:
        """Writer only: keep a copy of the rows.

        Parameters
        ----------
        rows : ndarray of `SOUNDING`, shape (n,)
        """
        kept = rows.view(self._apart)
        at = 0
        while at < len(kept):
            place = self._count % CHUNK_ROWS
            if place == 0:
                self._chunks.append(np.empty(CHUNK_ROWS, self._together))
                self._pack(len(self._chunks) - 1 - PLAIN_CHUNKS)
            part = kept[at : at + CHUNK_ROWS - place]
            newest = self._chunks[-1]
            assert not isinstance(newest, bytes)
            newest[place : place + len(part)] = part
            at += len(part)
            self._count += len(part)

    def _pack(self, number: int) -> None:
        """Let a chunk take less room; who reads it meanwhile has the one or the other."""
        if number < 0:
            return
        chunk = self._chunks[number]
        assert not isinstance(chunk, bytes)
        by_row = chunk.view(np.uint8).reshape(CHUNK_ROWS, -1)
        # Bytes of the same place are alike from one row to the next.
        self._chunks[number] = zlib.compress(by_row.T.tobytes(), FASTEST)

    def _chunk(self, number: int) -> npt.NDArray[np.void]:
        chunk = self._chunks[number]
        if not isinstance(chunk, bytes):
            return chunk
        by_column = np.frombuffer(zlib.decompress(chunk), np.uint8).reshape(-1, CHUNK_ROWS)
        return np.frombuffer(by_column.T.tobytes(), self._together)

    def rows(self, start: int = 0, stop: int | None = None) -> Soundings:
        """A copy of the rows from `start` up to `stop` (not included), as far as they are there.

        Parameters
        ----------
        start, stop : int, >= 0
            Row numbers; None = all there are now.
        """
        end = self._count if stop is None else min(stop, self._count)
        if start >= end:
            return empty_soundings()
        found = np.zeros(end - start, SOUNDING)
        into, at = found.view(self._apart), start
        while at < end:
            chunk, place = divmod(at, CHUNK_ROWS)
            part = self._chunk(chunk)[place : place + end - at]
            into[at - start : at - start + len(part)] = part
            at += len(part)
        return found
