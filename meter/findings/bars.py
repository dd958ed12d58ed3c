"""Places in bars and beats, beside minutes and seconds, where the tempo is known."""

from __future__ import annotations

import math
import re
from typing import Final

from meter.phrases import BEATS_A_BAR

_TIME: Final = re.compile(r"\b(\d+):(\d\d\.\d)\b")


def bar_text(at_s: float, *, bpm: float, downbeat_s: float) -> str:
    """Bar and beat of a moment, "12:3", counted from 1; before the first downbeat bars are 0 and less."""
    beat = math.floor((at_s - downbeat_s) * bpm / 60.0 + 1e-6)
    bar, in_bar = divmod(beat, BEATS_A_BAR)
    return f"{bar + 1}:{in_bar + 1}"


def with_bars(text: str, *, bpm: float, downbeat_s: float) -> str:
    """A sentence with bar and beat behind each of its times."""

    def both(found: re.Match[str]) -> str:
        at_s = 60.0 * int(found[1]) + float(found[2])
        return f"{found[0]} (bar {bar_text(at_s, bpm=bpm, downbeat_s=downbeat_s)})"

    return _TIME.sub(both, text)
