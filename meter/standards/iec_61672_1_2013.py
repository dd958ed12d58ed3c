"""IEC 61672-1:2013, electroacoustics, sound level meters: the weightings and what a meter is held to.

The table of weightings and its limits were seen in a transcription of BS EN 61672-1:2013 (p. 22), the
other tables likewise; the formulas in an open library's copy of Annex E. The pole frequencies were worked
out anew here from the design formulas. What Leadline shows is no sound level meter to this standard:
a microphone, its calibration and the pattern evaluation are missing. Only the weightings are held to it.
"""

from __future__ import annotations

import math
from typing import Final

from meter.units import amplitude_to_db

DOCUMENT: Final = "IEC 61672-1:2013"

F1_HZ: Final = 20.598997
F2_HZ: Final = 107.65265
F3_HZ: Final = 737.86223
F4_HZ: Final = 12194.217
"""Pole frequencies. Annex E.4.1, there rounded: 20.60, 107.7, 737.9, 12194. SEEN-S; full figures CALC."""

A1000_DB: Final = -2.000
C1000_DB: Final = -0.062
"""Normalisation, rounded as printed. Annex E. SEEN-S."""

F_S: Final = 0.125
S_S: Final = 1.0
"""Time constants of F and S. Clause 5.8.1. SEEN-S."""

F_DECAY_DB_A_S: Final = (34.7, 3.8, -3.7)
S_DECAY_DB_A_S: Final = (4.3, 0.8, -0.7)
"""Decay when the sound stops, and its limits. Clause 5.8.1. SEEN-S."""


def a_weighting_db(f_hz: float) -> float:
    """A-weighting. Annex E. SEEN-S."""
    return _a_db(f_hz) - _a_db(1000.0)


def c_weighting_db(f_hz: float) -> float:
    """C-weighting. Annex E. SEEN-S."""
    return _c_db(f_hz) - _c_db(1000.0)


def _a_db(f_hz: float) -> float:
    square = f_hz * f_hz
    slopes = (square + F1_HZ**2) * math.sqrt((square + F2_HZ**2) * (square + F3_HZ**2)) * (square + F4_HZ**2)
    return amplitude_to_db(F4_HZ**2 * square * square / slopes)


def _c_db(f_hz: float) -> float:
    square = f_hz * f_hz
    return amplitude_to_db(F4_HZ**2 * square / ((square + F1_HZ**2) * (square + F4_HZ**2)))


def exact_hz(index: int) -> float:
    """Exact mid-band frequency of a third of an octave, base ten; 0 is 1 kHz. Clause 5.5, note: SEEN-S."""
    return float(1000.0 * 10.0 ** (index / 10.0))


NO_LIMIT: Final = -math.inf

# Nominal Hz: A, C (dB, printed; they hold at the exact frequency), class 1 limits above and below.
TABLE_3: Final[dict[float, tuple[float, float, float, float]]] = {
    10: (-70.4, -14.3, 3.0, NO_LIMIT), 12.5: (-63.4, -11.2, 2.5, NO_LIMIT), 16: (-56.7, -8.5, 2.0, -4.0),
    20: (-50.5, -6.2, 2.0, -2.0), 25: (-44.7, -4.4, 2.0, -1.5), 31.5: (-39.4, -3.0, 1.5, -1.5),
    40: (-34.6, -2.0, 1.0, -1.0), 50: (-30.2, -1.3, 1.0, -1.0), 63: (-26.2, -0.8, 1.0, -1.0),
    80: (-22.5, -0.5, 1.0, -1.0), 100: (-19.1, -0.3, 1.0, -1.0), 125: (-16.1, -0.2, 1.0, -1.0),
    160: (-13.4, -0.1, 1.0, -1.0), 200: (-10.9, 0.0, 1.0, -1.0), 250: (-8.6, 0.0, 1.0, -1.0),
    315: (-6.6, 0.0, 1.0, -1.0), 400: (-4.8, 0.0, 1.0, -1.0), 500: (-3.2, 0.0, 1.0, -1.0),
    630: (-1.9, 0.0, 1.0, -1.0), 800: (-0.8, 0.0, 1.0, -1.0), 1000: (0.0, 0.0, 0.7, -0.7),
    1250: (0.6, 0.0, 1.0, -1.0), 1600: (1.0, -0.1, 1.0, -1.0), 2000: (1.2, -0.2, 1.0, -1.0),
    2500: (1.3, -0.3, 1.0, -1.0), 3150: (1.2, -0.5, 1.0, -1.0), 4000: (1.0, -0.8, 1.0, -1.0),
    5000: (0.5, -1.3, 1.5, -1.5), 6300: (-0.1, -2.0, 1.5, -2.0), 8000: (-1.1, -3.0, 1.5, -2.5),
    10000: (-2.5, -4.4, 2.0, -3.0), 12500: (-4.3, -6.2, 2.0, -5.0), 16000: (-6.6, -8.5, 2.5, -16.0),
    20000: (-9.3, -11.2, 3.0, NO_LIMIT),
}  # fmt: skip
"""Table 3: frequency weightings and acceptance limits, class 1. SEEN-S."""

FIRST_INDEX: Final = -20
"""Of `exact_hz`, for the first row of Table 3."""

# Length in ms: LAFmax - LA, its limits; LASmax - LA, its limits; LAE - LA, its limits. None: not given.
Limited = tuple[float, float, float]
TABLE_4: Final[dict[float, tuple[Limited, Limited | None, Limited]]] = {
    1000: ((0.0, 0.5, -0.5), (-2.0, 0.5, -0.5), (0.0, 0.5, -0.5)),
    500: ((-0.1, 0.5, -0.5), (-4.1, 0.5, -0.5), (-3.0, 0.5, -0.5)),
    200: ((-1.0, 0.5, -0.5), (-7.4, 0.5, -0.5), (-7.0, 0.5, -0.5)),
    100: ((-2.6, 1.0, -1.0), (-10.2, 1.0, -1.0), (-10.0, 1.0, -1.0)),
    50: ((-4.8, 1.0, -1.0), (-13.1, 1.0, -1.0), (-13.0, 1.0, -1.0)),
    20: ((-8.3, 1.0, -1.0), (-17.0, 1.0, -1.5), (-17.0, 1.0, -1.0)),
    10: ((-11.1, 1.0, -1.0), (-20.0, 1.0, -2.0), (-20.0, 1.0, -1.0)),
    5: ((-14.1, 1.0, -1.0), (-23.0, 1.0, -2.5), (-23.0, 1.0, -1.0)),
    2: ((-18.0, 1.0, -1.5), (-27.0, 1.0, -3.0), (-27.0, 1.0, -1.5)),
    1: ((-21.0, 1.0, -2.0), None, (-30.0, 1.0, -2.0)),
    0.5: ((-24.0, 1.0, -2.5), None, (-33.0, 1.0, -2.5)),
    0.25: ((-27.0, 1.0, -3.0), None, (-36.0, 1.0, -3.0)),
}
"""Table 4: 4 kHz tonebursts against the steady tone, class 1. SEEN-S."""

# Frequency, cycles (half ones: 0.5, of either sign), LCpeak - LC in dB, limit on both sides.
TABLE_5: Final = (
    (31.5, 1.0, 2.5, 2.0),
    (500.0, 1.0, 3.5, 1.0),
    (8000.0, 1.0, 3.4, 2.0),
    (500.0, 0.5, 2.4, 1.0),
)
"""Table 5: C-weighted peak, class 1. SEEN-S."""
