"""How loud the references are, for the bar beside the lane "How loud?"."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from meter.shelf.reference import Reference
from meter.targets import value_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """The loudest 30 s of the references, as they are: nothing is level-matched here."""

    lowest_lufs: float
    middle_lufs: float
    highest_lufs: float
    count: int

    @property
    def text(self) -> str:
        """In words, for those who do not see the bar."""
        if self.count == 1:
            return f"the loudest 30 s of the one on the shelf are at {value_text(self.middle_lufs)} LUFS"
        return (
            f"the loudest 30 s of the {self.count} references on the shelf lie from "
            f"{value_text(self.lowest_lufs)} to {value_text(self.highest_lufs)} LUFS"
        )

    @property
    def label(self) -> str:
        """What the bar is, in few words."""
        return "shelf, loudest 30 s"


def spread_of(references: Sequence[Reference]) -> Spread | None:
    """Theirs; None where none has a loudness."""
    found = [one.loudest_30s_lufs for one in references if one.loudest_30s_lufs is not None]
    if not found:
        return None
    return Spread(
        lowest_lufs=min(found),
        middle_lufs=statistics.median(found),
        highest_lufs=max(found),
        count=len(found),
    )
