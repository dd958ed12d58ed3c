"""Records of kicks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from meter.dsp.kick_body import Body

ALONE_DB: Final = 20.0
"""A hit is alone where the sub's band is so far under it before and after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """One kick.

    Attributes
    ----------
    at_s : float
        Where it begins; within 8 ms, of some samples within 40.
    body : Body
        What it is like.
    sub_before_db, sub_during_db : float
        Level of the sub's band before it and under its body, as the peak of a sine; the hit's own part is in
        the second.
    sub_after_db : float or None
        The same 0.2 s behind its beginning; None where the next hit comes sooner.
    fall_before : float
        Sum of squares from 110 to 420 Hz over the 60 ms before it.
    """

    at_s: float
    body: Body
    sub_before_db: float
    sub_during_db: float
    sub_after_db: float | None
    fall_before: float

    @property
    def is_alone(self) -> bool:
        """Whether nothing sounds in the sub's band before and after it."""
        far_db = self.body.level_dbfs - ALONE_DB
        return self.sub_before_db < far_db and self.sub_after_db is not None and self.sub_after_db < far_db

    @property
    def has_sub(self) -> bool:
        """Whether the sub sounds before it or after it."""
        far_db = self.body.level_dbfs - ALONE_DB
        return self.sub_before_db >= far_db or (self.sub_after_db is not None and self.sub_after_db >= far_db)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kicks:
    """The kicks of a pass.

    Attributes
    ----------
    count : int
    told : int
        Of so many the frequency of the body could be told.
    body_hz : float or None
        Median of the frequencies at which their bodies settle.
    spread_hz : float or None
        Half the distance between the quartiles of them.
    seconds : float or None
        Median length of those whose end can be heard.
    level_dbfs, crest_db, sub_share : float or None
        Medians; see `Body`.
    sub_under_db : float or None
        How much lower the sub is under the bodies of the kicks than between them; None where it cannot be
        told.
    adds_db : float or None
        By how much hit and sub together are at least more than both apart; negative: at least so much less
        than the hit alone. None where it cannot be told from a mix.
    hits : tuple of Hit
        Each of them.
    """

    count: int
    told: int = 0
    body_hz: float | None
    spread_hz: float | None
    seconds: float | None = None
    level_dbfs: float | None = None
    crest_db: float | None = None
    sub_share: float | None = None
    sub_under_db: float | None = None
    adds_db: float | None = None
    hits: tuple[Hit, ...] = ()
