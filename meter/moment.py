"""What is said of one moment of a timeline, and of a lane to who cannot see it."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from typing import Final

import numpy as np

from meter.lanes import Flag, Lane
from meter.live_pass import LivePass
from meter.music_sentences import band_text
from meter.shown import NOT_KNOWN, overs_unit
from meter.soundings import as_text_time
from meter.targets import value_text
from meter.timeline import SLOTS_A_SECOND, Timeline

SPOKEN_S: Final = 60
"""How much of a lane is told of."""

_BANDS: Final = {f"fold_{band}": band for band in ("below_crossover", "20-60", "60-120", "120-250")}


def moment_lines(timeline: Timeline, slot: int, *, pass_number: int | None = None) -> list[str]:
    """The numbers of one moment, each in a short line of its own, under one that says when in its pass.

    Parameters
    ----------
    slot : int
        Any; where nothing was measured that is said.
    pass_number : int, optional
        Of the list of passes; None where it is in none.
    """
    place = timeline.place(slot)
    if place is None:
        return [_why_nothing(timeline, slot)]
    live_pass, _ = place
    one = {key: float(timeline.values(key, slot, slot + 1)[0]) for key in _KEYS}
    lines = [
        *place_lines(timeline, slot, pass_number=pass_number),
        f"M {_text(one['momentary_lufs'])} LUFS",
        f"S {_text(one['short_term_lufs'])} LUFS",
        f"true peak {_text(one['true_peak_dbtp'], plus=True)} dBTP",
    ]
    if one["overs"] >= 1.0:
        lines.append(f"{one['overs']:.0f} {overs_unit(one['overs'])} here")
    if live_pass.channels == 1:
        return [*lines, "one channel: nothing to compare"]
    lines += [f"r {_text(one['correlation'], decimals=2)} over 3 s", "lost in mono over 3 s:"]
    for key, band in _BANDS.items():
        is_whole = band == "below_crossover"
        name = band_text(band, live_pass.crossover_hz) if is_whole else f"{band} Hz"
        lines.append(f"{name} {_text(one[key])} dB")
    return lines


def place_lines(timeline: Timeline, slot: int, *, pass_number: int | None = None) -> list[str]:
    """Where a moment is: in its pass, and by the clock on the wall where it was heard live; none outside."""
    place = timeline.place(slot)
    if place is None:
        return []
    in_pass, clock = as_text_time(place[1] - timeline.begins_s(slot)), _clock(*place)
    lines = [in_pass if pass_number is None else f"{in_pass}, pass {pass_number}"]
    return [*lines, f"{clock} by the clock"] if clock else lines


def where_lines(timeline: Timeline, slot: int, *, pass_number: int | None = None) -> list[str]:
    """What stands under the place of a finding: its pass, and the time by the clock; none of a file."""
    place = timeline.place(slot)
    lines = ["" if pass_number is None else f"pass {pass_number}", "" if place is None else _clock(*place)]
    return [line for line in lines if line]


def _clock(live_pass: LivePass, live_s: float) -> str:
    """When that was by the clock on the wall; empty of a file."""
    began_unix_s = live_pass.began_unix_s
    return time.strftime("%H:%M:%S", time.localtime(began_unix_s + live_s)) if began_unix_s else ""


_KEYS: Final = (
    "momentary_lufs",
    "short_term_lufs",
    "true_peak_dbtp",
    "overs",
    "correlation",
    *_BANDS,
)


def _text(value: float, *, decimals: int = 1, plus: bool = False) -> str:
    return NOT_KNOWN if math.isnan(value) else value_text(value, decimals=decimals, plus=plus)


def _why_nothing(timeline: Timeline, slot: int) -> str:
    if not 0 <= slot < timeline.slots:
        return "nothing was measured here"
    before = [event for event in timeline.events if event.slot <= slot and event.kind in ("gap", "hold")]
    return f"nothing was measured here: {before[-1].text}" if before else "nothing was measured here"


def spoken(timeline: Timeline | None, lane: Lane, flags: Sequence[Flag] = ()) -> str:
    """A lane in words, for those who do not see it: its flags, and the range of its newest minute.

    Parameters
    ----------
    timeline : Timeline or None
    lane : Lane
    flags : sequence of Flag
        As the lane shows them.
    """
    parts = [_flag_words(flag) for flag in flags]
    if timeline is not None:
        parts.append(_range_words(timeline, lane))
    said = "; ".join(part for part in parts if part)
    return f"{lane.question} {said or 'nothing yet'}"


def _flag_words(flag: Flag) -> str:
    value = "not known" if flag.value_text == NOT_KNOWN else flag.value_text
    words = " ".join(part for part in (flag.name, value, flag.unit) if part)
    return f"{words}, {flag.word}" if flag.word else words


def _range_words(timeline: Timeline, lane: Lane) -> str:
    stop = timeline.slots
    series = lane.series[0]
    values = timeline.values(series.key, stop - SPOKEN_S * SLOTS_A_SECOND, stop)
    heard = values[np.isfinite(values)]
    if len(heard) == 0:
        return ""
    lowest, highest = float(heard.min()), float(heard.max())
    decimals = 2 if lane.unit == "r" else 1
    unit = "" if lane.unit == "r" else f" {lane.unit}"
    high = value_text(highest, decimals=decimals)
    if lowest < lane.lowest:
        return f"{series.label} in the newest minute up to {high}{unit}"
    low = value_text(lowest, decimals=decimals)
    return f"{series.label} in the newest minute between {low} and {high}{unit}"
