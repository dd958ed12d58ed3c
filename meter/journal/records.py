"""What the journal hands out and takes in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

DAYS_TO_UNDO: Final = 7
"""What was deleted can be brought back for so long; then it is gone."""

STILL_HEARD_S: Final = 10.0
"""A pass without an end to which nothing came for so long was broken off."""


LOST: Final = "lost"
HELD: Final = "held"
"""Kinds of `KeptGap`."""


def plain_name(name: str) -> str:
    """A name in characters that can be kept and shown; another, as in a broken file name, becomes "?"."""
    return "".join(one if one.isprintable() else "?" for one in name).strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class PassStart:
    """What is known of a pass when it begins; all of it as `LivePass` has it."""

    began_unix_s: float
    spec: str
    name: str
    rate_hz: int
    channels: int
    weights: tuple[float, ...]
    crossover_hz: float
    over_limit_dbtp: float
    is_set: bool = False
    """Silence and gaps did not end it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptGap:
    """A break inside a pass: seconds from its beginning, and what passed by meanwhile.

    Attributes
    ----------
    kind : str
        "lost", or "held" where the user asked for it.
    """

    at_s: float
    frames: int
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPass:
    """One pass in the journal.

    Attributes
    ----------
    number : int
        By which the user calls it; never given twice.
    start : PassStart
    seconds : float
        Length of what was heard.
    soundings : int
        How many it has.
    withheld_rows : int
        How many of them came through a system volume that was not 0 dB.
    touched_unix_s : float
        When something was written to it last.
    is_ended : bool
        Whether its end was written. A pass without one is still being heard, or was broken off.
    has_numbers : bool
        Whether its numbers and findings were written, a moment after its end.
    is_broken_off : bool
        It ended because the program that heard it did: what was written until then is all of it.
    rows_a_second : int
        How fine it is kept: 10, or 1 when it has been made coarser.
    writer : str or None
        Which program writes it (`meter.journal.writers`).
    integrated_lufs, loudest_30s_lufs, true_peak_dbtp : float or None
        As `Summary` has them; None also while it has not ended.
    """

    number: int
    start: PassStart
    seconds: float
    soundings: int
    withheld_rows: int
    touched_unix_s: float
    is_ended: bool
    has_numbers: bool
    is_broken_off: bool
    rows_a_second: int
    writer: str | None
    integrated_lufs: float | None
    loudest_30s_lufs: float | None
    true_peak_dbtp: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFinding:
    """One finding of a kept pass; `at_s` and `until_s` count from the beginning of the pass.

    Its end and its amount are None where an older program kept it.
    """

    kind: str
    at_s: float
    severity: float
    text: str
    until_s: float | None = None
    amount: float | None = None
    unit: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfEntry:
    """One line of the shelf: its name, when it was put there, and its numbers as JSON."""

    name: str
    added_unix_s: float
    data: str
