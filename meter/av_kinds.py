"""Which files go to FFmpeg, told by their first bytes, and what their kinds are called.

The way to read a file is chosen here and never by the library's own guess: that one looks at names
too, and knows playlists that lead to other files and to the network.

Source
------
First bytes: ISO/IEC 14496-12 (file type box), RFC 8794 (EBML), ISO/IEC 13818-1 and 13818-7 (transport
stream, ADTS), the ASF specification, ETSI TS 102 366 (AC-3). All from memory.
"""

from __future__ import annotations

from typing import Final

START_BYTES: Final = 1024

_MAGICS: Final = (
    (0, b"\x1aE\xdf\xa3", "matroska"),
    (0, bytes.fromhex("3026b2758e66cf11"), "asf"),
    (4, b"ftyp", "mov"),
    (4, b"moov", "mov"),
    (4, b"mdat", "mov"),
    (4, b"wide", "mov"),
    (4, b"free", "mov"),
    (4, b"skip", "mov"),
    (8, b"AVI ", "avi"),
    (0, b"FLV\x01", "flv"),
    (0, b"\0\0\x01\xba", "mpeg"),
    (0, b"\x0b\x77", "ac3"),
    (0, bytes.fromhex("7ffe8001"), "dts"),
    (0, b"wvpk", "wv"),
    (0, b"TTA1", "tta"),
    (0, b"MAC ", "ape"),
)

_SECOND_CHOICE: Final = ((0, b"OggS", "ogg"), (0, b"caff", "caf"))
"""What the other library reads as a rule, but not with every coding."""

TS_PACKET_BYTES: Final = 188

FORMATS: Final = {
    "matroska": "Matroska",
    "asf": "ASF",
    "mov": "MP4",
    "avi": "AVI",
    "flv": "FLV",
    "mpeg": "MPEG program stream",
    "mpegts": "MPEG transport stream",
    "wv": "WavPack",
    "tta": "TTA",
    "ogg": "Ogg",
    "caf": "CAF",
    "wav": "WAV",
    "aac": "ADTS",
    "ac3": "AC-3",
    "dts": "DTS",
    "ape": "APE",
}

CODECS: Final = {
    "aac": "AAC",
    "alac": "ALAC",
    "opus": "Opus",
    "vorbis": "Vorbis",
    "flac": "FLAC",
    "mp3": "MP3",
    "mp3float": "MP3",
    "ac3": "AC-3",
    "eac3": "E-AC-3",
    "dca": "DTS",
    "wmav1": "WMA",
    "wmav2": "WMA",
    "wmapro": "WMA Pro",
    "wmalossless": "WMA Lossless",
    "wavpack": "WavPack",
    "tta": "TTA",
    "ape": "APE",
}

SUFFIXES: Final = frozenset(
    {
        *("wav", "wave", "bwf", "rf64", "w64", "aif", "aiff", "aifc", "flac", "ogg", "oga", "opus", "mp3"),
        *("au", "snd", "caf", "aac", "m4a", "m4b", "mp4", "m4v", "mov", "3gp", "mkv", "mka", "webm"),
        *("wma", "wmv", "asf", "avi", "flv", "ts", "m2ts", "mts", "mpg", "mpeg", "vob", "ogv"),
        *("ac3", "eac3", "dts", "wv", "tta", "ape"),
    }
)
"""Endings that stand for sound, or for video that may have some: what is taken from a folder."""


def demuxer_for(start: bytes) -> str | None:
    """FFmpeg's name of what reads a file that begins so; None when libsndfile is to try it."""
    for at_byte, magic, name in _MAGICS:
        if start[at_byte : at_byte + len(magic)] == magic:
            return name
    # ADTS and MP3 begin alike, but for the two bits of the layer.
    if len(start) > 6 and start[0] == 0xFF and start[1] & 0xF6 == 0xF0:
        return "aac"
    packets = start[::TS_PACKET_BYTES]
    return "mpegts" if len(packets) >= 4 and set(packets) == {0x47} else None


def second_demuxer_for(start: bytes, wav_tag: int | None) -> str | None:
    """The same for a file that libsndfile refused."""
    for at_byte, magic, name in _SECOND_CHOICE:
        if start[at_byte : at_byte + len(magic)] == magic:
            return name
    # Codings of fixed size are the other library's: it refused them for a reason.
    from meter.wav_header import FIXED_SIZE_TAGS

    return "wav" if wav_tag is not None and wav_tag not in FIXED_SIZE_TAGS else None


def codec_text(name: str) -> str:
    """A coding in words for people."""
    return CODECS.get(name, name.replace("_", " "))
