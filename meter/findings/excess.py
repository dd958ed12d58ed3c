"""How far a stretch is over what is meant: the excess in the severity "excess times seconds"."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from meter.units import amplitude_to_db, power_to_lufs

Sums = tuple[float, float, float]

DC_LIMIT: Final = 0.01
"""Mean sample from which DC is worth a word: 1 % takes 0.09 dB of headroom. Common practice, no source."""

WEIGHT_OF_R: Final = 10.0
"""r one under its limit counts as much as 10 dB."""


def loudness_of(sums: Sums) -> float:
    """LUFS of a stretch whose sums are weighted K power and frames."""
    return power_to_lufs(sums[0] / sums[1]) if sums[1] > 0.0 else -math.inf


def offset_of(sums: Sums) -> float:
    """Mean sample of a stretch whose sums are samples and frames."""
    return sums[0] / sums[1] if sums[1] > 0.0 else 0.0


def correlation_of(sums: Sums) -> float:
    """R of a stretch whose sums are left, right and their product; 0 where a side is silent."""
    ll, rr, lr = sums
    return lr / math.sqrt(ll * rr) if ll > 0.0 and rr > 0.0 else 0.0


EXCESS: Final[dict[str, Callable[[Sums, float], float]]] = {
    "too loud": lambda sums, limit_lufs: max(loudness_of(sums) - limit_lufs, 0.0),
    "dc": lambda sums, limit: max(amplitude_to_db(abs(offset_of(sums)) / DC_LIMIT), 0.0),
    "against": lambda sums, limit: max(limit - correlation_of(sums), 0.0) * WEIGHT_OF_R,
}
"""By kind: dB over the limit, from the sums and the limit."""
