"""The tunes of a set: where each begins, its name, how loud it is, and how it follows the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meter.errors import UsageError
from meter.soundings import as_text_time
from meter.tunes.borders import LAG_S, LEAST_JUMP_DB, borders_in, levels_at
from meter.tunes.level import QUIET_LUFS, level_of, plays_out
from meter.units import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Tune:
    """A tune as far as the user says what it is: where it begins, and its name.

    It ends where the next one begins, at the end of the set the last one.
    """

    start_s: float
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedTune:
    """A tune with what was heard of it.

    Attributes
    ----------
    number : int
        From 1.
    start_s, stop_s : float
        Seconds from the beginning of the set; the middle of the blend.
    name : str
        "" where the user gave none.
    level_lufs : float or None
        90th percentile of S without breakdowns; None where it is silent.
    size_db : float or None
        How much louder it begins than the one before ended; None of the first, and next to silence.
    """

    number: int
    start_s: float
    stop_s: float
    name: str
    level_lufs: float | None
    size_db: float | None

    @property
    def is_jump(self) -> bool:
        """Whether the step at its beginning is a jump: `LEAST_JUMP_DB` or more."""
        return self.size_db is not None and abs(self.size_db) >= LEAST_JUMP_DB

    @property
    def trim_db(self) -> float | None:
        """By what to trim it so that it would have followed equally loud; None where it did."""
        return -self.size_db if self.size_db is not None and self.is_jump else None


def found_in(short_term_lufs: Floats) -> tuple[Tune, ...]:
    """The tunes that can be told apart by their loudness.

    Parameters
    ----------
    short_term_lufs : ndarray, shape (seconds,)
        S at the end of every second (`meter.tunes.loudness`).
    """
    return (Tune(start_s=0.0), *(Tune(start_s=at) for at in borders_in(short_term_lufs)))


def listed(tunes: Sequence[Tune], short_term_lufs: Floats, *, seconds: float) -> tuple[ListedTune, ...]:
    """What was heard of each tune.

    Parameters
    ----------
    tunes : sequence of Tune
        In order; the first begins at 0.
    short_term_lufs : ndarray, shape (whole seconds,)
    seconds : float
        Length of the set, lost and held time included.
    """
    starts = [tune.start_s for tune in tunes]
    levels = levels_at(short_term_lufs, starts[1:])
    sizes = [None] + [None if a is None or b is None else b - a for a, b in levels]
    is_loud = plays_out(short_term_lufs)
    made = []
    for at, (tune, stop_s) in enumerate(zip(tunes, [*starts[1:], seconds], strict=True)):
        part = slice(max(round(tune.start_s + LAG_S), 0), max(round(stop_s + LAG_S), 0))
        heard = short_term_lufs[part]
        loud = heard[is_loud[part]]
        if len(loud) == 0:  # as short as a breakdown: all that is heard of it
            loud = heard[heard > QUIET_LUFS]
        made.append(
            ListedTune(
                number=at + 1,
                start_s=tune.start_s,
                stop_s=stop_s,
                name=tune.name,
                level_lufs=level_of(loud[np.isfinite(loud)]),
                size_db=sizes[at],
            )
        )
    return tuple(made)


# --- what the user says of them


def named(tunes: Sequence[Tune], number: int, name: str) -> tuple[Tune, ...]:
    """The same with another name for one of them; "" takes it away."""
    at = _index(tunes, number)
    return (*tunes[:at], replace(tunes[at], name=name), *tunes[at + 1 :])


def moved(tunes: Sequence[Tune], number: int, start_s: float, *, seconds: float) -> tuple[Tune, ...]:
    """The same with one of them beginning elsewhere, between its neighbours' beginnings."""
    at = _index(tunes, number)
    if at == 0:
        raise UsageError("tune 1 begins where the set does; move the beginning of another one")
    first_s = tunes[at - 1].start_s
    last_s = tunes[at + 1].start_s if at + 1 < len(tunes) else seconds
    _refuse_outside(start_s, first_s, last_s)
    return (*tunes[:at], replace(tunes[at], start_s=start_s), *tunes[at + 1 :])


def merged(tunes: Sequence[Tune], number: int) -> tuple[Tune, ...]:
    """The same with one of them and the one behind it as one, which keeps the first name there is."""
    at = _index(tunes, number)
    if at + 1 == len(tunes):
        raise UsageError(f"tune {number} is the last one, and nothing follows it; merge the one before it")
    name = tunes[at].name or tunes[at + 1].name
    return (*tunes[:at], replace(tunes[at], name=name), *tunes[at + 2 :])


def split(tunes: Sequence[Tune], at_s: float, *, seconds: float) -> tuple[Tune, ...]:
    """The same with another tune beginning at a moment."""
    _refuse_outside(at_s, 0.0, seconds)
    if any(tune.start_s == at_s for tune in tunes):
        raise UsageError(f"a tune begins at {as_text_time(at_s)} already; choose another moment")
    return tuple(sorted([*tunes, Tune(start_s=at_s)], key=lambda tune: tune.start_s))


def _index(tunes: Sequence[Tune], number: int) -> int:
    if not 1 <= number <= len(tunes):
        there = "there is one tune" if len(tunes) == 1 else f"there are {len(tunes)} tunes"
        raise UsageError(f"tune {number} came, but {there} in this pass; choose one of them")
    return number - 1


def _refuse_outside(at_s: float, first_s: float, last_s: float) -> None:
    if not first_s < at_s < last_s:
        raise UsageError(
            f"{as_text_time(at_s)} came; expected a moment between {as_text_time(first_s)} and "
            f"{as_text_time(last_s)}, where that tune can begin"
        )
