"""Conversions between the units of the trade. Every one is ``a_to_b``.

Silence is ``-inf`` on every decibel scale, so a conversion never fails and never gives NaN.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.floating]
"""Audio, shape (frames, channels), full scale = 1.0, float32 or float64."""

Floats = npt.NDArray[np.float64]
"""Any array of float64."""

LOUDNESS_OFFSET_DB: Final = -0.691
"""Constant of the loudness equation. ITU-R BS.1770-5 (11/2023), Annex 1."""

TWO_SPEAKERS_LU: Final = 10.0 * math.log10(2.0)
"""What a mono file gains when both speakers of a pair play it: twice the power, +3.01 LU.
ITU-R BS.1770-5, Annex 1, loudness equation; CALC."""


def power_to_db(power: float) -> float:
    """Decibels of a power ratio; ``-inf`` for zero."""
    return 10.0 * math.log10(power) if power > 0.0 else -math.inf


def amplitude_to_db(amplitude: float) -> float:
    """Decibels of an amplitude ratio (its magnitude); ``-inf`` for zero."""
    magnitude = abs(amplitude)
    return 20.0 * math.log10(magnitude) if magnitude > 0.0 else -math.inf


def db_to_amplitude(level_db: float) -> float:
    """Amplitude ratio of a level in decibels."""
    return float(10.0 ** (level_db / 20.0))


def db_to_power(level_db: float) -> float:
    """Power ratio of a level in decibels."""
    return float(10.0 ** (level_db / 10.0))


def power_to_lufs(power: float) -> float:
    """Loudness of a weighted K power.

    Source
    ------
    ITU-R BS.1770-5 (11/2023), Annex 1, loudness equation.
    """
    return LOUDNESS_OFFSET_DB + power_to_db(power)


def lufs_to_power(loudness_lufs: float) -> float:
    """Weighted K power of a loudness; 0 for ``-inf``."""
    return db_to_power(loudness_lufs - LOUDNESS_OFFSET_DB)


def powers_to_db(power: npt.NDArray[np.floating]) -> Floats:
    """`power_to_db` for an array of any shape."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(power, np.float64)), np.float64)


def powers_to_lufs(power: npt.NDArray[np.floating]) -> Floats:
    """`power_to_lufs` for an array of any shape."""
    return powers_to_db(power) + LOUDNESS_OFFSET_DB
