"""Curves laid into columns of pixels, smoothed at the edges by how much of a pixel they cover.

Columns are what the history is made of: each is computed once, from the slots it stands for,
and never again. So a thick smooth line costs as much as is new, not as much as is shown, and no
single call holds the interpreter for long. Only pixels are computed here.

A picture is an array of bytes, shape (rows, columns, 4), blue green red and one unused: the bytes of
a 32-bit QImage on a little-endian machine; on a big-endian one `colour_bytes` turns the order around.
"""

from __future__ import annotations

import math
import sys
from typing import Any, Final

import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.floating]

FINE: Final = 4
"""Each column is looked at in so many places, so that steep lines are smooth too."""

CHUNK_COLUMNS: Final = 128
"""Long stretches are drawn piece by piece: less memory, and other threads come in between."""

MARGIN: Final = 4
"""A line is known so many columns to either side of those that are drawn: its pen reaches over."""

_LEAST: Final = 1.0 / 255.0


def colour_bytes(colour: str) -> npt.NDArray[np.uint8]:
    """The four bytes of #rrggbb in a picture."""
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    parts = (blue, green, red, 255)
    return np.array(parts if sys.byteorder == "little" else parts[::-1], np.uint8)


def stroke(picture: Picture, y: Floats, *, width: float, colour: str, dash: Floats | None = None) -> None:
    """Draw a line through the columns of a picture, with a pen that is as wide as it is high.

    Parameters
    ----------
    picture : array of uint8, shape (rows, columns, 4)
        Drawn into.
    y : array, shape ((columns + 2 * MARGIN) * FINE,)
        Height in pixels from the top at the middle of each quarter column, and over `MARGIN` columns
        to either side; NaN = no line there.
    width : float
        Of the pen, in pixels; at most 2 * MARGIN.
    dash : array, shape (columns * FINE,), optional
        How much of the line is there, 0 to 1.
    """
    # From one quarter column to the next the line runs over all that lies between.
    after = np.append(y[1:], np.nan)
    top, bottom = np.fmin(y, 0.5 * (y + after)), np.fmax(y, 0.5 * (y + after))
    before = np.append(np.nan, y[:-1])
    top, bottom = np.fmin(top, 0.5 * (y + before)), np.fmax(bottom, 0.5 * (y + before))
    edge = MARGIN * FINE
    reach = min(round(0.4 * width * FINE), edge - 1)
    shape = slice(edge, len(y) - edge)
    wide_top, wide_bottom = top[shape], bottom[shape]
    for step in range(-reach, reach + 1):
        part = slice(edge + step, len(y) - edge + step)
        # The pen is round: less high at its sides.
        nib = 0.5 * width * math.sqrt(max(0.0, 1.0 - (step / max(0.5 * width * FINE, 1.0)) ** 2))
        wide_top = np.fmin(wide_top, top[part] - nib)
        wide_bottom = np.fmax(wide_bottom, bottom[part] + nib)
    fill(picture, wide_top, wide_bottom, colour=colour, share=1.0, strength=dash)


def fill(
    picture: Picture,
    top: Floats,
    bottom: Floats,
    *,
    colour: str,
    share: float,
    strength: Floats | None = None,
) -> None:
    """Lay a colour over what is between two heights.

    Parameters
    ----------
    picture : array of uint8, shape (rows, columns, 4)
        Drawn into.
    top, bottom : array, shape (columns * n,), n = 1 or FINE
        Heights in pixels from the top; NaN = nothing there.
    share : float
        How much of the colour, 0 to 1.
    strength : array like `top`, optional
        The same for each place.
    """
    columns = picture.shape[1]
    if columns == 0:
        return
    places = len(top) // columns
    for first in range(0, columns, CHUNK_COLUMNS):
        last = min(first + CHUNK_COLUMNS, columns)
        part = slice(first * places, last * places)
        some = None if strength is None else strength[part]
        _fill_chunk(picture[:, first:last], top[part], bottom[part], colour, share, some)


def _fill_chunk(
    picture: Picture, top: Floats, bottom: Floats, colour: str, share: float, strength: Floats | None
) -> None:
    rows, columns = picture.shape[:2]
    if not np.isfinite(top).any():
        return
    first = max(int(np.floor(np.nanmin(top))), 0)
    last = min(int(np.ceil(np.nanmax(bottom))), rows)
    if last <= first:
        return
    row = np.arange(first, last, dtype=np.float32)[:, None]
    top32, bottom32 = np.asarray(top, np.float32), np.asarray(bottom, np.float32)
    cover: npt.NDArray[Any] = np.minimum(row + 1.0, bottom32) - np.maximum(row, top32)
    np.clip(cover, 0.0, 1.0, out=cover)
    cover = np.where(np.isnan(cover), np.float32(0.0), cover)
    if strength is not None:
        cover *= strength.astype(np.float32)
    places = len(top) // columns
    if places > 1:
        cover = cover.reshape(last - first, columns, places).mean(axis=2)
    cover *= np.float32(share)
    touched = cover > _LEAST
    under = picture[first:last]
    old = under[touched].astype(np.float32)
    mixed = old + (colour_bytes(colour).astype(np.float32) - old) * cover[touched][:, None]
    under[touched] = (mixed + 0.5).astype(np.uint8)
