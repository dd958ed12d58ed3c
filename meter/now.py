"""What the engine knows at a moment, as one frozen record that it rebinds and anyone may read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from meter.capture.records import SourceState, SourceStatus
from meter.soundings import EyeLevels, Gap, Over, Reading, Soundings, empty_soundings
from meter.targets import Target, Verdict

if TYPE_CHECKING:
    from meter.set_watch import SetNow

UNCHANGED_DB: Final = 0.01
"""A system volume nearer to 0 dB than this moves no reading by a shown digit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """One moment.

    Attributes
    ----------
    state : SourceState
        What the source is doing.
    rate_hz, channels : int or None
        Of what is measured; None before anything was heard.
    reading : Reading or None
        At the newest sounding. Its lost frames are those of the pass, without what was held.
    recent : ndarray of `SOUNDING`
        The newest 3 s of soundings since the last gap; not to be changed.
    eye : tuple of EyeLevels
        Levels of each 50 ms of the newest sounding, in order: they come 20 a second, two at a time. None
        where nothing is measured.
    verdicts : mapping
        Measure key -> verdict; empty without a target and while verdicts are withheld.
    target : Target or None
    over_limit_dbtp, crossover_hz : float
        What overs and the low end are measured with.
    last_over : Over or None
        The newest over of the pass.
    highest_over : Over or None
        The highest over of the pass, once its source has ended.
    last_gap : Gap or None
        The newest gap of the pass.
    is_held : bool
        The user holds: nothing is measured.
    has_ended : bool
        Nothing more will come.
    is_between : bool
        The newest pass has ended, as in silence, and no other has begun. Put in by whoever cuts passes.
    listed_at_s : float
        Where the newest pass of the window's list begins, in seconds since the live pass began: places are
        told from there. Put in by whoever cuts passes.
    pass_number : int
        Counted from 1; 0 before anything was heard.
    problem : str or None
        One sentence when what the source brings cannot be measured.
    of_set : SetNow or None
        What is known of the set that is played; None where nobody plays one. Put in by whoever shows it.
    """

    state: SourceState
    rate_hz: int | None = None
    channels: int | None = None
    reading: Reading | None = None
    recent: Soundings = field(default_factory=empty_soundings)
    eye: tuple[EyeLevels, ...] = ()
    verdicts: Mapping[str, Verdict] = field(default_factory=dict)
    target: Target | None = None
    over_limit_dbtp: float = 0.0
    crossover_hz: float = 120.0
    last_over: Over | None = None
    highest_over: Over | None = None
    last_gap: Gap | None = None
    is_held: bool = False
    has_ended: bool = False
    is_between: bool = False
    listed_at_s: float = 0.0
    pass_number: int = 0
    problem: str | None = None
    of_set: SetNow | None = None

    @property
    def is_heard(self) -> bool:
        """Whether what comes in now is measured."""
        return self.state.status is SourceStatus.RUNNING and not self.is_held and self.problem is None


def is_withheld(state: SourceState) -> bool:
    """Whether verdicts are withheld: the sound went through a system volume that is not 0 dB, or is muted."""
    return bool(state.is_muted) or (state.volume_db is not None and abs(state.volume_db) > UNCHANGED_DB)


def overall(verdicts: Iterable[Verdict]) -> Verdict | None:
    """All verdicts in one: over before under before not yet before inside; None when there are none."""
    found = set(verdicts)
    order = (Verdict.OVER, Verdict.UNDER, Verdict.NOT_YET, Verdict.INSIDE)
    return next((verdict for verdict in order if verdict in found), None)
