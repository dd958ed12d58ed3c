"""What a mono system makes of the low end, as a value of the JSON."""

from __future__ import annotations

from typing import Any

from meter.low_end.mono_summary import summarise
from meter.low_end.records import LowEnd


def mono_object(low_end: LowEnd, *, crossover_hz: float) -> dict[str, Any] | None:
    """The value of ``mono``; None where too little was heard to tell.

    Parameters
    ----------
    low_end : LowEnd
    crossover_hz : float
        The worst places are those below it.
    """
    if low_end.mono is None:
        return None
    found = summarise(low_end.mono, crossover_hz=crossover_hz)
    return {
        "bands": [
            {
                "hz": round(band.hz, 2),
                "lost_db": _rounded(band.lost_db),
                "phase_deg": _rounded(band.phase_deg),
            }
            for band in found.bands
        ],
        "if_summed": [
            {
                "below_hz": one.below_hz,
                "lost_db": _rounded(one.lost_db),
                "low_end_db": _rounded(one.low_end_db),
            }
            for one in found.if_summed
        ],
        "worst": [
            {"at_s": round(place.at_s, 3), "seconds": place.seconds, "lost_db": _rounded(place.lost_db)}
            for place in found.worst
        ],
        "flipped_below_hz": _rounded(found.flipped_below_hz),
        "delay_ms": found.delay_ms,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3) + 0.0
