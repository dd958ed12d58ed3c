"""What a sentence can be about, which is more urgent, and how long one stands."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import Final

RECENT_S: Final = 5.0
"""So long after it happened an over or a gap is what matters most."""


class Kind(enum.IntEnum):
    """What a sentence is about; the most urgent first."""

    PROBLEM = enum.auto()
    SOURCE = enum.auto()
    HELD = enum.auto()
    MUTED = enum.auto()
    VOLUME = enum.auto()
    NOTICE = enum.auto()
    DEAD_AIR = enum.auto()
    SILENCE = enum.auto()
    OVER = enum.auto()
    GAP = enum.auto()
    DROPOUT = enum.auto()
    JUMP = enum.auto()
    FLAT = enum.auto()
    MONO = enum.auto()
    AGAINST = enum.auto()
    LOUD = enum.auto()
    MISSED = enum.auto()
    LOUDNESS = enum.auto()

    @property
    def is_about_source(self) -> bool:
        """Whether it tells of the way to the music and not of the music."""
        return self <= Kind.NOTICE or self is Kind.GAP


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """A sentence and what it is about. No capital and no full stop: it may stand after a name."""

    kind: Kind
    text: str


STANDS_S: Final = 2.0
"""A sentence gives way to a less urgent one after this long."""

RENEWED_S: Final = 1.0
"""Numbers inside a sentence change no more often."""


class Keeper:
    """Keeps a sentence about the music long enough to be read; a more urgent one comes at once.

    What is said of the source is true or not at this moment, so it goes as it came.
    """

    def __init__(self) -> None:
        self._kept: Sentence | None = None
        self._since_s = self._renewed_s = -math.inf

    def keep(self, found: Sentence, at_s: float) -> Sentence:
        """The sentence to be shown.

        Parameters
        ----------
        found : Sentence
            The most useful one now.
        at_s : float
            Now, by any steady clock.
        """
        kept = self._kept
        if kept is not None and found.kind == kept.kind:
            self._since_s = at_s  # it holds still
            if at_s - self._renewed_s < RENEWED_S:
                return kept
        elif kept is not None and Kind.NOTICE < kept.kind < found.kind and at_s - self._since_s < STANDS_S:
            return kept
        self._kept, self._since_s, self._renewed_s = found, at_s, at_s
        return found
