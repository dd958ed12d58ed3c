"""Records of what a mono system makes of the low end."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class MonoMap:
    """Left and right against frequency, over a pass.

    Attributes
    ----------
    hz : tuple of float
        Frequencies, 20 to 250 Hz.
    lost_db : tuple of float
        What is lost in mono at each, 0 and below, shown no lower than -60 dB.
    """

    hz: tuple[float, ...]
    lost_db: tuple[float, ...]
