"""A pass against the shelf, at equal loudness.

Louder sounds better, so nothing is compared before the loudest 30 s are equally loud: the trim says
how much to turn the pass up or down for that. What does not change with level is compared as it is.
With fewer than ten references the two nearest are named; a rank among so few would say nothing.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.errors import UsageError
from meter.shelf.reference import SHARE_BANDS, Reference
from meter.soundings import BANDS
from meter.standards import iec_61260_1_2014 as iec
from meter.units import TWO_SPEAKERS_LU

ENOUGH_FOR_A_RANK: Final = 10

NEIGHBOURS: Final = 2

HEARD_DB: Final = -60.0
"""A band this far under the loudest one is not compared: noise and dither, as a rule."""

_Z: Final = 1.959964
"""Two-sided 95 % of a normal distribution. CALC."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rank:
    """Where a value stands among ten references or more.

    Attributes
    ----------
    above : float
        How many references lie lower; one that is equal counts half.
    of : int
        How many there are.
    low_pct, high_pct : float
        What this says of all records like these: 95 % interval of the share that lies lower.
    """

    above: float
    of: int
    low_pct: float
    high_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One measure, compared.

    Attributes
    ----------
    key : str
        Such as "integrated_lufs" or "fold_loss_db.20-60".
    value : float
        Of the pass; levels after the trim.
    middle : float
        Median of the references.
    lowest, highest : float
        Of the references.
    nearest : tuple of (str, float)
        With fewer than ten: the two nearest by name, with their values.
    rank : Rank or None
        With ten and more.
    """

    key: str
    value: float
    middle: float
    lowest: float
    highest: float
    nearest: tuple[tuple[str, float], ...]
    rank: Rank | None

    @property
    def difference(self) -> float:
        """How far it lies from the middle of the references."""
        return self.value - self.middle

    @property
    def is_outside(self) -> bool:
        """Whether no reference reaches so far."""
        return not self.lowest <= self.value <= self.highest


@dataclass(frozen=True, slots=True, kw_only=True)
class BandDifference:
    """One third-octave band of the loudest 30 s at equal loudness.

    Attributes
    ----------
    nominal_hz : float
        Name of the band.
    difference_db : float
        Against the median of the references.
    lowest_db, highest_db : float
        How far the references themselves lie from their median there.
    """

    nominal_hz: float
    difference_db: float
    lowest_db: float
    highest_db: float

    @property
    def is_outside(self) -> bool:
        """Whether no reference reaches so far."""
        return not self.lowest_db <= self.difference_db <= self.highest_db


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A pass against some references.

    Attributes
    ----------
    name : str
    is_mono : bool
        It has one channel, and is compared as it is played on two speakers: 3.01 LU louder.
    references : tuple of str
    trim_db : float
        Makes its loudest 30 s as loud as the median of theirs.
    true_peak_after_dbtp : float or None
        Its true peak after that trim.
    loudest_30s_at_s : float or None
        Where its loudest 30 s begin; None where it is shorter and all of it stands in.
    differences : tuple of Difference
        Those that can be told.
    bands : tuple of BandDifference
        From low to high; none where one side has no spectrum.
    """

    name: str
    references: tuple[str, ...]
    trim_db: float
    true_peak_after_dbtp: float | None
    loudest_30s_at_s: float | None
    differences: tuple[Difference, ...]
    bands: tuple[BandDifference, ...]
    is_mono: bool = False


LEVEL_KEYS: Final = ("integrated_lufs",)
"""Measures that the trim moves."""

KEYS: Final = (
    *LEVEL_KEYS,
    "peak_to_loudness_lu",
    "loudness_range_lu",
    *(f"share_db.{band}" for band in SHARE_BANDS),
    *(f"fold_loss_db.{band}" for band in BANDS),
)
"""What is compared, in the order in which it is shown."""


def value_of(reference: Reference, key: str) -> float | None:
    """The value of one of `KEYS`; None where there is none."""
    name, _, band = key.partition(".")
    value: float | None = getattr(reference, name)[band] if band else getattr(reference, name)
    return value


def compare(one: Reference, shelf: Sequence[Reference]) -> Comparison:
    """Hold a pass against references.

    Parameters
    ----------
    one : Reference
        Measured as they were (`meter.shelf.measure`).
    shelf : sequence of Reference
        One or more.

    Raises
    ------
    UsageError
        There is nothing to compare with.
    """
    loud = [other for other in shelf if other.loudest_30s_lufs is not None]
    if not loud:
        raise nothing_to_compare_with()
    assert one.loudest_30s_lufs is not None, "silence is refused where it is measured"
    trim_db = statistics.median(_heard(other) for other in loud) - _heard(one)
    differences = (_difference(one, loud, key) for key in KEYS)
    peak = one.true_peak_dbtp
    return Comparison(
        name=one.name,
        is_mono=one.is_mono,
        references=tuple(other.name for other in loud),
        trim_db=trim_db,
        true_peak_after_dbtp=None if peak is None else peak + trim_db,
        loudest_30s_at_s=None if one.loudest_30s_is_whole else one.loudest_30s_at_s,
        differences=tuple(found for found in differences if found is not None),
        bands=_bands(one, loud),
    )


def nothing_to_compare_with() -> UsageError:
    """The sentence for an empty shelf."""
    return UsageError("there is no reference on the shelf; add one with `leadline shelf add FILE`")


def _loudest(reference: Reference) -> float:
    assert reference.loudest_30s_lufs is not None
    return reference.loudest_30s_lufs


def _heard(reference: Reference) -> float:
    """Its loudest 30 s as they are heard: one channel comes from two speakers."""
    return _loudest(reference) + TWO_SPEAKERS_LU * reference.is_mono


def _matched(reference: Reference, key: str) -> float | None:
    """A value as it is when the loudest 30 s read 0 LUFS."""
    value = value_of(reference, key)
    if value is not None and key == "peak_to_loudness_lu":
        return value - TWO_SPEAKERS_LU * reference.is_mono
    return value - _loudest(reference) if value is not None and key in LEVEL_KEYS else value


def _difference(one: Reference, others: Sequence[Reference], key: str) -> Difference | None:
    mine = _matched(one, key)
    theirs = [(other.name, found) for other in others if (found := _matched(other, key)) is not None]
    if mine is None or not theirs:
        return None
    # Levels are told as they are after the trim, not against 0 LUFS.
    base = statistics.median(_heard(other) for other in others) if key in LEVEL_KEYS else 0.0
    values = [value for _, value in theirs]
    nearest = sorted(theirs, key=lambda pair: abs(pair[1] - mine))[:NEIGHBOURS]
    is_many = len(theirs) >= ENOUGH_FOR_A_RANK
    return Difference(
        key=key,
        value=mine + base,
        middle=statistics.median(values) + base,
        lowest=min(values) + base,
        highest=max(values) + base,
        nearest=() if is_many else tuple((name, value + base) for name, value in nearest),
        rank=rank(mine, values) if is_many else None,
    )


def rank(value: float, among: Sequence[float]) -> Rank:
    """Where a value stands among others.

    Source
    ------
    Interval of a share: E. B. Wilson 1927, JASA 22:209. From memory; CALC in the tests.
    """
    count = len(among)
    lower = sum(1.0 for other in among if other < value) + 0.5 * sum(1.0 for other in among if other == value)
    share, spread = lower / count, _Z**2 / count
    centre = (share + spread / 2.0) / (1.0 + spread)
    half = _Z / (1.0 + spread) * float(np.sqrt(share * (1.0 - share) / count + spread / (4.0 * count)))
    return Rank(
        above=lower,
        of=count,
        low_pct=max(0.0, 100.0 * (centre - half)),
        high_pct=min(100.0, 100.0 * (centre + half)),
    )


def _bands(one: Reference, others: Sequence[Reference]) -> tuple[BandDifference, ...]:
    theirs = [_matched_spectrum(other) for other in others if other.spectrum_db is not None]
    if one.spectrum_db is None or not theirs:
        return ()
    mine = _matched_spectrum(one)
    all_theirs = np.array(theirs)
    found = []
    for place, index in enumerate(iec.indices()):
        levels = all_theirs[:, place]
        levels = levels[~np.isnan(levels)]
        if len(levels) == 0 or np.isnan(mine[place]):
            continue
        middle = float(np.median(levels))
        if max(middle, mine[place]) < HEARD_DB + max(np.nanmax(mine), np.nanmax(all_theirs)):
            continue
        found.append(
            BandDifference(
                nominal_hz=iec.nominal_hz(index),
                difference_db=float(mine[place]) - middle,
                lowest_db=float(levels.min()) - middle,
                highest_db=float(levels.max()) - middle,
            )
        )
    return tuple(found)


def _matched_spectrum(reference: Reference) -> list[float]:
    assert reference.spectrum_db is not None
    return [np.nan if db is None else db - _loudest(reference) for db in reference.spectrum_db]
