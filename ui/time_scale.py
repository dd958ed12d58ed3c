"""Which part of time the lanes show, and where a slot of 100 ms lies in it.

A column of the picture is one device pixel wide and belongs to fixed slots, counted from the
beginning of the timeline: column ``p`` holds the slots from ``p / columns_a_slot`` on. So a
column that has been drawn is never drawn otherwise when time goes on, it only moves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from meter.soundings import SOUNDINGS_A_SECOND

WHOLE_SECONDS: Final = (
    *(60, 90, 120, 180, 240, 300, 360, 480, 600, 900, 1200, 1800, 2700),
    *(3600, 5400, 7200, 10800, 14400, 21600, 28800, 43200, 86400),
)
"""How much is shown of what still grows: it is drawn anew only when the next of these is needed."""

PARTS_A_COLUMN: Final = 4
"""A column of many slots is put together of so many parts or more."""

ZOOM_SECONDS: Final = (5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 28800)
"""The steps of + and −."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What part of time is shown.

    Attributes
    ----------
    seconds : float or None
        The newest so many seconds; None = from `first_slot` to `last_slot`.
    first_slot : int
    last_slot : int or None
        Not included; None = to the newest, as it grows.
    origin_slot : int or None
        Where 0:00 is in a part that stands still; None = at `first_slot`.
    """

    seconds: float | None = None
    first_slot: int = 0
    last_slot: int | None = None
    origin_slot: int | None = None

    @classmethod
    def newest(cls, seconds: float) -> View:
        """The newest `seconds`; the axis reads seconds ago."""
        return cls(seconds=seconds)

    @classmethod
    def part(cls, first_slot: int, last_slot: int | None = None, *, origin_slot: int | None = None) -> View:
        """A pass, or a part of one; without an end it grows."""
        return cls(first_slot=first_slot, last_slot=last_slot, origin_slot=origin_slot)

    @property
    def is_live(self) -> bool:
        """Whether it moves on with what is heard."""
        return self.seconds is not None or self.last_slot is None


LAST_MINUTE: Final = View.newest(60.0)
LAST_10_MINUTES: Final = View.newest(600.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeScale:
    """A view laid on so many columns.

    Attributes
    ----------
    view : View
    columns : int
        Width of the picture in device pixels.
    columns_a_slot : float
    left_column : int
        Number of the leftmost column.
    first_slot, last_slot : float
        What may be drawn: nothing before, nothing from there on.
    """

    view: View
    columns: int
    columns_a_slot: float
    left_column: int
    first_slot: int
    last_slot: int

    @classmethod
    def of(cls, view: View, *, slots: int, columns: int) -> TimeScale:
        """The scale of a view now.

        Parameters
        ----------
        slots : int, >= 0
            How many the timeline has.
        columns : int, >= 1
        """
        if view.last_slot is not None and view.seconds is None:
            shown = max(view.last_slot - view.first_slot, 1)
            density = columns / shown
            left = math.floor(view.first_slot * density)
            return cls._made(view, columns, density, left, view.first_slot, min(view.last_slot, slots))
        seconds = view.seconds
        if seconds is None:
            heard_s = (slots - view.first_slot) / SOUNDINGS_A_SECOND
            seconds = next((step for step in WHOLE_SECONDS if step >= heard_s), heard_s)
        density = columns / (seconds * SOUNDINGS_A_SECOND)
        slots = max(cls._whole_parts(slots, density), min(view.first_slot + 1, slots))
        left = math.ceil(slots * density) - columns
        return cls._made(view, columns, density, left, view.first_slot if view.seconds is None else 0, slots)

    @staticmethod
    def _whole_parts(slots: int, density: float) -> int:
        """How many of the slots are shown: hours move on by a quarter of a column at a time."""
        part = max(1, int(1.0 / (density * PARTS_A_COLUMN)))
        return slots // part * part

    @classmethod
    def _made(cls, view: View, columns: int, density: float, left: int, first: int, last: int) -> TimeScale:
        return cls(
            view=view,
            columns=columns,
            columns_a_slot=density,
            left_column=left,
            first_slot=first,
            last_slot=last,
        )

    @property
    def right_column(self) -> int:
        """Number of the column after the last."""
        return self.left_column + self.columns

    @property
    def shown_slots(self) -> float:
        """How many slots fit."""
        return self.columns / self.columns_a_slot

    def x_of(self, slot: float) -> float:
        """Where a slot begins, in device pixels from the left."""
        return slot * self.columns_a_slot - self.left_column

    def slot_at(self, x: float) -> int:
        """The slot at so many device pixels from the left, kept within what is drawn."""
        slot = math.floor((x + self.left_column) / self.columns_a_slot)
        return max(self.first_slot, min(slot, self.last_slot - 1))

    def holds(self, slot: float) -> bool:
        """Whether a slot can be seen."""
        return 0.0 <= self.x_of(slot + 0.5) < self.columns and self.first_slot <= slot < self.last_slot

    def head_x(self) -> float:
        """Where the newest that is drawn ends, in device pixels from the left."""
        return min(self.x_of(self.last_slot), float(self.columns))


def zoomed(view: View, *, slots: int, at_slot: int | None, steps: int) -> View:
    """The view one or more steps nearer (positive) or farther (negative).

    A live view keeps the newest at its right; a part that stands still keeps `at_slot` (its
    middle, when None) where it is.
    """
    scale = TimeScale.of(view, slots=slots, columns=1000)
    seconds = scale.shown_slots / SOUNDINGS_A_SECOND
    for _ in range(abs(steps)):
        if steps > 0:
            nearer = [step for step in ZOOM_SECONDS if step < seconds - 0.5]
        else:
            nearer = [step for step in ZOOM_SECONDS if step > seconds + 0.5]
        if not nearer:
            break
        seconds = nearer[-1] if steps > 0 else nearer[0]
    if view.is_live:
        return View.newest(seconds)
    origin = view.first_slot if view.origin_slot is None else view.origin_slot
    shown = round(seconds * SOUNDINGS_A_SECOND)
    middle = (view.first_slot + (view.last_slot or slots)) // 2 if at_slot is None else at_slot
    share = (middle - view.first_slot) / max(scale.shown_slots, 1.0)
    first = max(0, round(middle - min(max(share, 0.0), 1.0) * shown))
    return View.part(first, first + shown, origin_slot=origin)


def around(first_slot: int, last_slot: int, *, origin_slot: int) -> View:
    """A part that shows a span with room on both sides, at least 20 s in all."""
    length = max(last_slot - first_slot, 1)
    shown = max(200, round(length * 1.6))
    first = max(0, first_slot - (shown - length) // 2)
    return View.part(first, first + shown, origin_slot=origin_slot)
