"""Only a part of a file: from a time to a time, exact to the frame.

A file is read from its beginning and what stands before the part is thrown away: in most compressed
files nothing else is exact.
"""

from __future__ import annotations

import re
from collections.abc import Generator
from contextlib import closing
from dataclasses import dataclass
from typing import Final

from meter.audio_file import AudioFile
from meter.errors import AudioFileError, UsageError
from meter.soundings import Gap
from meter.units import Samples

_TIME: Final = re.compile(r"(?:(?:(\d{1,3}):)?(\d{1,4}):)?(\d{1,6}(?:\.\d{1,9})?)", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """From a time to a time of the file, in seconds; ``to_s`` None: to its end."""

    from_s: float = 0.0
    to_s: float | None = None

    @property
    def is_whole(self) -> bool:
        """Whether nothing is left out."""
        return self.from_s == 0.0 and self.to_s is None

    def length_s(self, audio: AudioFile) -> float | None:
        """How long the part is, by what the file states; None when it states nothing."""
        if self.to_s is not None:
            return self.to_s - self.from_s
        return None if audio.frames is None else max(audio.frames / audio.rate_hz - self.from_s, 0.0)

    def blocks(self, audio: AudioFile) -> Generator[Samples, None, None]:
        """Blocks of the part only; for the rest as `AudioFile.blocks`.

        Raises
        ------
        AudioFileError
            The part does not lie in the file.
        """
        first = round(self.from_s * audio.rate_hz)
        last = None if self.to_s is None else round(self.to_s * audio.rate_hz)
        at = 0
        with closing(audio.blocks()) as blocks:
            for block in blocks:
                begin, end = max(first - at, 0), len(block) if last is None else last - at
                at += len(block)
                if begin < min(end, len(block)):
                    yield block[begin:end]
                if last is not None and at >= last:
                    return
        if last is not None:
            raise _outside(audio, "--to", last, at)
        if at <= first:
            raise _outside(audio, "--from", first, at)

    def gaps(self, audio: AudioFile) -> tuple[Gap, ...]:
        """What was lost in the part, at the times of the file; once its blocks were read."""
        if self.to_s is None:
            return tuple(gap for gap in audio.gaps if gap.at_s >= self.from_s)
        return tuple(gap for gap in audio.damaged if self.from_s <= gap.at_s < self.to_s)


def _outside(audio: AudioFile, option: str, wanted: int, there: int) -> AudioFileError:
    return AudioFileError(
        f"{audio.path}: {option} {_exactly(wanted / audio.rate_hz)} lies outside the file, which ends at "
        f"{_exactly(there / audio.rate_hz)}; choose a time inside"
    )


def _exactly(at_s: float) -> str:
    minutes, thousandths = divmod(int(at_s * 1000.0), 60_000)  # not rounded up, beyond the end
    return f"{minutes}:{thousandths // 1000:02d}.{thousandths % 1000:03d}"


def part_from(from_text: str | None, to_text: str | None) -> Part:
    """The part that `--from` and `--to` mean; `UsageError` when they mean none."""
    from_s = 0.0 if from_text is None else seconds_of("--from", from_text)
    to_s = None if to_text is None else seconds_of("--to", to_text)
    if to_s is not None and to_s <= from_s:
        raise UsageError(
            f"--from {from_text or '0:00'} --to {to_text} came; expected an end behind the beginning"
        )
    return Part(from_s=from_s, to_s=to_s)


def seconds_of(option: str, text: str) -> float:
    """Seconds from "1:30", "1:02:30.5" or "90"; `UsageError`, which names the option, for anything else."""
    found = _TIME.fullmatch(text.strip())
    if found is None or (found[2] is not None and float(found[3]) >= 60.0):
        raise UsageError(
            f"{option} {text} came; expected minutes and seconds such as 1:30 or 1:30.5, or seconds as 90"
        )
    return 3600.0 * int(found[1] or 0) + 60.0 * int(found[2] or 0) + float(found[3])
