"""Records of the sub's notes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SubNote:
    """A note of the sub.

    Attributes
    ----------
    at_s, seconds : float
        Where it begins, and how long it is held.
    hz : float
        Its fundamental.
    midi : int
        Nearest note of equal temperament, A4 = 69, after the tuning of the whole pass.
    note : str
        Its name, such as "A♭1"; C4 is MIDI 60.
    cents : float
        How far it is off that note at the concert pitch, the tuning of the whole pass included.
    uncertainty_cents : float
        It lies within this of the true value nine times in ten.
    level_dbfs : float
        Amplitude of its fundamental, left and right together: a sine at full scale on both reads 0.
    share_under_40_hz : float
        Of its energy, 0 to 1.
    beat_hz : float
        Beats a second against the same note in tune.
    is_in_key : bool or None
        None without a key.
    is_open : bool
        It is still held.
    """

    at_s: float
    seconds: float
    hz: float
    midi: int
    note: str
    cents: float
    uncertainty_cents: float
    level_dbfs: float
    share_under_40_hz: float
    beat_hz: float
    is_in_key: bool | None = None
    is_open: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpitched:
    """A stretch in which something sounds below 130 Hz, but no single pitch."""

    at_s: float
    seconds: float
    level_dbfs: float
