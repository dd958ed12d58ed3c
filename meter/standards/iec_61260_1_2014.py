"""Constants of IEC 61260-1:2014, octave-band and fractional-octave-band filters.

From memory: the text of the standard was not seen. The tests hold the nominal frequencies against
the preferred numbers of the R10 series (ISO 3 and ISO 266, from memory too) and the edges against each other.
"""

from __future__ import annotations

from typing import Final

DOCUMENT: Final = "IEC 61260-1:2014"

OCTAVE_RATIO: Final = 10.0 ** (3.0 / 10.0)
"""G, base ten. Clause 5.2."""

REFERENCE_HZ: Final = 1000.0
"""Clause 5.3."""

BANDS_AN_OCTAVE: Final = 3
"""The bandwidth designator 1/b with b = 3."""

FIRST_INDEX: Final = -17
LAST_INDEX: Final = 13
"""x of the bands of nominal 20 Hz to 20 kHz."""

_R10: Final = ("1", "1.25", "1.6", "2", "2.5", "3.15", "4", "5", "6.3", "8")
"""Nominal frequencies in a decade. Annex E; the R10 series of preferred numbers."""


def exact_hz(index: int) -> float:
    """Exact mid-band frequency: reference · G^(x/b), b odd. Clause 5.4."""
    return float(REFERENCE_HZ * OCTAVE_RATIO ** (index / BANDS_AN_OCTAVE))


def edges_hz(index: int) -> tuple[float, float]:
    """Lower and upper band-edge frequency: mid-band · G^(∓1/(2b)). Clause 5.5."""
    half = OCTAVE_RATIO ** (1.0 / (2.0 * BANDS_AN_OCTAVE))
    middle_hz = exact_hz(index)
    return middle_hz / half, middle_hz * half


def nominal_hz(index: int) -> float:
    """Nominal mid-band frequency, such as 31.5 or 1250: for labels only. Annex E."""
    decade, place = divmod(index, len(_R10))
    return float(f"{_R10[place]}e{decade + 3}")


def indices() -> range:
    """Every band, from nominal 20 Hz to 20 kHz."""
    return range(FIRST_INDEX, LAST_INDEX + 1)
