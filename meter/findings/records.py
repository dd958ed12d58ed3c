"""The record that a finding is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

ENCODED: Final = "over once encoded"

KINDS: Final = (
    "over",
    "too loud",
    "flat tops",
    "drop-out",
    "lost in mono",
    "one-sided",
    "against",
    "dc",
    "upside down",
    "later",
    "silence",
    "silent end",
    "gap",
    "out of tune",
    "outside the key",
    "too low",
    "kick in sub",
    "kick body",
    "kick cancels",
    ENCODED,
)

SLIGHT: Final = {"over": 0.02, "lost in mono": 3.0, "one-sided": 6.0}
"""Findings of less severity are slight: 0.2 dB over for a tenth of a second, 1 dB too much lost for
three seconds, sides 2 dB too far apart for three. Common practice, no source. Other kinds never are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was found.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    first_slot, last_slot : int
        It lies in [first_slot, last_slot) of the timeline.
    at_slot : int
        Where to look: its worst moment, or its beginning.
    at_s : float
        The same in seconds since its pass began, as the text says it: in the window the pass in its list.
    pass_number : int
        Of the live pass.
    severity : float
        Excess times seconds; to compare findings of one kind.
    is_open : bool
        It goes on.
    until_s : float
        Its end, on the clock of `at_s`.
    amount, unit : float, str
        How much, as the text says it.
    text : str
        What, where, how much, likely why, what to try, why it may be fine.
    """

    kind: str
    first_slot: int
    last_slot: int
    at_slot: int
    at_s: float
    pass_number: int
    severity: float
    is_open: bool
    text: str
    until_s: float = 0.0
    amount: float = 0.0
    unit: str = ""

    @property
    def is_slight(self) -> bool:
        """Whether it may wait until somebody asks for it."""
        return self.severity < SLIGHT.get(self.kind, 0.0)
