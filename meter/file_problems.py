"""Everything that can be wrong with an audio file before its first frame, one sentence each.

Used by `meter.files`. Each sentence names the file, says what came, and what to do.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, Final

from meter.errors import AudioFileError
from meter.soundings import MAX_CHANNELS
from meter.wav_header import HeaderError, SplicedFile, WavHeader, read_wav_header

MIN_RATE_HZ: Final = 8_000
MAX_RATE_HZ: Final = 384_000

READABLE: Final = (
    "WAV, AIFF, FLAC, Ogg Vorbis, Opus, MP3, AAC and ALAC (M4A, MP4), WMA, WavPack or a video with sound"
)


def open_raw(path: Path) -> BinaryIO:
    """The file as bytes, if it is one that can be opened and is not empty."""
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise AudioFileError(f"{path}: this is a folder; name the audio files in it")
        if not stat.S_ISREG(mode):
            raise AudioFileError(f"{path}: this is no ordinary file; save the audio to a file first")
        raw = path.open("rb")
    except FileNotFoundError as error:
        raise AudioFileError(f"{path}: there is no such file") from error
    except PermissionError as error:
        raise AudioFileError(f"{path}: you are not allowed to read this file") from error
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        why = getattr(error, "strerror", None) or str(error)
        if isinstance(error, AudioFileError):
            raise
        raise AudioFileError(f"{path}: this file cannot be opened ({why})") from error
    if path.stat().st_size == 0:
        raw.close()
        raise AudioFileError(f"{path}: this file is empty (0 bytes)")
    return raw


def wav_header(path: Path, raw: BinaryIO) -> WavHeader | None:
    """The header of a WAV file, None for other kinds."""
    try:
        wav = read_wav_header(raw)
    except HeaderError as error:
        raise AudioFileError(f"{path}: this WAV file {error}; export it again") from error
    if wav is not None:
        if wav.channels == 0:
            raise AudioFileError(f"{path}: the header says 0 channels; export the file again")
        _check_rate(path, wav.rate_hz)
    return wav


def open_sound(path: Path, raw: BinaryIO, wav: WavHeader | None) -> Any:
    """The file opened by the audio library, behind a true header where its own one is not."""
    import soundfile

    from meter.sequential import SequentialSoundFile

    if wav is not None and wav.spliced is not None:
        source: Any = SplicedFile(raw, wav)
    else:
        # As bytes, so that names that are no valid UTF-8 work too; Windows wants text.
        source = str(path) if sys.platform == "win32" else os.fsencode(path)
    try:
        with decoder_keeps_quiet(True):
            return SequentialSoundFile(source)
    except (soundfile.LibsndfileError, TypeError) as error:
        raise AudioFileError(f"{path}: {_why_not_audio(path, raw, error)}") from error


def _why_not_audio(path: Path, raw: BinaryIO, error: Exception) -> str:
    raw.seek(0)
    start = raw.read(64)
    known = (b"RIFF", b"RF64", b"BW64", b"FORM", b"fLaC", b"OggS", b"ID3")
    if not start.startswith(known):
        return f"this is no audio file that can be read here, whatever its name says; expected {READABLE}"
    detail = str(getattr(error, "error_string", "")).strip().rstrip(".")
    return "its header is cut short, damaged or of a kind that is not read" + (
        f" ({detail}); export it again" if detail else "; export it again"
    )


def _check_rate(path: Path, rate_hz: int) -> None:
    if not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ:
        raise AudioFileError(
            f"{path}: the sample rate is {rate_hz} Hz; expected {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz"
        )


def check_format(path: Path, rate_hz: int, channels: int, pair: tuple[int, int] | None) -> None:
    """Refuse rates and channels that cannot be measured."""
    _check_rate(path, rate_hz)
    if pair is None:
        if channels > MAX_CHANNELS:
            raise AudioFileError(
                f"{path}: the file has {channels} channels, at most {MAX_CHANNELS} are measured together; "
                "choose a pair, as in `leadline check FILE --channels 1,2`, or export one by itself"
            )
        return
    first, second = pair
    if not (1 <= first <= channels and 1 <= second <= channels):
        has = "1 channel" if channels == 1 else f"{channels} channels"
        raise AudioFileError(
            f"{path}: --channels {first},{second} was asked for, but the file has {has}, counted from 1"
        )


@contextmanager
def decoder_keeps_quiet(needed: bool) -> Iterator[None]:
    """Hide what libmpg123 prints on standard error, past Python, about damaged files."""
    if not needed:
        yield
        return
    try:
        kept = os.dup(2)
    except OSError:  # there is no standard error, so nothing to hide
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
