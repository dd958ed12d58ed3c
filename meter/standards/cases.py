"""A published test case as data, and the ways in which a reading is taken from it.

A row says which signal, from which document and clause, what is read, what is expected, the
limits, and the value that an ideal meter shows for the ideal signal. `leadline prove` and the
tests run over the same rows. A way of reading (`Take`) gets what a meter made of each part of
the signal and returns every value that must hold: all of them are compared, not the best one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal, Protocol

import numpy as np

from meter.soundings import Reading, Summary
from meter.units import Floats, Samples

Unit = Literal["LUFS", "LU", "dBTP"]

EBU_MODE_LU: Final = 0.1
"""Tolerance of the loudness cases. EBU Tech 3341 v4, Table 1 (SEEN-S); the same figure in
ITU-R BS.2217-2 (SEEN-S)."""

IDEAL_LU: Final = 0.02
"""How near an ideal value our own reading has to lie at 48 kHz. Our own, stricter, limit."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Signal:
    """Audio with what a meter has to know about it. ``weights`` None: by channel count."""

    samples: Samples
    rate_hz: int
    weights: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """A look at a meter that runs: what it shows after so many seconds were fed to it."""

    fed_s: float
    reading: Reading


class Measured(Protocol):
    """What a meter made of one part of a signal, fed from the start."""

    def summary(self) -> Summary:
        """The numbers of the part as a file."""

    def glances(self) -> Sequence[Glance]:
        """What it showed while the part ran, every 50 ms."""


Take = Callable[[Sequence[Measured]], Floats]
"""Every value that must hold; NaN where the meter gave none."""

Parts = Callable[[], Iterator[Signal]]
"""Makes the signal, part by part; each part is measured by a meter of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One row. Limits are inclusive; ``ideal`` None: the document's value is the only one."""

    name: str
    document: str
    clause: str
    parts: Parts
    reads: str
    take: Take
    unit: Unit
    expected: float
    low: float
    high: float
    ideal: float | None
    ideal_within: float | None
    ideal_status: str
    rate_hz: int = 48_000


def one(signal: Callable[[], Signal]) -> Parts:
    """A signal of one part."""

    def parts() -> Iterator[Signal]:
        yield signal()

    return parts


def value_of(number: float | None, why_null: str | None) -> float:
    """Silence as -inf, however it is told; NaN for a value that is missing otherwise."""
    if number is None:
        return -math.inf if why_null == "silence" else math.nan
    return number


def _each(parts: Sequence[Measured], key: str) -> Floats:
    summaries = [part.summary() for part in parts]
    return np.array([value_of(getattr(summary, key), summary.why_null.get(key)) for summary in summaries])


def integrated(parts: Sequence[Measured]) -> Floats:
    """I of each part."""
    return _each(parts, "integrated_lufs")


def loudness_range(parts: Sequence[Measured]) -> Floats:
    """LRA of each part."""
    return _each(parts, "loudness_range_lu")


def momentary_max(parts: Sequence[Measured]) -> Floats:
    """Maximum M of each part, measured as a file."""
    return _each(parts, "momentary_max_lufs")


def short_term_max(parts: Sequence[Measured]) -> Floats:
    """Maximum S of each part, measured as a file."""
    return _each(parts, "short_term_max_lufs")


def true_peak(parts: Sequence[Measured]) -> Floats:
    """Highest true peak of each part, over its channels."""
    return _each(parts, "true_peak_dbtp")


def _shown(key: str, *, after_s: float) -> Take:
    def take(parts: Sequence[Measured]) -> Floats:
        shown = [
            value_of(getattr(glance.reading, key), None)
            for part in parts
            for glance in part.glances()
            if glance.fed_s > after_s + 1e-9
        ]
        return np.array(shown or [math.nan])

    return take


def momentary_shown(*, after_s: float) -> Take:
    """M at every look after so many seconds."""
    return _shown("momentary_lufs", after_s=after_s)


def short_term_shown(*, after_s: float) -> Take:
    """S at every look after so many seconds."""
    return _shown("short_term_lufs", after_s=after_s)


def _climb(key: str, *, segment_s: float, levels_lufs: Sequence[float]) -> Take:
    """How far the running maximum is off its expected value when each segment ends."""

    def take(parts: Sequence[Measured]) -> Floats:
        (part,) = parts
        at_end = {round(glance.fed_s / segment_s, 6): glance.reading for glance in part.glances()}
        shown = [at_end[number] for number in range(1, len(levels_lufs) + 1)]
        values = [value_of(getattr(reading, key), None) for reading in shown]
        return np.array([value - level for value, level in zip(values, levels_lufs, strict=True)])

    return take


def momentary_climb(*, segment_s: float, levels_lufs: Sequence[float]) -> Take:
    """The maximum M so far, at the end of each segment, less the value expected there."""
    return _climb("momentary_max_lufs", segment_s=segment_s, levels_lufs=levels_lufs)


def short_term_climb(*, segment_s: float, levels_lufs: Sequence[float]) -> Take:
    """The maximum S so far, at the end of each segment, less the value expected there."""
    return _climb("short_term_max_lufs", segment_s=segment_s, levels_lufs=levels_lufs)
