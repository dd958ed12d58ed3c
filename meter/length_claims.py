"""How many frames a file says it holds, where its header says so apart from the audio.

The audio library reports what it found; a file that was cut short is only noticed by what
its header promised. Nothing here decodes audio.

Source
------
AIFF-C draft of 1991 (COMM chunk); ID3v2 header; the Xing, Info and VBRI frames of MP3.
All from memory.
"""

from __future__ import annotations

from typing import BinaryIO

from meter.wav_header import chunks


def aiff_promised_frames(file: BinaryIO) -> int | None:
    """Frames that the COMM chunk of an AIFF or AIFF-C file promises; None for other files."""
    file.seek(0)
    start = file.read(12)
    if start[:4] != b"FORM" or start[8:] not in (b"AIFF", b"AIFC"):
        return None
    for name, _, _ in chunks(file, ">"):
        if name == b"COMM":
            comm = file.read(6)
            return int.from_bytes(comm[2:6], "big") if len(comm) == 6 else None
    return None


def mp3_states_its_length(file: BinaryIO) -> bool:
    """Whether an MP3 file carries a count of its frames, so that its length is no guess."""
    file.seek(0)
    head = file.read(10)
    audio_at_byte = 0
    if head[:3] == b"ID3" and len(head) == 10:
        for byte in head[6:]:  # seven bits in each byte
            audio_at_byte = audio_at_byte << 7 | byte & 0x7F
        audio_at_byte += 10
    file.seek(audio_at_byte)
    first_frame = file.read(2048)
    return any(mark in first_frame for mark in (b"Xing", b"Info", b"VBRI"))
