"""Records of kicks."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Kicks:
    """The kicks of a pass.

    Attributes
    ----------
    count : int
    body_hz : float or None
        Median of the frequencies at which their bodies settle.
    spread_hz : float or None
        Half the distance between the quartiles of them.
    """

    count: int
    body_hz: float | None
    spread_hz: float | None
