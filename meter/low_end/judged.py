"""A low end that is known, judged again: by other settings, or only the part of it that is one pass."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from meter.low_end.clock import low_clock
from meter.low_end.kick_records import Kicks
from meter.low_end.kicks import kicks_of
from meter.low_end.mono_records import MonoMap
from meter.low_end.note_naming import by_concert_pitch, by_tuning, named
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings

EARLY_S: Final = 0.05
"""What begins at the first sample is placed up to so much before it."""
COLUMN_S: Final = 1.0

Span = tuple[float, float]


def judged_by(low_end: LowEnd, settings: LowEndSettings) -> LowEnd:
    """The same with its notes named by these settings; nothing else of it depends on them."""
    notes, tuning = named(low_end.sub_notes, settings)
    now = low_end.note_now
    if now is not None:
        now = by_tuning(by_concert_pitch(now, settings), tuning or 0.0, settings)
    return replace(low_end, sub_notes=notes, note_now=now, tuning_cents=tuning)


def part_of(
    low_end: LowEnd, settings: LowEndSettings, spans: Sequence[Span], *, zero_s: float, rate_hz: int
) -> LowEnd:
    """What of it lies in one pass, as if no more had been heard: its own tuning, its own medians.

    Parameters
    ----------
    low_end : LowEnd
        Of all that came from one source.
    settings : LowEndSettings
        For the names of its notes.
    spans : sequence of tuple
        Beginnings and ends of what belongs to the pass, in seconds of the clock of `low_end`.
    zero_s : float
        Where on that clock the pass counts from 0; all times are told from there.
    rate_hz : int
        Sample rate of the source.
    """

    def is_inside(at_s: float) -> bool:
        return any(first - EARLY_S <= at_s < last - EARLY_S for first, last in spans)

    notes, tuning = named(
        (replace(one, at_s=one.at_s - zero_s) for one in low_end.sub_notes if is_inside(one.at_s)), settings
    )
    return LowEnd(
        sub_notes=notes,
        unpitched=tuple(
            replace(one, at_s=one.at_s - zero_s) for one in low_end.unpitched if is_inside(one.at_s)
        ),
        tuning_cents=tuning,
        kicks=None if low_end.kicks is None else _kicks(low_end.kicks, is_inside, zero_s, rate_hz),
        mono=None if low_end.mono is None else _mono(low_end.mono, spans, zero_s),
    )


def _kicks(kicks: Kicks, is_inside: Callable[[float], bool], zero_s: float, rate_hz: int) -> Kicks:
    hits = [replace(hit, at_s=hit.at_s - zero_s) for hit in kicks.hits if is_inside(hit.at_s)]
    return kicks_of(hits, rate_hz=low_clock(rate_hz).rate_hz)


def _mono(mono: MonoMap, spans: Sequence[Span], zero_s: float) -> MonoMap | None:
    """The columns of which the greater part lies inside."""
    middle_s = mono.at_s + 0.5 * COLUMN_S
    is_inside = np.zeros(len(middle_s), np.bool_)
    for first, last in spans:
        is_inside |= (middle_s >= first) & (middle_s < last)
    if not is_inside.any():
        return None
    return MonoMap(hz=mono.hz, at_s=mono.at_s[is_inside] - zero_s, powers=mono.powers[is_inside])
