"""The records that sources and the ring hand out."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

Frames = npt.NDArray[np.float32]
"""Captured audio, shape (frames, channels), full scale = 1.0."""


class SourceStatus(Enum):
    """What a source is doing."""

    OPENING = "opening"
    RUNNING = "running"
    LOST = "lost"
    """It was heard and is not now; it is opened again when it comes back."""
    ENDED = "ended"
    """Nothing comes any more. What is in the ring can still be read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceInfo:
    """One thing that can be listened to, or cannot.

    Attributes
    ----------
    spec : str
        How it is written: "system", "device:NAME", "file:PATH" or "demo".
    name : str
        For people.
    rate_hz, channels : int or None
        Its own rate, and what is heard of its channels; None when not known.
    is_default : bool
        Whether the machine takes it when nothing is chosen.
    is_lossy : bool
        It is a file of a coding that changes the peaks.
    why_not, what_to_do : str or None
        Why it cannot be listened to, and what to do about it.
    """

    spec: str
    name: str
    rate_hz: int | None = None
    channels: int | None = None
    is_default: bool = False
    is_lossy: bool = False
    why_not: str | None = None
    what_to_do: str | None = None

    @property
    def is_live(self) -> bool:
        """Whether it sounds before and after it is heard; a file has a beginning and an end."""
        return self.spec == "system" or self.spec.startswith("device:")


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What the sound server says of an open source now.

    Attributes
    ----------
    info : SourceInfo
        What the source's spec means now. With another rate or another count of channels
        than what is open, or with `why_not`, the stream is closed and opened again.
    volume_db : float or None
        Volume that the sound has gone through (system output only); ``-inf`` at zero.
    is_muted : bool or None
        The same of muting.
    has_moved : bool
        What is heard now is not what the spec means now: the default has changed, or the
        server has moved the stream. It is closed and opened again.
    """

    info: SourceInfo
    volume_db: float | None = None
    is_muted: bool | None = None
    has_moved: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceState:
    """A source now; cheap to ask for.

    Attributes
    ----------
    status : SourceStatus
    sentence : str or None
        One clear sentence for people when it is not simply running.
    info : SourceInfo
    volume_db : float or None
        System output only: the volume that the sound has gone through.
    is_muted : bool or None
        System output only.
    lost_frames : int
        Lost before the ring since the start; never falls.
    epoch : int
        Grows when rate or channels change; the source's `ring` is a new one then.
    """

    status: SourceStatus
    sentence: str | None
    info: SourceInfo
    volume_db: float | None = None
    is_muted: bool | None = None
    lost_frames: int = 0
    epoch: int = 0


@dataclass(frozen=True, slots=True)
class Chunk:
    """Frames from the ring, without a gap between them.

    Attributes
    ----------
    frames : array of float32, shape (n, channels)
        A copy; n may be 0.
    lost_before : int
        Frames lost right before the first of these, at the source or by reading too late.
        Told once, also in a chunk of 0 frames.
    """

    frames: Frames
    lost_before: int
