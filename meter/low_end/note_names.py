"""Notes by name, the tuning that all notes share, and keys."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from meter.errors import UsageError

LEAST_NOTES: Final = 4
TOGETHER: Final = 0.5
"""Length of the mean of unit vectors around a semitone under which the notes share no tuning."""

_STEPS: Final = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
_LETTERS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_KEY: Final = re.compile(r"\s*([A-Ga-g])\s*([#b♯♭]?)\s*(major|minor|maj|min|m|)\s*", re.ASCII | re.IGNORECASE)


@lru_cache(maxsize=64)
def key_classes(key: str) -> frozenset[int]:
    """Pitch classes (C = 0) of a major or natural minor key: "F minor", "Fm", "Eb", "C# major".

    Raises
    ------
    UsageError
        It is no key.
    """
    found = _KEY.fullmatch(key)
    if found is None:
        raise UsageError(f'the key "{key}" came; expected a note and major or minor, such as "F minor"')
    letter, sign, mode = found.groups()
    root = _LETTERS[letter.upper()] + {"#": 1, "♯": 1, "b": -1, "♭": -1, "": 0}[sign]
    is_minor = mode == "m" or mode.lower() in ("min", "minor")
    return frozenset((root + step) % 12 for step in _STEPS["minor" if is_minor else "major"])


def shared_tuning_cents(cents: Sequence[float]) -> float | None:
    """How far notes are off equal temperament together: the median, around the circle of a semitone.

    Parameters
    ----------
    cents : sequence of float
        Of each note, above any note of the scale.

    Returns
    -------
    float or None
        -50 to 50; None for under four notes, or where they share none.
    """
    if len(cents) < LEAST_NOTES:
        return None
    values = np.asarray(cents, np.float64)
    mean = np.exp(2j * np.pi * values / 100.0).mean()
    if abs(mean) < TOGETHER:
        return None
    middle = float(np.angle(mean)) * 100.0 / (2.0 * np.pi)
    off = (values - middle + 50.0) % 100.0 - 50.0
    return float((middle + np.median(off) + 50.0) % 100.0 - 50.0)
