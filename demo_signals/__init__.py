"""The demo scenario: a tune of our own with planted faults.

A sketch of about two and a half minutes at 174 BPM, from code alone and always the same:
swept kick, broken beat, tuned sub, mid bass, pad, bells, two drops, and a mastering stage.
What is wrong with it, and where, is written down in `demo_signals.faults`.

`render` gives the tune, `stream` the same in blocks, `excerpts` the short files that are
shipped; ``python -m demo_signals --write DIR`` writes the files anew, and the whole tune.
"""

from demo_signals import faults
from demo_signals.mixdown import duration_s, render, stream
from demo_signals.pattern import BPM, FIRST_DOWNBEAT_S, RATE_HZ
from demo_signals.shipped import excerpts

__all__ = [
    "BPM",
    "FIRST_DOWNBEAT_S",
    "RATE_HZ",
    "duration_s",
    "excerpts",
    "faults",
    "render",
    "stream",
]
