"""A moment or a part chosen with the keyboard: the end that moves, and the one that stays."""

from __future__ import annotations

from typing import TypeAlias

Selection: TypeAlias = tuple[int, int | None]
"""A slot and None, or the first slot of a part and the slot behind it."""


def head_of(selection: Selection, anchor: int | None) -> int:
    """The slot that the arrow keys move.

    Parameters
    ----------
    selection : (int, int or None)
    anchor : int or None
        The slot at the end that stays; None: the first, as after a drag from left to right.
    """
    first, last = selection
    if last is None:
        return first
    return first if anchor == last - 1 else last - 1


def anchor_of(selection: Selection, anchor: int | None) -> int:
    """The slot at the end that stays."""
    first, last = selection
    return anchor if last is not None and anchor == last - 1 else first


def between(anchor: int, head: int) -> Selection:
    """From one slot to another, both inside; one slot alone is a moment."""
    return (anchor, None) if anchor == head else (min(anchor, head), max(anchor, head) + 1)
