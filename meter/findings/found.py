"""What was found, while more may still belong to it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from meter.dsp.stereo import fold_loss_db
from meter.findings.excess import EXCESS
from meter.live_pass import LivePass
from meter.music_sentences import APART_DB, balance_db
from meter.soundings import SOUNDINGS_A_SECOND

FARTHEST_DB: Final = 60.0
"""A silent side counts as so far under the other."""


@dataclass(slots=True, kw_only=True)
class Found:
    """Something in the slots [first_slot, last_slot) of one live pass.

    Attributes
    ----------
    pass_at_s : float
        Where its live pass begins on the timeline.
    begins_s : float or None
        Where the pass in the list begins, if its times are told from there; None: from the live pass.
    run : int
        Number of its run on the timeline; of a gap 0, since it lies between two.
    subject : str
        What of its kind: a band, or the side that is lower.
    is_on_both : bool
        Of DC: the other channel has it there too, the same way, and is not told apart.
    sums : tuple of float
        Energy of left, of right, and their product.
    worst_slot, worst_sums
        Where the worst 3 s of a stretch begin, and the sums of these; None where it is shorter.
    """

    kind: str
    live_pass: LivePass
    pass_at_s: float
    run: int
    first_slot: int
    last_slot: int
    at_slot: int
    subject: str = ""
    is_open: bool = False
    severity: float = 0.0
    begins_s: float | None = field(default=None, compare=False)
    count: int = 1
    sums: tuple[float, float, float] = (0.0, 0.0, 0.0)
    limit_db: float = 0.0
    peak_dbtp: float = 0.0
    samples_over: bool = False
    frames: int = 0
    is_on_both: bool = False
    worst_slot: int | None = None
    worst_sums: tuple[float, float, float] = (0.0, 0.0, 0.0)
    text: str | None = field(default=None, compare=False)

    @property
    def band(self) -> str:
        """The band that it is about."""
        return self.subject

    @property
    def seconds(self) -> float:
        """Its length."""
        return (self.last_slot - self.first_slot) / SOUNDINGS_A_SECOND

    def _s(self, slot: int) -> float:
        origin_s = self.pass_at_s if self.begins_s is None else max(self.begins_s, self.pass_at_s)
        return max(slot / SOUNDINGS_A_SECOND - origin_s, 0.0)

    @property
    def first_s(self) -> float:
        """Its beginning, in seconds since the pass began."""
        return self._s(self.first_slot)

    @property
    def until_s(self) -> float:
        """Its end."""
        return self._s(self.last_slot)

    @property
    def at_s(self) -> float:
        """Where to look."""
        return self._s(self.at_slot)

    @property
    def loss_db(self) -> float:
        """What is lost in mono over the whole of it."""
        loss_db = fold_loss_db(*self.sums)
        return 0.0 if loss_db is None else loss_db

    @property
    def worst_loss_db(self) -> float:
        """What is lost in mono in the worst 3 s of it; 0 where it is shorter."""
        loss_db = None if self.worst_slot is None else fold_loss_db(*self.worst_sums)
        return 0.0 if loss_db is None else loss_db

    @property
    def worst_s(self) -> float:
        """Where its worst 3 s begin."""
        return self.first_s if self.worst_slot is None else self._s(self.worst_slot)

    def weigh(self) -> None:
        """Work out the severity of a stretch, from its sums and its length."""
        if self.kind == "lost in mono":
            self.severity = max(self.limit_db - self.loss_db, 0.0) * self.seconds
        elif self.kind == "one-sided":
            apart_db = min(abs(balance_db(self.sums[0], self.sums[1])), FARTHEST_DB)
            self.severity = max(apart_db - APART_DB, 0.0) * self.seconds
        elif self.kind in EXCESS:
            self.severity = EXCESS[self.kind](self.sums, self.limit_db) * self.seconds

    def is_near(self, later: Found, slots: int) -> bool:
        """Whether a later one of the same kind belongs to it."""
        return (
            self.live_pass is later.live_pass
            and (self.kind, self.subject, self.run) == (later.kind, later.subject, later.run)
            and later.first_slot - self.last_slot <= slots
        )

    def join(self, later: Found) -> None:
        """Take a later one in."""
        if later.kind == "over" and later.peak_dbtp > self.peak_dbtp:
            self.peak_dbtp, self.at_slot = later.peak_dbtp, later.at_slot
        self.last_slot = max(self.last_slot, later.last_slot)
        self.count += later.count
        self.severity += later.severity
        self.samples_over = self.samples_over or later.samples_over
        if later.worst_loss_db < self.worst_loss_db:
            self.worst_slot, self.worst_sums = later.worst_slot, later.worst_sums
        is_longest = self.kind == "flat tops"
        self.frames = max(self.frames, later.frames) if is_longest else self.frames + later.frames
        ll, rr, lr = (a + b for a, b in zip(self.sums, later.sums, strict=True))
        self.sums = ll, rr, lr
        self.weigh()
        self.text = None

    def share_inside(self, other: Found) -> float:
        """How much of it lies inside another."""
        shared = min(self.last_slot, other.last_slot) - max(self.first_slot, other.first_slot)
        return max(shared, 0) / max(self.last_slot - self.first_slot, 1)
