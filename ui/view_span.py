"""Which part of time the lanes show, for what was chosen in the row of views and where the user is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ui.thinker import PassLine
from ui.time_scale import LAST_10_MINUTES, LAST_MINUTE, View

if TYPE_CHECKING:
    from meter.timeline import Timeline

NEWEST: Final = {"60 s": LAST_MINUTE, "10 min": LAST_10_MINUTES}
"""Views of a fixed length."""

WIDE_SLOTS: Final = {"60 s": 600, "10 min": 6000}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the user is; with nothing set: at what sounds now.

    Attributes
    ----------
    slot : int or None
        A moment to which the lanes have moved.
    pass_number : int or None
        A pass was chosen.
    free : View or None
        The lanes were zoomed by hand.
    is_folded : bool
        The pass is folded by phrase.
    """

    slot: int | None = None
    pass_number: int | None = None
    free: View | None = None
    is_folded: bool = False


NOW: Final = Place()


def view_of(place: Place, view: str, passes: Sequence[PassLine], timeline: Timeline) -> View:
    """What the lanes show.

    Parameters
    ----------
    place : Place
    view : str
        One of `ui.state.VIEWS`.
    passes : sequence of PassLine
        The newest last.
    timeline : Timeline
    """
    if place.free is not None:
        return place.free
    if place.pass_number is not None:
        one = next((one for one in passes if one.number == place.pass_number), None)
        return NEWEST["60 s"] if one is None else _whole(one, timeline)
    if place.slot is not None:
        return _around(place.slot, view, passes, timeline)
    if view == "pass" and passes:
        return _whole(passes[-1], timeline)
    return NEWEST.get(view, View.part(0))


def _around(slot: int, view: str, passes: Sequence[PassLine], timeline: Timeline) -> View:
    if view in WIDE_SLOTS:
        wide = WIDE_SLOTS[view]
        first = max(min(slot - wide // 2, timeline.slots - wide), 0)
        return View.part(first, first + wide, origin_slot=timeline.origin_slot(slot))
    one = pass_at(slot, passes)
    return View.part(0) if view == "session" or one is None else _whole(one, timeline)


def _whole(one: PassLine, timeline: Timeline) -> View:
    return View.part(one.first_slot, one.last_slot, origin_slot=timeline.origin_slot(one.first_slot))


def pass_at(slot: int, passes: Sequence[PassLine]) -> PassLine | None:
    """The listed pass in which a slot lies."""
    for one in reversed(passes):
        if one.first_slot <= slot and (one.last_slot is None or slot < one.last_slot):
            return one
    return None
