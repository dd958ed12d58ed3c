"""Files that FFmpeg decodes: AAC, Opus, WMA, and the sound of a video. The same as `AudioFile`.

Priming that the file states is taken off by FFmpeg, and what a container of exact length states of the
end is taken off here; raw AAC states neither. What is damaged in the middle is left out by the
decoder: in its place come NaN, so that the rest keeps its time and nothing is glued together.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np

from meter.audio_file import BLOCK_S, AudioFile
from meter.av_kinds import FORMATS, codec_text
from meter.errors import AudioFileError
from meter.file_problems import check_format
from meter.soundings import Gap, as_text_time
from meter.units import Samples

EXACT: Final = frozenset({"mov", "caf", "wv", "tta"})
"""Containers that count frames; in the others lengths are stated in ms, or guessed."""

EXACT_SLACK_FRAMES: Final = 2048
"""The end of such a file may be stated a packet too late."""

LOOSE_SLACK_S: Final = 0.25

JUMP_S: Final = 0.1
"""Time that goes on further than the frames is a loss; where a packet was damaged, from 4 ms on."""

JUMP_AT_DAMAGE_S: Final = 0.004

LONGEST_JUMP_S: Final = 60.0
"""More is a wrong time, and no loss."""

MOST_JUMPS: Final = 200
"""Where time jumps more often than that, the times are wrong and not the sound."""

MASK_BITS: Final = {
    name: 1 << bit
    for bit, name in enumerate(("FL", "FR", "FC", "LFE", "BL", "BR", "FLC", "FRC", "BC", "SL", "SR"))
}
"""Loudspeakers by FFmpeg's names, as bits of the channel mask of WAVE, in which order they come.
RIFF WAVE with WAVE_FORMAT_EXTENSIBLE; from memory."""

FULL_SCALE: Final = {"u1": 2.0**7, "i2": 2.0**15, "i4": 2.0**31, "i8": 2.0**63}


MOST_DAMAGED_PACKETS: Final = 10_000
"""What cannot be decoded so often is no sound."""


class _Bytes:
    """A file for FFmpeg, which has no place for exceptions: what fails gives what it understands."""

    def __init__(self, raw: BinaryIO) -> None:
        self._raw = raw
        self.problem: OSError | None = None

    def read(self, count: int) -> bytes:
        try:
            return self._raw.read(count)
        except OSError as error:
            self.problem = error
            return b""  # as the end of the file

    def seek(self, offset: int, whence: int = 0) -> int:
        try:
            return self._raw.seek(offset, whence)
        except (OSError, ValueError, OverflowError):  # to before the beginning, as a damaged index says
            return -1

    def tell(self) -> int:
        return self._raw.tell()


class AvFile(AudioFile):
    """A file that FFmpeg decodes. See `AudioFile`; made by `open_av`."""

    def __init__(
        self,
        path: Path,
        raw: BinaryIO,
        container: Any,
        stream: Any,
        *,
        source: _Bytes,
        demuxer: str,
        pair: tuple[int, int] | None,
    ) -> None:
        self._raw, self._container, self._stream, self._source = raw, container, stream, source
        self._is_damaged = False  # since the last good frame
        self._damaged_packets = 0
        self._frames = self._decoded()
        # Only the first frame tells the true rate and channels: the header of HE-AAC gives half of it.
        self._first = next(self._frames, None)
        if self._first is None:
            raise AudioFileError(f"{path}: there is a sound track in it, but not one frame could be decoded")
        rate_hz, channels = int(self._first.sample_rate), len(self._first.layout.channels)
        check_format(path, rate_hz, channels, pair)
        exact = demuxer in EXACT
        promised = _promised_frames(container, stream, rate_hz, exact=exact)
        super().__init__(
            path,
            rate_hz=rate_hz,
            file_channels=channels,
            format_=FORMATS[demuxer],
            subtype=codec_text(stream.codec_context.name),
            order=None if pair is None else (pair[0] - 1, pair[1] - 1),
            mask=_mask(self._first.layout) if pair is None else 0,
            frames=promised,
            promised_frames=promised,
        )
        self._ends_exactly = exact
        self.slack_frames = EXACT_SLACK_FRAMES if exact else round(LOOSE_SLACK_S * rate_hz)
        tracks = len(container.streams.audio)
        if tracks > 1:
            self.notes.append(f"it has {tracks} sound tracks; the one that players choose is measured")

    @property
    def is_compressed(self) -> bool:
        """Whether decoding costs enough to be worth a thread of its own."""
        return True

    def close(self) -> None:
        """Close the file. May be called twice."""
        self._frames.close()
        self._container.close()
        self._raw.close()

    def blocks(self, *, seconds: float = BLOCK_S) -> Generator[Samples, None, None]:
        """Read on from where the file stands. See `AudioFile.blocks`."""
        block_frames = max(round(seconds * self.rate_hz), 1)
        out = np.empty((block_frames, self.channels), np.float32)
        filled = 0
        for part in self._parts():
            at = 0
            while at < len(part):
                taken = part[at : at + block_frames - filled]
                out[filled : filled + len(taken)] = taken
                filled += len(taken)
                at += len(taken)
                if filled == block_frames:
                    self.frames_read += filled
                    filled = 0
                    yield out
        if filled:
            self.frames_read += filled
            yield out[:filled]
        if self._source.problem is not None:
            raise self._source.problem
        self._say_damage()
        self._end()

    def _parts(self) -> Iterator[Samples]:
        """What comes frame by frame, NaN for what is missing, up to the stated end."""
        left = self.promised_frames if self._ends_exactly and self.promised_frames else None
        done = 0
        expected_s: float | None = None
        for frame in self._all_frames():
            if frame.sample_rate != self.rate_hz or len(frame.layout.channels) != self.file_channels:
                self.notes.append(
                    f"rate or channels change at {as_text_time(done / self.rate_hz)}; "
                    "what follows was not read: save it as a file of its own"
                )
                return
            at_s = None if frame.pts is None else float(frame.pts * frame.time_base)
            room = None if left is None else left - done
            for part in (self._missing_before(at_s, expected_s, done, room), _samples(frame, self._order)):
                if left is not None:
                    part = part[: left - done]
                done += len(part)
                yield part
            if at_s is not None:
                expected_s = at_s
            if expected_s is not None:
                expected_s += frame.samples / self.rate_hz

    def _missing_before(
        self, at_s: float | None, expected_s: float | None, done: int, room: int | None
    ) -> Samples:
        jump_s = 0.0 if at_s is None or expected_s is None else at_s - expected_s
        least_s = JUMP_AT_DAMAGE_S if self._is_damaged else JUMP_S
        self._is_damaged = False
        is_loss = least_s <= jump_s <= LONGEST_JUMP_S and len(self.damaged) < MOST_JUMPS
        count = round(jump_s * self.rate_hz) if is_loss else 0
        count = count if room is None else min(count, room)
        if count:
            self.damaged.append(Gap(at_s=done / self.rate_hz, frames=count))
        return np.full((count, self.channels), np.nan, np.float32)

    def _all_frames(self) -> Iterator[Any]:
        if self._first is not None:
            yield self._first
            self._first = None
        yield from self._frames

    def _decoded(self) -> Generator[Any, None, None]:
        """Every frame that can be decoded; packets that cannot are counted."""
        import av

        packets = self._container.demux(self._stream)
        while True:
            try:
                packet = next(packets, None)
                if packet is None:
                    return
                yield from packet.decode()
            except av.EOFError:
                return
            except (av.FFmpegError, ValueError):
                self._damaged_packets += 1
                self._is_damaged = True
                if self._damaged_packets > MOST_DAMAGED_PACKETS:
                    return
                packets = self._container.demux(self._stream)  # goes on where it stands

    def _say_damage(self) -> None:
        if self.damaged:
            lost_s = sum(gap.frames for gap in self.damaged) / self.rate_hz
            places = "once" if len(self.damaged) == 1 else f"{len(self.damaged)} times"
            self.notes.append(
                f"the file is damaged: {lost_s:.2f} s in all could not be decoded, {places}, first at "
                f"{as_text_time(self.damaged[0].at_s)}; they are left out"
            )
        elif self._damaged_packets:
            count = self._damaged_packets
            packets = "1 packet" if count == 1 else f"{count} packets"
            self.notes.append(f"the file is damaged: {packets} of it could not be decoded")


def open_av(path: Path, raw: BinaryIO, demuxer: str, pair: tuple[int, int] | None) -> AvFile:
    """Open what FFmpeg reads; the errors as of `meter.files.open_audio`."""
    import av

    av.logging.set_level(None)  # what is wrong is said by us, in one sentence
    raw.seek(0)
    source = _Bytes(raw)
    try:
        container = av.open(source, mode="r", format=demuxer, metadata_errors="replace")
    except (av.FFmpegError, ValueError, OSError) as error:
        raise AudioFileError(f"{path}: {_why_not_opened(demuxer, error)}") from error
    try:
        stream = container.streams.best("audio")
        if stream is None:
            raise AudioFileError(f"{path}: there is no sound in this file, so nothing to measure")
        if stream.codec_context is None:
            raise AudioFileError(
                f"{path}: its sound is coded or locked in a way that cannot be decoded here; "
                "convert it to WAV or FLAC"
            )
        stream.codec_context.thread_count = 1  # files run side by side already
        return AvFile(path, raw, container, stream, source=source, demuxer=demuxer, pair=pair)
    except (av.FFmpegError, ValueError) as error:
        container.close()
        why = f"its sound cannot be decoded ({_words(error)}); export it again"
        raise AudioFileError(f"{path}: {why}") from error
    except BaseException:
        container.close()
        raise


def _why_not_opened(demuxer: str, error: Exception) -> str:
    if demuxer == "mov":
        return (
            "this MP4 file has no index that can be read: it is damaged, or was cut short while it was "
            "written or copied; export it again"
        )
    return f"this {FORMATS[demuxer]} file is cut short or damaged ({_words(error)}); export it again"


def _words(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error).strip().rstrip(".").lower()


def _promised_frames(container: Any, stream: Any, rate_hz: int, *, exact: bool) -> int | None:
    """Frames that the file states; None where it states none, or where FFmpeg has guessed."""
    if exact or container.format.name == "asf":
        known = stream.duration is not None and stream.duration > 0
        return round(stream.duration * stream.time_base * rate_hz) if known else None
    if "matroska" in container.format.name:
        text = stream.metadata.get("DURATION", "")
        start_s = float((stream.start_time or 0) * stream.time_base)
        try:
            hours, minutes, seconds = (float(part) for part in text.split(":"))
        except ValueError:
            return None
        stated_s = 3600.0 * hours + 60.0 * minutes + seconds - start_s
        return round(stated_s * rate_hz) if 0.0 < stated_s < 1e6 else None
    return None


def _mask(layout: Any) -> int:
    """The channel mask of WAVE; 0 when the order of the channels is another."""
    bits = [MASK_BITS.get(channel.name, 0) for channel in layout.channels]
    return sum(bits) if all(bits) and bits == sorted(set(bits)) else 0


def _samples(frame: Any, order: tuple[int, ...] | None) -> Samples:
    """Samples of a decoded frame, float32, shape (frames, channels)."""
    array = frame.to_ndarray()
    samples = array.T if frame.format.is_planar else array.reshape(frame.samples, -1)
    if order is not None:
        samples = samples[:, list(order)]
    kind = samples.dtype.str[1:]
    full_scale = FULL_SCALE.get(kind)
    made = np.asarray(samples, np.float32)
    if full_scale is None:
        return made
    if kind == "u1":
        made = made - np.float32(full_scale)
    return made * np.float32(1.0 / full_scale)
