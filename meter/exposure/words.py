"""What stands beside every figure of exposure."""

from __future__ import annotations

from typing import Final

ESTIMATE: Final = (
    "An estimate from the levels above: no measurement by a sound level meter, and no medical advice."
)
LAW_FIRST: Final = (
    "The law of the place and qualified people come first (an audiologist, an occupational hygienist)."
)
STOP: Final = (
    "Ringing, dull or hurting ears: stop, whatever the number says, and see a doctor if it stays."
)
BASS: Final = "A-weighting nearly ignores sub bass, which counts too."

CAUTION: Final = (ESTIMATE, LAW_FIRST, STOP, BASS)


def hours_text(hours: float) -> str:
    """A time as people say it: "4 h", "1 h 15 min", "45 min", "50 s"."""
    seconds = round(hours * 3600.0)
    if seconds < 90:
        return f"{seconds} s"
    minutes = round(seconds / 60.0)
    whole, rest = divmod(minutes, 60)
    if whole >= 100:
        return f"{whole} h"
    return " ".join(part for part in (f"{whole} h" if whole else "", f"{rest} min" if rest else "") if part)
