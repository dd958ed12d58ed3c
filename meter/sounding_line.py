"""Loudness as a sounding line in text: a rope let down from the left, knotted every 6 LU.

It reaches as deep as short-term loudness does; letters hang where the other measures are, and
brackets stand where the target begins and ends::

    ~~~~~~~~~~~~o~~~~~~~~~~~I~~~~~L[~~S]
  -24         -18         -12         -6          0
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from meter.targets import Limit

SPAN_LU: Final = 24
COLUMNS_A_LU: Final = 2
KNOT_LU: Final = 6
WIDTH: Final = SPAN_LU * COLUMNS_A_LU + 1
MARGIN: Final = 2
"""Room for the numbers of the scale beyond both ends of the rope."""


def top_lufs(band: Limit | None) -> int:
    """Loudness at the right end: full scale, or so much lower that the target lies in view."""
    if band is None:
        return 0
    edge_lufs = band.min if band.max is None else band.max
    assert edge_lufs is not None
    return min(0, math.ceil((edge_lufs + KNOT_LU) / KNOT_LU) * KNOT_LU)


def rope(marks: Mapping[str, float | None], band: Limit | None) -> str:
    """The rope with its marks; always as long as the scale.

    Parameters
    ----------
    marks : mapping
        Letter -> loudness in LUFS, None or ``-inf`` where there is none. The rope reaches to the
        first; where two fall together the earlier one is seen.
    band : Limit or None
        The target.
    """
    top = top_lufs(band)
    cells = [" "] * WIDTH
    tip_lufs = next(iter(marks.values()), None)
    if tip_lufs is not None and not math.isinf(tip_lufs):
        for column in range(min(_column(tip_lufs, top), WIDTH - 1) + 1):
            cells[column] = "o" if column and column % (KNOT_LU * COLUMNS_A_LU) == 0 else "~"
    for glyph, edge_lufs in (
        ("[", None if band is None else band.min),
        ("]", None if band is None else band.max),
    ):
        if edge_lufs is not None and 0 <= (column := _column(edge_lufs, top)) < WIDTH:
            cells[column] = "|" if cells[column] == "[" else glyph
    for letter, loudness_lufs in reversed(list(marks.items())):
        if loudness_lufs is not None and (column := _column(loudness_lufs, top)) >= 0:
            cells[min(column, WIDTH - 1)] = letter
    return " " * MARGIN + "".join(cells) + " " * MARGIN


def scale(band: Limit | None) -> str:
    """The numbers under the rope, in LUFS."""
    top = top_lufs(band)
    cells = [" "] * (WIDTH + 2 * MARGIN)
    for below_lu in range(0, SPAN_LU + 1, KNOT_LU):
        number = str(top - below_lu)
        start = MARGIN + _column(top - below_lu, top) - len(number) // 2
        cells[start : start + len(number)] = number
    return "".join(cells)


def _column(loudness_lufs: float, top: int) -> int:
    """Where a loudness stands; below 0 when it is left of the scale."""
    if loudness_lufs == -math.inf:
        return -1
    return round((loudness_lufs - (top - SPAN_LU)) * COLUMNS_A_LU)
