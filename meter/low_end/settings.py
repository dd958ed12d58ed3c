"""What the low end is held against: the user's tuning, key, band of the kick and crossover."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from meter.errors import UsageError
from meter.low_end.note_names import key_classes
from meter.standards.iso_16_1975 import A4_HZ

A4_RANGE_HZ: Final = (415.0, 466.0)
"""From old pitch a semitone below to a semitone above. Common practice, no source."""
KICK_BAND_HZ: Final = (90.0, 100.0)
"""Where the body of a kick is to lie, clear of the sub. Common practice, no source."""
KICK_RANGE_HZ: Final = (30.0, 200.0)
CROSSOVER_HZ: Final = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LowEndSettings:
    """How the low end is looked at.

    Attributes
    ----------
    a4_hz : float
        Concert pitch, 415 to 466 Hz.
    key : str or None
        Such as "F minor"; notes outside it are marked.
    kick_band_hz : tuple of two float
        Where the body of a kick is wanted, within 30 to 200 Hz.
    crossover_hz : float
        Where a club's subs end.

    Raises
    ------
    UsageError
        Out of range.
    """

    a4_hz: float = A4_HZ
    key: str | None = None
    kick_band_hz: tuple[float, float] = KICK_BAND_HZ
    crossover_hz: float = CROSSOVER_HZ

    def __post_init__(self) -> None:
        if not A4_RANGE_HZ[0] <= self.a4_hz <= A4_RANGE_HZ[1]:
            raise UsageError(
                f"the concert pitch is {self.a4_hz:g} Hz; expected {A4_RANGE_HZ[0]:g} to "
                f"{A4_RANGE_HZ[1]:g} Hz, such as 440"
            )
        if self.key is not None:
            key_classes(self.key)
        low, high = self.kick_band_hz
        if not KICK_RANGE_HZ[0] <= low < high <= KICK_RANGE_HZ[1]:
            raise UsageError(
                f"the band of the kick is {low:g} to {high:g} Hz; expected two frequencies of "
                f"{KICK_RANGE_HZ[0]:g} to {KICK_RANGE_HZ[1]:g} Hz, the lower one first, such as 90 to 100"
            )
