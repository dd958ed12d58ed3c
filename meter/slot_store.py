"""Series on a clock of equal slots: appended in constant time, drawn from any thread at any width.

Slots lie in chunks; a chunk in which nothing happened takes no memory. Beside the values stand the
lowest, highest and mean of every 16 slots, so that hours are as quick to draw as a minute.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Series = npt.NDArray[np.float32]
"""Values, shape (n,); NaN where there is nothing, ``-inf`` in silence."""

NODE_SLOTS: Final = 16
CHUNK_SLOTS: Final = 16_384
CHUNK_NODES: Final = CHUNK_SLOTS // NODE_SLOTS

_LOW, _HIGH, _MEAN, _COUNT = range(4)
_OFFSETS: Final = np.arange(NODE_SLOTS)


@dataclass(frozen=True, slots=True)
class Columns:
    """Slots in columns of equal width, arrays of float32, shape (count,); NaN where there is nothing.

    The mean is that of the finite values: a moment of silence does not pull it down to ``-inf``.
    """

    low: Series
    high: Series
    mean: Series


class SlotStore:
    """So many series; one thread writes, any thread reads what is below the count it was told.

    Parameters
    ----------
    series : int
        How many.
    """

    def __init__(self, series: int) -> None:
        self._series = series
        self._chunks: list[tuple[Series, Series] | None] = []
        self._nodes = 0  # finished
        self._seen = 0

    # --- writing

    def write(self, slot: int, values: npt.NDArray[np.float32]) -> None:
        """Writer only: values of consecutive slots, shape (n, series).

        Parameters
        ----------
        slot : int
            Not below the last one written, which may be written again.
        """
        self._finish_nodes(slot // NODE_SLOTS)
        at = 0
        while at < len(values):
            index, place = divmod(slot + at, CHUNK_SLOTS)
            part = values[at : at + CHUNK_SLOTS - place]
            self._chunk(index)[0][:, place : place + len(part)] = part.T
            at += len(part)
        self._seen = slot + len(values)
        self._finish_nodes((self._seen - 1) // NODE_SLOTS)

    def _chunk(self, index: int) -> tuple[Series, Series]:
        while len(self._chunks) <= index:
            self._chunks.append(None)
        chunk = self._chunks[index]
        if chunk is None:
            values = np.full((self._series, CHUNK_SLOTS), np.nan, np.float32)
            nodes = np.full((4, self._series, CHUNK_NODES), np.nan, np.float32)
            nodes[_COUNT] = 0.0
            chunk = self._chunks[index] = values, nodes
        return chunk

    def _finish_nodes(self, stop: int) -> None:
        """Sum up the nodes before this one; nothing is written into them any more."""
        while self._nodes < stop:
            index, first = divmod(self._nodes, CHUNK_NODES)
            last = min(CHUNK_NODES, first + stop - self._nodes)
            chunk = self._chunks[index] if index < len(self._chunks) else None
            if chunk is not None:
                values, nodes = chunk
                part = values[:, first * NODE_SLOTS : last * NODE_SLOTS]
                nodes[:, :, first:last] = _summed_up(part.reshape(self._series, -1, NODE_SLOTS))
            self._nodes += last - first

    # --- reading

    def values(self, series: int, first: int, last: int, *, slots: int) -> Series:
        """Values of [first, last); NaN outside [0, slots)."""
        found = np.full(max(last - first, 0), np.nan, np.float32)
        at, stop = max(first, 0), min(last, slots)
        while at < stop:
            index, place = divmod(at, CHUNK_SLOTS)
            count = min(CHUNK_SLOTS - place, stop - at)
            chunk = self._chunks[index] if index < len(self._chunks) else None
            if chunk is not None:
                found[at - first : at - first + count] = chunk[0][series, place : place + count]
            at += count
        return found

    def columns(self, series: int, *, slots_a_column: int, first: int, count: int, slots: int) -> Columns:
        """Lowest, highest and mean in columns; column k holds slots [k·n, (k+1)·n)."""
        n = slots_a_column
        result = np.full((3, max(count, 0)), np.nan, np.float32)
        start, stop = max(first, 0), min(first + count, -(-slots // n))
        if stop > start:
            inside = result[:, start - first : stop - first]
            if n < 2 * NODE_SLOTS:
                values = self.values(series, start * n, stop * n, slots=slots)
                inside[:] = _summed_up(values.reshape(-1, n))[:_COUNT]
            else:
                whole = min(stop, max(start, self._told_nodes(slots) * NODE_SLOTS // n))
                if whole > start:
                    inside[:, : whole - start] = self._wide(series, n, start, whole)
                for column in range(whole, stop):
                    last = min((column + 1) * n, slots)
                    inside[:, column - start] = self._one(series, column * n, last, slots)
        return Columns(low=result[_LOW], high=result[_HIGH], mean=result[_MEAN])

    def _told_nodes(self, slots: int) -> int:
        """Finished nodes that hold nothing behind a count; the writer may be farther already."""
        return min(self._nodes, slots // NODE_SLOTS)

    def _wide(self, series: int, n: int, start: int, stop: int) -> npt.NDArray[np.float32]:
        """Columns of finished nodes, and of the slots at both ends that are no whole node."""
        firsts = np.arange(start, stop) * n
        lasts = firsts + n
        nodes_from, nodes_to = -(-firsts // NODE_SLOTS), lasts // NODE_SLOTS
        base = int(nodes_from[0])
        nodes = self._nodes_of(series, base, int(nodes_to[-1]))
        # A last node that is no one's, so that every end is an index.
        nodes = np.concatenate([nodes, np.full((4, 1), np.nan, np.float32)], axis=1)
        edges = np.stack([nodes_from, nodes_to], axis=1).ravel() - base
        parts = [_joined(nodes, edges)]
        if n % NODE_SLOTS:
            heads, tails = firsts[:, None] + _OFFSETS, (nodes_to * NODE_SLOTS)[:, None] + _OFFSETS
            for places, ends in ((heads, nodes_from * NODE_SLOTS), (tails, lasts)):
                found = self._take(series, places.ravel()).reshape(places.shape)
                found[places >= ends[:, None]] = np.nan
                parts.append(_summed_up(found))
        return _all_of(np.stack(parts))

    def _one(self, series: int, first: int, last: int, slots: int) -> npt.NDArray[np.float32]:
        """One column that may reach beyond the finished nodes."""
        node_from = -(-first // NODE_SLOTS)
        node_to = max(node_from, min(last // NODE_SLOTS, self._told_nodes(slots)))
        head = self.values(series, first, min(node_from * NODE_SLOTS, last), slots=slots)
        tail = self.values(series, node_to * NODE_SLOTS, last, slots=slots)
        rest = np.concatenate([head, tail])
        parts = [_summed_up(rest[None])] if len(rest) else []
        nodes = self._nodes_of(series, node_from, node_to)
        parts += [nodes[:, [k]] for k in range(nodes.shape[1])]
        return _all_of(np.stack(parts))[:, 0]

    def _nodes_of(self, series: int, first: int, last: int) -> npt.NDArray[np.float32]:
        """Finished nodes, shape (4, n)."""
        found = np.full((4, last - first), np.nan, np.float32)
        found[_COUNT] = 0.0
        at = first
        while at < last:
            index, place = divmod(at, CHUNK_NODES)
            count = min(CHUNK_NODES - place, last - at)
            chunk = self._chunks[index] if index < len(self._chunks) else None
            if chunk is not None:
                found[:, at - first : at - first + count] = chunk[1][:, series, place : place + count]
            at += count
        return found

    def _take(self, series: int, places: npt.NDArray[np.intp]) -> Series:
        """Values at rising places."""
        found = np.full(len(places), np.nan, np.float32)
        first, last = int(places[0]) // CHUNK_SLOTS, int(places[-1]) // CHUNK_SLOTS
        edges = np.searchsorted(places, np.arange(first, last + 2) * CHUNK_SLOTS)
        for index in range(first, min(last + 1, len(self._chunks))):
            chunk = self._chunks[index]
            lower, upper = edges[index - first], edges[index - first + 1]
            if chunk is not None:
                found[lower:upper] = chunk[0][series, places[lower:upper] - index * CHUNK_SLOTS]
        return found


def _summed_up(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Lowest, highest, mean of the finite, and their count, over the last axis; shape (4, ...)."""
    # Along the first axis a reduction is several times as quick as along a short last one.
    values = np.ascontiguousarray(np.moveaxis(values, -1, 0))
    low, high = np.fmin.reduce(values), np.fmax.reduce(values)
    finite = np.isfinite(values)
    count = finite.sum(axis=0)
    total = np.where(finite, values, 0.0).sum(axis=0, dtype=np.float64)
    mean = np.where(count > 0, total / np.maximum(count, 1), low)
    return np.stack([low, high, mean, count]).astype(np.float32)


def _joined(nodes: npt.NDArray[np.float32], edges: npt.NDArray[np.intp]) -> npt.NDArray[np.float32]:
    """Nodes between pairs of edges in one each."""
    low = np.fmin.reduceat(nodes[_LOW], edges)[::2]
    high = np.fmax.reduceat(nodes[_HIGH], edges)[::2]
    counts = np.nan_to_num(nodes[_COUNT].astype(np.float64))
    totals = np.where(counts > 0.0, nodes[_MEAN], 0.0) * counts
    count, total = np.add.reduceat(counts, edges)[::2], np.add.reduceat(totals, edges)[::2]
    mean = np.where(count > 0.0, total / np.maximum(count, 1.0), low)
    return np.stack([low, high, mean, count]).astype(np.float32)


def _all_of(parts: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Several of the same column in one, shape (parts, 4, n) -> (3, n)."""
    low, high = np.fmin.reduce(parts[:, _LOW]), np.fmax.reduce(parts[:, _HIGH])
    counts = parts[:, _COUNT].astype(np.float64)
    totals = np.where(counts > 0.0, parts[:, _MEAN], 0.0) * counts
    count = counts.sum(axis=0)
    mean = np.where(count > 0.0, totals.sum(axis=0) / np.maximum(count, 1.0), low)
    return np.stack([low, high, mean]).astype(np.float32)
