"""What a sentence says of the music: overs, what is lost in mono, the target, loudness.

Each names the place, the amount, what to try, and where it applies why it may be fine.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from meter.now import Now
from meter.sentence_kinds import RECENT_S, Kind, Sentence
from meter.soundings import BANDS, LOW_BANDS, Reading, as_text_time
from meter.targets import MEASURES, SHORT_TERM_KEY, Limit, Target, Verdict, limit_text, value_text
from meter.units import power_to_db

MONO_LOSS_DB: Final = -1.0
"""What may be lost in mono where no target says another. Common practice, no source."""

ALIKE_R: Final = 0.9
APART_DB: Final = 10.0
"""Bass whose sides are so alike in form, or so far apart in level, is one-sided: not a matter of phase."""

LOWER_IT: Final = "lower the ceiling by as much, unless it is meant to clip"
PUT_IN_THE_MIDDLE: Final = "put it in the middle, or leave it if meant so"
"""What to try, and why it may be fine."""

LOUDNESS_KEYS: Final = ("loudest_30s_lufs", "integrated_lufs", "short_term_max_lufs", "momentary_max_lufs")
"""Loudness that a target may limit, the one that tells most first."""

NAMES: Final = {
    "integrated_lufs": "the integrated loudness",
    "loudest_30s_lufs": "the loudest 30 s",
    "short_term_max_lufs": "the highest short-term loudness",
    "momentary_max_lufs": "the highest momentary loudness",
    "loudness_range_lu": "the loudness range",
    "peak_to_loudness_lu": "the PLR",
    "low_correlation": "the correlation of the low end",
}

DIFFERENCE_UNITS: Final = {"LUFS": " LU", "LU": " LU", "": ""}


# --- what is wrong in the music


def of_overs(now: Now, reading: Reading) -> Iterator[Sentence]:
    """The newest over, while it is news."""
    over = now.last_over
    if over is None or reading.at_s - over.until_s > RECENT_S:
        return
    so_far = f", {reading.overs} overs so far" if reading.overs > 1 else ""
    what = over_text(over.peak_dbtp, now.over_limit_dbtp, max(over.at_s - now.listed_at_s, 0.0))
    yield Sentence(kind=Kind.OVER, text=f"{what}{so_far}: {LOWER_IT}")


def over_text(peak_dbtp: float, limit_dbtp: float, at_s: float) -> str:
    """How far the true peak went over, and when."""
    above = value_text(peak_dbtp - limit_dbtp, limit=Limit(max=0.0))
    return f"the true peak went {above} dB over {limit_text(limit_dbtp)} dBTP at {as_text_time(at_s)}"


def of_mono(now: Now, reading: Reading) -> Iterator[Sentence]:
    """The band that loses most in mono, of those that lose too much."""
    worst: tuple[float, str, float] | None = None
    for band, lowest_db in mono_limits(now.target).items():
        loss_db = reading.fold_loss_3s_db.get(band)
        if loss_db is not None and loss_db < lowest_db and (worst is None or loss_db < worst[0]):
            worst = loss_db, band, lowest_db
    if worst is None:
        return
    loss_db, band, lowest_db = worst
    what = f"{lost_text(loss_db, lowest_db, band, now.crossover_hz)} (3 s, at most {limit_text(-lowest_db)})"
    column = BANDS.index(band)
    sums = (float(now.recent[name][:, column].astype(np.float64).sum()) for name in ("ll", "rr", "lr"))
    yield Sentence(kind=Kind.MONO, text=f"{what}: {why_lost(*sums, band=band)}")


def mono_limits(target: Target | None) -> dict[str, float]:
    """By band the lowest fold loss in dB that a target allows; what is common practice where it says none."""
    limits = {} if target is None else target.limits_for(live=True)
    found = {
        key.removeprefix("fold_loss_db."): limit.min
        for key, limit in limits.items()
        if key.startswith("fold_loss_db.") and limit.min is not None
    }
    return found or {"below_crossover": MONO_LOSS_DB}


def band_text(band: str, crossover_hz: float) -> str:
    """A band in words that follow "lost in mono"."""
    if band == "full":
        return "over the whole range"
    return f"below {crossover_hz:g} Hz" if band == "below_crossover" else f"at {band.replace('-', ' to ')} Hz"


def lost_text(loss_db: float, lowest_db: float, band: str, crossover_hz: float) -> str:
    """How much of a band is lost in mono."""
    lost = value_text(-loss_db, limit=Limit(max=-lowest_db))
    return f"{lost} dB are lost in mono {band_text(band, crossover_hz)}"


def balance_db(ll: float, rr: float) -> float:
    """Right over left; infinite when one of them is silent."""
    if ll > 0.0 and rr > 0.0:
        return power_to_db(rr / ll)
    return math.inf if rr > ll else -math.inf


def is_one_sided(ll: float, rr: float, lr: float) -> bool:
    """Whether what is lost in mono is a matter of level and not of phase, from the sums of left and right."""
    r = lr / math.sqrt(ll * rr) if ll > 0.0 and rr > 0.0 else 0.0
    return r >= ALIKE_R or abs(balance_db(ll, rr)) >= APART_DB


def sides_text(ll: float, rr: float) -> str:
    """Which side is quieter, and by how much."""
    balance = balance_db(ll, rr)
    quiet, loud = ("left", "right") if balance > 0.0 else ("right", "left")
    apart = f"{abs(balance):.0f} dB under" if math.isfinite(balance) else "silent beside"
    return f"it is one-sided, {quiet} is {apart} {loud}"


def why_lost(ll: float, rr: float, lr: float, *, band: str) -> str:
    """One-sided or out of phase, and what to try."""
    if is_one_sided(ll, rr, lr):
        return f"{sides_text(ll, rr)}; {PUT_IN_THE_MIDDLE}"
    where = "there" if band in LOW_BANDS else "somewhere"
    return f"left and right differ in phase {where}; make it narrower, or leave it if it never plays in mono"


def of_sides(now: Now, reading: Reading) -> Iterator[Sentence]:
    """Left against right."""
    limit = None if now.target is None else now.target.limits_for(live=True).get("correlation")
    lowest = 0.0 if limit is None or limit.min is None else limit.min
    r = reading.correlation_3s
    if r is None or r >= lowest:
        return
    shown = value_text(r, decimals=2, limit=Limit(min=lowest))
    what = f"left and right work against each other, r {shown} over 3 s"
    text = f"{what}: much of it goes in mono; look for a widener or a swapped pole"
    yield Sentence(kind=Kind.AGAINST, text=text)


def of_misses(now: Now, reading: Reading) -> Iterator[Sentence]:
    """What the target is missed by: first what is too loud at this moment, then what stays."""
    target = now.target
    if target is None:
        return
    limits = target.limits_for(live=True)
    if now.verdicts.get(SHORT_TERM_KEY) is Verdict.OVER and reading.short_term_lufs is not None:
        yield _too_loud(target, reading.short_term_lufs)
    for key in NAMES:
        verdict, value = now.verdicts.get(key), getattr(reading, key)
        if value is not None and verdict in (Verdict.OVER, Verdict.UNDER):
            text = missed_text(target, key, limits[key], value, verdict)
            yield Sentence(kind=Kind.MISSED, text=text)


def short_term_ceiling_lufs(target: Target) -> float | None:
    """What a live S is held against: the ceiling of short-term loudness, or that of the loudest 30 s."""
    limits = target.limits_for(live=True)
    ceilings = (limits[key].max for key in ("short_term_max_lufs", "loudest_30s_lufs") if key in limits)
    return next((ceiling for ceiling in ceilings if ceiling is not None), None)


def _too_loud(target: Target, short_term_lufs: float) -> Sentence:
    ceiling = short_term_ceiling_lufs(target)
    assert ceiling is not None
    shown = value_text(short_term_lufs, limit=Limit(max=ceiling))
    now = f"short-term {shown} LUFS, {_apart(short_term_lufs, ceiling)} LU over"
    return Sentence(kind=Kind.LOUD, text=f"it is too loud for {target.title} now: {now}")


def missed_text(target: Target, key: str, limit: Limit, value: float, verdict: Verdict) -> str:
    """By how much a target is missed, and what it wants."""
    bound = limit.max if verdict is Verdict.OVER else limit.min
    assert bound is not None
    measure = MEASURES[key]
    amount = f"{_apart(value, bound, measure.decimals)}{DIFFERENCE_UNITS[measure.unit]}"
    shown = value_text(value, decimals=measure.decimals, limit=limit)
    what = f"{NAMES[key]} is {amount} {verdict.word} {target.title}"
    unit = f" {measure.unit}".rstrip()
    return f"{what}: {shown}{unit}, {limit.text(measure.decimals)} wanted"


def _apart(value: float, bound: float, decimals: int = 1) -> str:
    return value_text(abs(value - bound), decimals=decimals, limit=Limit(max=0.0))


# --- how loud it is


def of_loudness(now: Now, reading: Reading) -> str:
    """How loud it is, when nothing is wrong."""
    short_term_lufs = reading.short_term_lufs
    if short_term_lufs is None:
        return "listening; how loud it is can be said after 3 s"
    target = now.target
    limits = {} if target is None else target.limits_for(live=True)
    key = next((key for key in LOUDNESS_KEYS if key in limits), None)
    if target is None or key is None:
        run_lufs = reading.loudest_30s_lufs
        more = "" if run_lufs is None else f", the loudest 30 s so far {value_text(run_lufs)}"
        return f"short-term {value_text(short_term_lufs)} LUFS{more}; choose a target to hold it against"
    value, name, limit, title = getattr(reading, key), NAMES[key], limits[key], target.title
    if value is None:
        return (
            f"short-term {value_text(short_term_lufs)} LUFS; {name}, which {title} limits, is not known yet"
        )
    said = f"{name} so far is {value_text(value, limit=limit)} LUFS"
    if limit.min is not None and value < limit.min:
        return f"{said}, {_apart(value, limit.min)} LU below where {title} begins; it is judged at the end"
    return f"{said}, inside {title} ({limit.text()})"
