"""What the header of a WAV file says: format, channel mask, promised length.

The audio library opens the files; this reads what it does not hand on: the channel mask of
an extensible header, and how much audio the header promised before the library cut that
down to what is there. Nothing here decodes audio.

Source
------
RIFF WAVE with WAVE_FORMAT_EXTENSIBLE; EBU Tech 3306 (RF64). Both from memory.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Final

PCM: Final = 1
FLOAT: Final = 3
A_LAW: Final = 6
MU_LAW: Final = 7
EXTENSIBLE: Final = 0xFFFE

FIXED_SIZE_TAGS: Final = frozenset({PCM, FLOAT, A_LAW, MU_LAW})
"""Formats in which every frame has the same number of bytes, so that bytes count frames."""

NOT_STATED: Final = 0xFFFF_FFFF
"""A size that a writer to a pipe, or RF64, leaves open."""

RIFF_LIMIT_BYTES: Final = 0x1_0000_0000
"""A plain RIFF counts its bytes in 32 bits; beyond, the count wraps."""

MOST_CHUNKS: Final = 10_000
"""More chunks than any honest file has: a loop in a damaged one ends here."""


class HeaderError(ValueError):
    """What is wrong with a header, as the end of a sentence that begins with the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WavHeader:
    """The header of a WAV, RF64 or BW64 file.

    ``promised_frames`` is None where the header leaves the length open. ``spliced`` is a
    header that tells the truth, to be put before ``audio_bytes`` from ``audio_at_byte``,
    where the file's own one hides audio that is there; None where it does not.
    """

    format_tag: int
    channels: int
    rate_hz: int
    frame_bytes: int
    channel_mask: int  # 0: none given
    promised_frames: int | None
    audio_at_byte: int
    audio_bytes: int
    spliced: bytes | None
    is_wide: bool  # RF64 or BW64


def read_wav_header(file: BinaryIO) -> WavHeader | None:
    """Read the header of a RIFF, RIFX, RF64 or BW64 WAVE file.

    Parameters
    ----------
    file : binary file
        Open for reading and able to seek; the position afterwards is anywhere.

    Returns
    -------
    WavHeader or None
        None when the file is no WAVE file at all.

    Raises
    ------
    HeaderError
        When it begins as one and then breaks off or contradicts itself.
    """
    size_bytes = file.seek(0, io.SEEK_END)
    file.seek(0)
    start = file.read(12)
    if start[:4] not in (b"RIFF", b"RIFX", b"RF64", b"BW64"):
        return None
    if len(start) < 12:
        raise HeaderError("breaks off inside the first 12 bytes of its header")
    if start[8:] != b"WAVE":
        return None
    order = ">" if start[:4] == b"RIFX" else "<"
    fmt, wide_bytes = b"", None
    for name, at_byte, stated_bytes in chunks(file, order):
        if name == b"ds64":
            wide_bytes = _wide_data_bytes(file.read(min(stated_bytes, 28)))
        elif name == b"fmt ":
            fmt = file.read(min(stated_bytes, 64))
        elif name == b"data":
            if not fmt:
                raise HeaderError("has its audio before the header says what kind of audio it is")
            there_bytes = max(size_bytes - at_byte, 0)
            promised_bytes = stated_bytes
            if stated_bytes == NOT_STATED:
                promised_bytes = NOT_STATED if wide_bytes is None else wide_bytes
            return _assemble(file, start[:4], fmt, order, at_byte, promised_bytes, there_bytes)
    raise HeaderError("breaks off before any audio: its header is cut short or damaged")


def _assemble(
    file: BinaryIO,
    magic: bytes,
    fmt: bytes,
    order: str,
    audio_at_byte: int,
    promised_bytes: int,
    there_bytes: int,
) -> WavHeader:
    if len(fmt) < 16:
        raise HeaderError("has a header that is cut short or damaged")
    tag, channels, rate_hz, _, frame_bytes, _ = struct.unpack_from(order + "HHIIHH", fmt)
    mask = 0
    if tag == EXTENSIBLE and len(fmt) >= 26:
        (mask,) = struct.unpack_from(order + "I", fmt, 20)
        (tag,) = struct.unpack_from(order + "H", fmt, 24)  # first half of the sub-format
    open_ended = promised_bytes == NOT_STATED
    audio_bytes = there_bytes if open_ended else min(promised_bytes, there_bytes)
    counts = tag in FIXED_SIZE_TAGS and frame_bytes > 0
    rewrite = magic == b"BW64"  # the library knows this one only by its older name, RF64
    if counts and order == "<" and not open_ended:
        tenth_bytes = rate_hz * frame_bytes // 10
        if _hides_audio(file, order, audio_at_byte, promised_bytes, there_bytes, tenth_bytes):
            rewrite, audio_bytes = True, there_bytes
    return WavHeader(
        format_tag=tag,
        channels=channels,
        rate_hz=rate_hz,
        frame_bytes=frame_bytes,
        channel_mask=mask,
        promised_frames=promised_bytes // frame_bytes if counts and not open_ended else None,
        audio_at_byte=audio_at_byte,
        audio_bytes=audio_bytes,
        spliced=_rf64_header(fmt, audio_bytes, frame_bytes) if rewrite and counts else None,
        is_wide=magic in (b"RF64", b"BW64"),
    )


def chunks(file: BinaryIO, order: str) -> Iterator[tuple[bytes, int, int]]:
    """Name, place and stated size of each chunk; the file stands at its first byte."""
    at_byte = 12
    for _ in range(MOST_CHUNKS):
        file.seek(at_byte)
        head = file.read(8)
        if len(head) < 8:
            return
        (stated_bytes,) = struct.unpack(order + "I", head[4:])
        yield head[:4], at_byte + 8, stated_bytes
        at_byte += 8 + stated_bytes + stated_bytes % 2


def _wide_data_bytes(ds64: bytes) -> int | None:
    """Length of the audio by the 64-bit chunk, None if it leaves it open too."""
    if len(ds64) < 16:
        return None
    (data_bytes,) = struct.unpack_from("<Q", ds64, 8)
    return int(data_bytes) if 0 < data_bytes < 1 << 62 else None


def _hides_audio(
    file: BinaryIO, order: str, at_byte: int, promised_bytes: int, there_bytes: int, tenth_bytes: int
) -> bool:
    """Whether audio goes on after the promised end, which no other chunk follows.

    A recorder that was killed leaves a 0 or a count that is too small, and the 32-bit count of
    a plain RIFF wraps. Tags that somebody put behind the audio must stay out, for as audio
    they would be a burst of noise: they begin with letters, padding begins with zeros, and
    what is shorter than 0.1 s is not worth the doubt.
    """
    end_bytes = promised_bytes + promised_bytes % 2
    left_bytes = there_bytes - end_bytes
    if left_bytes < 8:
        return False
    file.seek(at_byte + end_bytes)
    head = file.read(8)
    (next_bytes,) = struct.unpack(order + "I", head[4:])
    is_text = all(0x20 <= byte < 0x7F for byte in head[:4])
    if is_text and next_bytes <= left_bytes - 8:
        return False
    if promised_bytes == 0 or there_bytes >= RIFF_LIMIT_BYTES:
        return True
    return left_bytes >= tenth_bytes and not is_text and any(head[:4])


def _rf64_header(fmt: bytes, audio_bytes: int, frame_bytes: int) -> bytes:
    """A header that states the audio that is there. EBU Tech 3306."""
    fmt_chunk = b"fmt " + struct.pack("<I", len(fmt)) + fmt + bytes(len(fmt) % 2)
    riff_bytes = 4 + 36 + len(fmt_chunk) + 8 + audio_bytes
    ds64 = struct.pack("<QQQI", riff_bytes, audio_bytes, audio_bytes // frame_bytes, 0)
    wide = b"ds64" + struct.pack("<I", len(ds64)) + ds64
    return (
        b"RF64" + struct.pack("<I", NOT_STATED) + b"WAVE" + wide + fmt_chunk
        + b"data" + struct.pack("<I", NOT_STATED)
    )  # fmt: skip


class SplicedFile:
    """A header of ours followed by the audio of a file, read as if it were one file."""

    def __init__(self, file: BinaryIO, header: WavHeader) -> None:
        assert header.spliced is not None
        self._file = file
        self._head = header.spliced
        self._audio_at_byte = header.audio_at_byte
        self._size_bytes = len(self._head) + header.audio_bytes
        self._at_byte = 0

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Move to a byte of the joined file."""
        base = (0, self._at_byte, self._size_bytes)[whence]
        self._at_byte = max(base + offset, 0)
        return self._at_byte

    def tell(self) -> int:
        """Position in the joined file, bytes."""
        return self._at_byte

    def read(self, size: int = -1) -> bytes:
        """Bytes from the present position on, fewer at the end."""
        left = max(self._size_bytes - self._at_byte, 0)
        size = left if size < 0 else min(size, left)
        parts = [self._head[self._at_byte : self._at_byte + size]]
        rest = size - len(parts[0])
        if rest:
            into_audio = self._at_byte + len(parts[0]) - len(self._head)
            self._file.seek(self._audio_at_byte + into_audio)
            parts.append(self._file.read(rest))
        data = b"".join(parts)
        self._at_byte += len(data)
        return data
