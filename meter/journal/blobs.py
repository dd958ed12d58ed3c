"""Soundings as bytes: every byte of every row comes back as it was.

Rows are stored column of bytes by column of bytes and compressed: neighbours in time are alike, so an hour
of stereo takes about 3 MB instead of 6. Which fields a row had when it was written stands beside
it, so that rows of an older program can be read when a sounding has learnt something new.
"""

from __future__ import annotations

import json
import zlib
from typing import Final

import numpy as np

from meter.soundings import SOUNDING, Soundings

FASTEST: Final = 1
"""Compression level: the others save one percent more and take longer."""

NONE_YET: Final = ("momentary_max", "short_term_max")
"""Fields that hold NaN where nothing is known; every other one holds 0."""


def form_text(form: np.dtype[np.void] = SOUNDING) -> str:
    """The fields of a row, as JSON."""
    return json.dumps([[name, form[name].base.str, list(form[name].shape)] for name in form.names or ()])


def form_from(text: str) -> np.dtype[np.void]:
    """The form of a row from `form_text`."""
    return np.dtype([(name, kind, tuple(shape)) for name, kind, shape in json.loads(text)])


def packed(rows: Soundings) -> bytes:
    """Rows as bytes."""
    by_row = np.frombuffer(rows.tobytes(), np.uint8).reshape(len(rows), rows.dtype.itemsize)
    return zlib.compress(by_row.T.tobytes(), FASTEST)


def unpacked(data: bytes, count: int, form: np.dtype[np.void] = SOUNDING) -> Soundings:
    """The rows that `packed` was given, in today's form.

    Parameters
    ----------
    data : bytes
    count : int
        How many rows they are.
    form : dtype
        What a row was when they were packed.

    Raises
    ------
    ValueError, zlib.error
        The bytes are not what was written.
    """
    by_column = np.frombuffer(zlib.decompress(data), np.uint8).reshape(form.itemsize, count)
    rows: Soundings = np.frombuffer(by_column.T.tobytes(), form).copy()
    return rows if form == SOUNDING else in_todays_form(rows)


def in_todays_form(rows: Soundings) -> Soundings:
    """Rows of another form: the fields that today's rows have, as far as they were known then."""
    made = np.zeros(len(rows), SOUNDING)
    for name in NONE_YET:
        made[name] = np.nan
    for name in set(rows.dtype.names or ()) & set(SOUNDING.names or ()):
        shape = rows.dtype[name].shape
        if not shape:
            made[name] = rows[name]
        else:
            width = min(shape[0], SOUNDING[name].shape[0])
            made[name][:, :width] = rows[name][:, :width]
    return made
