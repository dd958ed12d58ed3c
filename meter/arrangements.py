"""The arrangements of lanes, one for each kind of work; time, passes and findings are the same in all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from meter.exposure.lanes import hearing_lanes
from meter.exposure.rules import Rule
from meter.lanes import Lane, lanes_for
from meter.low_end.lanes import low_end_lanes
from meter.low_end.settings import LowEndSettings
from meter.set_lanes import set_lanes
from meter.set_settings import SetSettings
from meter.targets import Target


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Lanes that are shown together.

    Attributes
    ----------
    key, title : str
        How it is remembered, and what its button says.
    what : str
        What it is for, in a few words.
    lanes : callable
        The lanes from the top, for a target, the settings of the low end and of a set, and a rule of
        exposure.
    folds : bool
        Phrases can be laid over one another.
    plays_out : bool
        It is read from two metres, and what is heard meanwhile is a set: one pass that silence does not end.
    is_of_ears : bool
        It tells of what ears get: estimates, with the words that belong to them.
    """

    key: str
    title: str
    what: str
    lanes: Callable[[Target | None, LowEndSettings, SetSettings, Rule], tuple[Lane, ...]]
    folds: bool = False
    plays_out: bool = False
    is_of_ears: bool = False


ARRANGEMENTS: Final = (
    Arrangement(
        key="master",
        title="Master",
        what="loudness, peaks, left and right",
        lanes=lambda target, *_: lanes_for(target),
        folds=True,
    ),
    Arrangement(
        key="low_end",
        title="Low end",
        what="sub, kick, and mono in a club",
        lanes=lambda target, low_end, *_: low_end_lanes(target, low_end),
    ),
    Arrangement(
        key="set",
        title="Set",
        what="playing out, read from two metres",
        lanes=lambda target, _, of_set, __: set_lanes(target, of_set),
        plays_out=True,
    ),
    Arrangement(
        key="hearing",
        title="Hearing",
        what="the level at your ears, and how long",
        lanes=lambda *given: hearing_lanes(given[3]),
        is_of_ears=True,
    ),
)
"""In the order of their buttons; the first is shown where none was chosen. One more line adds one more."""


def arrangement_of(key: str) -> Arrangement:
    """The arrangement of this key; the first one where there is none."""
    return next((one for one in ARRANGEMENTS if one.key == key), ARRANGEMENTS[0])
