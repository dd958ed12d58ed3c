"""Targets, and the one place where a reading is held against one.

A target is a named set of limits on the measures of a pass. A verdict compares the value as
measured, not as shown, and a limit itself is inside. While the music is still playing,
nothing is called too quiet: *under* is said of a loudness only when the pass has ended, and
the short-term loudness S is held against the ceiling alone.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from meter.soundings import BANDS, Reading, Summary
from meter.summary_keys import value_of, why_null


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What may be limited: its unit, the range a limit can lie in, decimals on screen."""

    unit: str
    lowest: float
    highest: float
    decimals: int = 1
    is_level: bool = False  # too little of it is known only when the pass has ended

    def range_text(self) -> str:
        """The range a limit can lie in, with its unit."""
        return f"{self.lowest:g} to {self.highest:g}{' ' if self.unit else ''}{self.unit}"


_LOUDNESS: Final = Measure(unit="LUFS", lowest=-70.0, highest=10.0, is_level=True)
_FOLD_LOSS: Final = Measure(unit="dB", lowest=-60.0, highest=0.0)
_CORRELATION: Final = Measure(unit="", lowest=-1.0, highest=1.0, decimals=2)

MEASURES: Final[Mapping[str, Measure]] = {
    "integrated_lufs": _LOUDNESS,
    "loudest_30s_lufs": _LOUDNESS,
    "short_term_max_lufs": _LOUDNESS,
    "momentary_max_lufs": _LOUDNESS,
    "loudness_range_lu": Measure(unit="LU", lowest=0.0, highest=60.0, is_level=True),
    "true_peak_dbtp": Measure(unit="dBTP", lowest=-60.0, highest=20.0, is_level=True),
    "sample_peak_dbfs": Measure(unit="dBFS", lowest=-60.0, highest=20.0, is_level=True),
    "peak_to_loudness_lu": Measure(unit="LU", lowest=0.0, highest=60.0),
    "correlation": _CORRELATION,
    "low_correlation": _CORRELATION,
    **{f"fold_loss_db.{band}": _FOLD_LOSS for band in BANDS},
}
"""Every measure that a target can limit, by its key; bands stand behind a dot."""

SHORT_TERM_KEY: Final = "short_term_lufs"
"""Key of the verdict on a live S. Targets do not limit it: it follows from their ceilings."""


MOST_DECIMALS: Final = 10
"""A value that more would be needed for is written out in full."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A range that a measure should lie in; None = open at that end."""

    min: float | None = None
    max: float | None = None

    def text(self, decimals: int = 1) -> str:
        """The limit in words: "-8.0 to -6.0", "at most 0.0", "at least -1.0"."""
        low = None if self.min is None else limit_text(self.min, decimals)
        high = None if self.max is None else limit_text(self.max, decimals)
        if low is not None and high is not None:
            return f"{low} to {high}"
        return f"at least {low}" if high is None else f"at most {high}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A named set of limits, by measure key (`MEASURES`).

    ``live_limits`` are those that differ while the music is playing.
    """

    name: str
    title: str
    source: str
    limits: Mapping[str, Limit]
    live_limits: Mapping[str, Limit] = field(default_factory=dict)

    def limits_for(self, *, live: bool) -> Mapping[str, Limit]:
        """The limits that hold now."""
        return {**self.limits, **self.live_limits} if live else self.limits

    @property
    def true_peak_limit_dbtp(self) -> float:
        """Where an over begins: the target's limit, or full scale."""
        limit = self.limits.get("true_peak_dbtp")
        return 0.0 if limit is None or limit.max is None else limit.max


class Verdict(enum.Enum):
    """How a value lies to its limits. Always shown as glyph and word, never as colour alone."""

    INSIDE = "inside"
    OVER = "over"
    UNDER = "under"
    NOT_YET = "not yet"

    @property
    def word(self) -> str:
        """The word for people and for JSON."""
        return self.value

    @property
    def glyph(self) -> str:
        """One character that goes before the word."""
        return {"inside": "✓", "over": "▲", "under": "▼", "not yet": "…"}[self.value]

    def __str__(self) -> str:
        return f"{self.glyph} {self.word}"


def judge(
    target: Target, measured: Summary | Reading, *, live: bool = False, finished: bool = True
) -> dict[str, Verdict]:
    """Hold a pass, or the reading of a live one, against a target.

    Parameters
    ----------
    target : Target
        The limits.
    measured : Summary or Reading
        A `Reading` gives also `SHORT_TERM_KEY` where the target has a ceiling for it.
    live : bool
        Whether the limits for live programme hold.
    finished : bool
        Whether the pass has ended; before that no loudness is under. A `Reading` is never
        finished.

    Returns
    -------
    dict
        Measure key -> verdict, in the order of the target. A limit on what a pass cannot have
        (correlation of a mono file, a band in which there is nothing) gives no verdict.
    """
    finished = finished and isinstance(measured, Summary)
    limits = target.limits_for(live=live)
    verdicts = {}
    for key, limit in limits.items():
        if isinstance(measured, Reading):
            value = _live_value(measured, key)
        else:
            value = value_of(measured, key)
            if value is None and finished and why_null(measured, key) != "not yet":
                continue
        may_be_under = finished or not MEASURES[key].is_level
        verdicts[key] = verdict_on(value, limit, may_be_under=may_be_under)
    ceiling = _short_term_ceiling(limits)
    if isinstance(measured, Reading) and ceiling is not None:
        verdicts[SHORT_TERM_KEY] = verdict_on(measured.short_term_lufs, Limit(max=ceiling))
    return verdicts


class LiveVerdicts(Mapping[str, Verdict]):
    """What `judge` says of a reading, worked out when it is looked at: few look ten times a second.

    Parameters
    ----------
    target : Target
        Its limits for live programme hold.
    reading : Reading
    """

    def __init__(self, target: Target, reading: Reading) -> None:
        self._given = target, reading
        self._made: dict[str, Verdict] | None = None

    def _all(self) -> dict[str, Verdict]:
        if self._made is None:
            target, reading = self._given
            self._made = judge(target, reading, live=True)
        return self._made

    def __getitem__(self, key: str) -> Verdict:
        return self._all()[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._all())


def verdict_on(value: float | None, limit: Limit, *, may_be_under: bool = True) -> Verdict:
    """Hold one value against one limit; a limit itself is inside."""
    if value is None:
        return Verdict.NOT_YET
    if limit.max is not None and value > limit.max:
        return Verdict.OVER
    if limit.min is not None and value < limit.min:
        return Verdict.UNDER if may_be_under else Verdict.NOT_YET
    return Verdict.INSIDE


def value_text(value: float, *, decimals: int = 1, limit: Limit | None = None, plus: bool = False) -> str:
    """A value as shown: more decimals where fewer would contradict the verdict.

    Parameters
    ----------
    value : float
        ``-inf`` is silence and is shown as "-∞".
    decimals : int
        How many, unless the limit asks for more.
    limit : Limit, optional
        What the value is held against; shown as 0.04 rather than 0.0 when that is over 0.0.
    plus : bool
        Whether positive values carry their sign.
    """
    if math.isinf(value):
        return "-∞" if value < 0 else "∞"
    verdict = None if limit is None else verdict_on(value, limit)
    text = repr(value)
    for places in range(decimals, MOST_DECIMALS):
        rounded = f"{round(value, places) + 0.0:.{places}f}"
        if limit is None or verdict_on(float(rounded), limit) is verdict:
            text = rounded
            break
    return f"+{text}" if plus and float(text) > 0.0 else text


def limit_text(value: float, decimals: int = 1) -> str:
    """A limit as it was set, never rounded."""
    for places in range(decimals, MOST_DECIMALS):
        text = f"{value + 0.0:.{places}f}"
        if float(text) == value:
            return text
    return repr(value)


def _live_value(reading: Reading, key: str) -> float | None:
    name, _, band = key.partition(".")
    if name == "true_peak_dbtp":
        return max(reading.true_peak_max_dbtp, default=None)
    if name == "sample_peak_dbfs":
        return max(reading.sample_peak_max_dbfs, default=None)
    if name == "fold_loss_db":
        return reading.fold_loss_3s_db.get(band)
    if name == "correlation":
        return reading.correlation_3s
    value: float | None = getattr(reading, name)
    return value


def _short_term_ceiling(limits: Mapping[str, Limit]) -> float | None:
    """The loudest that S may be: its own limit, or that of the loudest 30 s."""
    for key in ("short_term_max_lufs", "loudest_30s_lufs"):
        limit = limits.get(key)
        if limit is not None and limit.max is not None:
            return limit.max
    return None
