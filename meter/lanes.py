"""The lanes: which question each asks, what it draws, and the flags that tell its reading now."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from meter.music_sentences import band_text
from meter.now import Now
from meter.shown import BELOW, loudness_limit, overs_unit, recent_peak, shown
from meter.targets import SHORT_TERM_KEY, Limit, Target


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneSeries:
    """One line of a lane.

    Attributes
    ----------
    key : str
        Of `meter.timeline.KEYS`.
    label, short : str
        Its name, and one for little room.
    role : str
        "main": the line that the flag rides on; "beside": thinner; "marks": a mark at each slot
        that is not 0.
    """

    key: str
    label: str
    role: str
    short: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One strip of the window.

    Attributes
    ----------
    key, question, unit : str
    lowest, highest : float
        Of its axis; what lies outside is drawn at the edge.
    ticks : tuple of float
    series : tuple of LaneSeries
        The main one first.
    tick_texts : tuple of str
        What is written at the ticks; empty: their values.
    picture : str
        What is drawn instead of series: see `meter.low_end.picture`.
    says : str
        What its signs mean, in a few words.
    wanted, wanted_text : tuple of two float or None, str
        What the user wants of it, apart from any target.
    """

    key: str
    question: str
    unit: str
    lowest: float
    highest: float
    ticks: tuple[float, ...]
    series: tuple[LaneSeries, ...]
    tick_texts: tuple[str, ...] = ()
    picture: str = ""
    says: str = ""
    wanted: tuple[float, float] | None = None
    wanted_text: str = ""

    def band(self, target: Target | None) -> Limit | None:
        """What of the lane a target allows; None without one, or where it says nothing."""
        if self.key == "loudness":
            found = loudness_limit(target)
            return None if found is None else found[1]
        return None if target is None else target.limits_for(live=True).get(_BAND_KEYS.get(self.key, ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A reading as it rides on its line.

    Attributes
    ----------
    key : str
        Of the series at whose tip it rides; of no series ("loudest_30s_lufs", ...) when it tells of
        the whole pass.
    name, value_text, unit : str
        "S", "-8.3", "LUFS". A value that is not known is "--".
    glyph, word : str
        The verdict; both empty when there is none.
    at : float or None
        Where it lies on the axis, where the number does not say so.
    """

    key: str
    name: str
    value_text: str
    unit: str
    glyph: str = ""
    word: str = ""
    at: float | None = None

    @property
    def text(self) -> str:
        """All of it in one line."""
        parts = (self.name, self.value_text, self.unit, self.glyph, self.word)
        return " ".join(part for part in parts if part)


_BAND_KEYS: Final = {
    "peak": "true_peak_dbtp",
    "room": "true_peak_dbtp",
    "sides": "correlation",
    "mono": BELOW,
}

LANES: Final = (
    Lane(
        key="loudness",
        question="How loud?",
        unit="LUFS",
        lowest=-24.0,
        highest=0.0,
        ticks=(-24.0, -18.0, -12.0, -6.0, 0.0),
        series=(
            LaneSeries(key="short_term_lufs", label="S short-term", short="S", role="main"),
            LaneSeries(key="momentary_lufs", label="M momentary", short="M", role="beside"),
        ),
    ),
    Lane(
        key="peak",
        question="Any overs?",
        unit="dBTP",
        lowest=-18.0,
        highest=3.0,
        ticks=(-18.0, -12.0, -6.0, 0.0, 3.0),
        series=(
            LaneSeries(key="true_peak_dbtp", label="true peak", role="main"),
            LaneSeries(key="overs", label="overs", role="marks"),
        ),
    ),
    Lane(
        key="sides",
        question="Left and right?",
        unit="r",
        lowest=-1.0,
        highest=1.0,
        ticks=(-1.0, -0.5, 0.0, 0.5, 1.0),
        series=(LaneSeries(key="correlation", label="correlation, 3 s", role="main"),),
    ),
    Lane(
        key="mono",
        question="Lost in mono?",
        unit="dB",
        lowest=-12.0,
        highest=0.0,
        ticks=(-12.0, -9.0, -6.0, -3.0, 0.0),
        series=(
            LaneSeries(key="fold_below_crossover", label="below the crossover", short="low", role="main"),
            LaneSeries(key="fold_20-60", label="20 to 60 Hz", short="20-60", role="beside"),
            LaneSeries(key="fold_60-120", label="60 to 120 Hz", short="60-120", role="beside"),
            LaneSeries(key="fold_120-250", label="120 to 250 Hz", short="120-250 Hz", role="beside"),
        ),
    ),
)
"""The lanes of the arrangement Master, from the top."""

_ROOM_LU: Final = 12.0
"""Seen below the lower edge of a target: breakdowns lie about that far under drops."""

_STEP_LU: Final = 6.0


def lanes_for(target: Target | None) -> tuple[Lane, ...]:
    """The lanes, with the axis of loudness reaching down far enough to see the target and below it."""
    return tuple(_reaching(lane, target) if lane.key == "loudness" else lane for lane in LANES)


def _reaching(lane: Lane, target: Target | None) -> Lane:
    band = lane.band(target)
    edge_lufs = None if band is None else band.max if band.min is None else band.min
    if edge_lufs is None:
        return lane
    steps = min(math.floor((edge_lufs - _ROOM_LU) / _STEP_LU), round(lane.lowest / _STEP_LU))
    ticks = tuple(step * _STEP_LU for step in range(steps, 1))
    return replace(lane, lowest=ticks[0], ticks=ticks)


def flags(now: Now, lane: Lane) -> tuple[Flag, ...]:
    """What rides on a lane now; the first is that of its main line.

    Values and verdicts are those of `meter.shown`, as in the text of `listen`.
    """
    return tuple(_FLAGS[lane.key](now))


def _of_loudness(now: Now) -> Iterator[Flag]:
    yield _flag(now, SHORT_TERM_KEY, "S", "LUFS")
    asked = loudness_limit(now.target)
    key = "loudest_30s_lufs" if asked is None else asked[0]
    yield _flag(now, key, _LOUDNESS_NAMES[key], "LUFS")


_LOUDNESS_NAMES: Final = {
    "loudest_30s_lufs": "loudest 30 s",
    "integrated_lufs": "integrated",
    "short_term_max_lufs": "highest S",
    "momentary_max_lufs": "highest M",
}


def _of_peak(now: Now) -> Iterator[Flag]:
    yield Flag(key="true_peak_dbtp", name="peak, 3 s", value_text=recent_peak(now), unit="dBTP")
    yield _flag(now, "true_peak_dbtp", "highest", "dBTP", key_shown="true_peak_max_dbtp")
    if now.reading is not None and now.reading.overs:
        count = now.reading.overs
        yield Flag(key="overs", name="", value_text=str(count), unit=overs_unit(count))


def _of_sides(now: Now) -> Iterator[Flag]:
    if now.channels == 1:
        yield Flag(key="correlation", name="one channel", value_text="", unit="")
    else:
        yield _flag(now, "correlation", "r", "")


def _of_mono(now: Now) -> Iterator[Flag]:
    if now.channels == 1:
        yield Flag(key="fold_below_crossover", name="nothing", value_text="", unit="")
    else:
        name = band_text("below_crossover", now.crossover_hz)
        yield _flag(now, BELOW, name, "dB", key_shown="fold_below_crossover")


_FLAGS: Final = {"loudness": _of_loudness, "peak": _of_peak, "sides": _of_sides, "mono": _of_mono}


def _flag(now: Now, key: str, name: str, unit: str, *, key_shown: str | None = None) -> Flag:
    found = shown(now, key)
    verdict = found.verdict
    return Flag(
        key=key if key_shown is None else key_shown,
        name=name,
        value_text=found.text,
        unit=unit,
        glyph="" if verdict is None else verdict.glyph,
        word="" if verdict is None else verdict.word,
    )
