"""Samples that are no numbers: counted, replaced by 0, and marked."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

LARGEST: Final = 1e15
"""+300 dBFS. Beyond it a value is no sample; its square would not fit the arithmetic."""


def clean(frames: npt.NDArray[np.float32]) -> npt.NDArray[np.bool_] | None:
    """Replace NaN, infinities and values beyond `LARGEST` by 0, in place.

    Returns
    -------
    ndarray of bool, shape of `frames`, or None
        What was replaced; None when nothing was.
    """
    with np.errstate(invalid="ignore"):
        bad = ~(np.abs(frames) <= LARGEST)
    if not bad.any():
        return None
    frames[bad] = 0.0
    return bad
