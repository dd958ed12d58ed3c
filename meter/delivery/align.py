"""What comes back from an encoder, laid over the original to the frame."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np

from meter.delivery.codecs import Float32s

ALIGN_S: Final = 4.0
FARTHEST_FRAMES: Final = 8192
"""No encoder here delays by more."""

PIECE_FRAMES: Final = 96_000


def aligned(blocks: Iterable[Float32s], original: Float32s) -> Iterator[Float32s]:
    """Decoded blocks, cut to begin and end with the original, which they are held against.

    Raises
    ------
    EncodeError
        They are another sound, or another length by far.
    """
    source = iter(blocks)
    first = _first(source, original)
    lag = _lag_frames(first, original)
    left = len(original)
    skip = max(lag, 0)
    if lag < 0:  # what the codec cut off; not seen with any here
        left += lag
    for block in _with_first(first, source):
        part = block[skip:]
        skip = max(skip - len(block), 0)
        part = part[:left]
        left -= len(part)
        if len(part):
            yield part
        if left <= 0:
            return


def _loud_place(original: Float32s, count: int) -> int:
    """Where a stretch begins that is not silent: the first whose level is near the loudest of all."""
    starts = np.arange(0, max(len(original) - count, 0) + 1, max(count // 2, 1))
    powers = np.array([float(np.square(original[at : at + count], dtype=np.float64).mean()) for at in starts])
    return int(starts[int(np.argmax(powers >= 0.1 * powers.max()))])


def _first(source: Iterator[Float32s], original: Float32s) -> list[Float32s]:
    """So many blocks that the stretch that is compared lies in them."""
    count = _stretch(original)
    wanted = _loud_place(original, count) + count + 2 * FARTHEST_FRAMES
    parts: list[Float32s] = []
    have = 0
    for block in source:
        parts.append(block)
        have += len(block)
        if have >= wanted:
            break
    return parts


def _with_first(first: list[Float32s], rest: Iterator[Float32s]) -> Iterator[Float32s]:
    yield from first
    yield from rest


def _stretch(original: Float32s) -> int:
    return min(len(original), round(ALIGN_S * 48_000))


def _lag_frames(first: list[Float32s], original: Float32s) -> int:
    """By how many frames the decoded sound is late: where it is most like the original."""
    count = _stretch(original)
    at = _loud_place(original, count)
    wave = original[at : at + count].sum(axis=1, dtype=np.float64)
    if not wave.any():
        return 0
    whole = np.concatenate(first).sum(axis=1, dtype=np.float64)
    begin = max(at - FARTHEST_FRAMES, 0)
    around = whole[begin : at + count + FARTHEST_FRAMES]
    size = 1 << (len(wave) + len(around)).bit_length()
    product = np.fft.rfft(around, size) * np.fft.rfft(wave, size).conj()
    likeness = np.fft.irfft(product, size)
    lags = np.arange(-FARTHEST_FRAMES, FARTHEST_FRAMES + 1)
    # Only places where it can lie; the first of equal ones.
    return int(lags[int(np.argmax(likeness[(lags + at - begin) % size]))])


def joined(blocks: Iterable[Float32s]) -> Iterator[Float32s]:
    """In pieces of some seconds: packets hold 20 ms, and for these to begin is all that the chain does."""
    parts: list[Float32s] = []
    have = 0
    for block in blocks:
        parts.append(block)
        have += len(block)
        if have >= PIECE_FRAMES:
            yield np.concatenate(parts)
            parts, have = [], 0
    if parts:
        yield np.concatenate(parts)
