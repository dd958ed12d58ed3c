"""What every open audio file is to the rest of the program, whoever decodes it.

Samples come as float32, shape (frames, channels), full scale 1.0.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Generator
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from meter.errors import AudioFileError
from meter.soundings import Gap, as_text_time
from meter.standards.bs1770 import default_weights, weights_for_mask
from meter.units import Samples

LOSSY: Final = frozenset(
    {"VORBIS", "OPUS", "MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"}
    | {"AAC", "Opus", "Vorbis", "MP3", "AC-3", "E-AC-3", "DTS", "WMA", "WMA Pro"}
)
"""Codings whose decoder makes peaks of its own, by the names of both libraries."""

BLOCK_S: Final = 6.0
"""What the chain measures at once; smaller blocks cost more calls."""


class AudioFile(ABC):
    """An open audio file. Made by `meter.files.open_audio`; a context manager; for one thread.

    Attributes
    ----------
    rate_hz, channels : int
        Of what `blocks` gives; with a chosen pair ``channels`` is 2.
    file_channels : int
        Of the file itself.
    weights : tuple of float
        Channel weights of BS.1770, from the file's channel mask where it has one.
    frames : int or None
        How many are there by the decoder's count; None when that is a guess.
    promised_frames : int or None
        How many the header promises; None when it leaves that open.
    frames_read : int
        How many `blocks` has given so far.
    format, subtype : str
        Container and coding, by the names of the library that decodes, such as "WAV" and "PCM_16".
    damaged : list of Gap
        Frames in the middle that could not be decoded, in whose place `blocks` gives NaN.
    notes : list of str
        Sentences on what was odd; complete when `blocks` has ended.
    """

    slack_frames = 0
    """Fewer missing frames than this are no loss: the promise is no closer than that."""

    def __init__(
        self,
        path: Path,
        *,
        rate_hz: int,
        file_channels: int,
        format_: str,
        subtype: str,
        order: tuple[int, ...] | None,
        mask: int,
        frames: int | None,
        promised_frames: int | None,
    ) -> None:
        self.path = path
        self.rate_hz = rate_hz
        self.file_channels = file_channels
        self.format = format_
        self.subtype = subtype
        self.frames = frames
        self.promised_frames = promised_frames
        self.frames_read = 0
        self.damaged: list[Gap] = []
        self.notes: list[str] = []
        self._order = order
        self.channels = len(order) if order else file_channels
        self.weights = weights_for_mask(mask, self.channels) if mask else default_weights(self.channels)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    @abstractmethod
    def is_compressed(self) -> bool:
        """Whether decoding costs enough to be worth a thread of its own."""

    @property
    def is_lossy(self) -> bool:
        """Whether what comes is not what was encoded: above all, peaks are higher or lower."""
        return self.subtype in LOSSY

    @abstractmethod
    def close(self) -> None:
        """Close the file. May be called twice."""

    @abstractmethod
    def blocks(self, *, seconds: float = BLOCK_S) -> Generator[Samples, None, None]:
        """Read on from where the file stands, in blocks.

        Every block lies in **the same buffer**, which the next one overwrites: copy what
        must be kept.

        Parameters
        ----------
        seconds : float, > 0
            Length of a block; the last one is shorter.

        Yields
        ------
        array of float32, shape (frames, channels)

        Raises
        ------
        AudioFileError
            When the file has not one frame of audio.
        """

    @property
    def lost_frames(self) -> int:
        """Frames that were promised and did not come; complete when `blocks` has ended."""
        return sum(gap.frames for gap in self.damaged) + self._missing_frames()

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Where frames were lost; complete when `blocks` has ended."""
        missing = self._missing_frames()
        end = Gap(at_s=self.frames_read / self.rate_hz, frames=missing)
        return (*self.damaged, end) if missing else tuple(self.damaged)

    def _missing_frames(self) -> int:
        if self.promised_frames is None:
            return 0
        missing = self.promised_frames - self.frames_read
        return missing if missing > self.slack_frames else 0

    def _end(self) -> None:
        """Say what was odd, once all was read."""
        if self.frames_read == 0:
            raise AudioFileError(f"{self.path}: the header is whole, but not one frame of audio follows it")
        promised, came = self.promised_frames, self.frames_read
        if promised is not None and (self._missing_frames() or came > promised + self.slack_frames):
            self.notes.append(
                f"the header promises {promised} frames ({as_text_time(promised / self.rate_hz)}), "
                f"{came} came ({as_text_time(came / self.rate_hz)})"
            )
