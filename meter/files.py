"""Audio files as a stream of blocks, read in pieces of bounded size.

`open_audio` answers everything that can be wrong with a file in one sentence
(`AudioFileError`, or `UsageError` for a wrong choice of channels). Decoding is left to
libsndfile; what it does not hand on (channel mask, promised length) comes from
`meter.wav_header` and `meter.length_claims`. What it cannot read goes to `meter.av_file`.

Samples come as float32, shape (frames, channels), full scale 1.0.
"""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np

from meter.audio_file import BLOCK_S, AudioFile
from meter.av_kinds import START_BYTES, demuxer_for, second_demuxer_for
from meter.errors import AudioFileError
from meter.file_problems import check_format, decoder_keeps_quiet, open_raw, open_sound, wav_header
from meter.length_claims import aiff_promised_frames, mp3_states_its_length
from meter.soundings import as_text_time
from meter.units import Samples
from meter.wav_header import WavHeader

COMPRESSED: Final = frozenset({"FLAC", "OGG", "MP3"})
"""Formats whose decoding takes a quarter of the time of measuring and more."""

MP3_SLACK_FRAMES: Final = 2 * 1152
"""An MP3 counts whole frames of 1152 and trims the ends: less than this is no loss."""

OGG_SLACK_FRAMES: Final = 8192
"""The longest block of Vorbis. The first page may trim the start (seen: 104 frames, in 3 of 17 published
tunes), which the library's count leaves in. What is cut off an Ogg file takes its promise with it: the count
stands on the last page. Vorbis I specification §4.2.2, A.2; from memory."""

VORBIS_ORDER: Final = {3: (0, 2, 1), 5: (0, 2, 1, 3, 4), 6: (0, 2, 1, 5, 3, 4)}
"""Where L, R, C, LFE, Ls, Rs stand in Ogg files, whose order is L, C, R, Ls, Rs, LFE.
Vorbis I specification §4.3.9; RFC 7845 §5.1.1.2. From memory; seen in decoded Opus."""


class SoundFile(AudioFile):
    """A file that libsndfile decodes. See `AudioFile`."""

    def __init__(
        self,
        path: Path,
        sound: Any,
        *,
        raw: BinaryIO,
        wav: WavHeader | None,
        pair: tuple[int, int] | None,
        frames: int | None,
        promised_frames: int | None,
    ) -> None:
        channels, format_ = int(sound.channels), str(sound.format)
        if wav is not None and wav.spliced is not None and not wav.is_wide:
            format_ = "WAV"  # the header that was put before it is RF64
        super().__init__(
            path,
            rate_hz=int(sound.samplerate),
            file_channels=channels,
            format_=format_,
            subtype=str(sound.subtype),
            order=_channel_order(format_, channels, pair),
            mask=wav.channel_mask if wav is not None and pair is None else 0,
            frames=frames,
            promised_frames=promised_frames,
        )
        self._sound = sound
        self._raw = raw
        if format_ == "MP3":
            self.slack_frames = MP3_SLACK_FRAMES
        elif format_ == "OGG":
            self.slack_frames = OGG_SLACK_FRAMES

    @property
    def is_compressed(self) -> bool:
        """Whether decoding costs enough to be worth a thread of its own."""
        return self.format in COMPRESSED

    def close(self) -> None:
        """Close the file. May be called twice."""
        self._sound.close()
        self._raw.close()

    def blocks(self, *, seconds: float = BLOCK_S) -> Generator[Samples, None, None]:
        """Read on from where the file stands. See `AudioFile.blocks`."""
        block_frames = max(round(seconds * self.rate_hz), 1)
        # libsndfile turns 16-bit samples into float at a third of the speed of numpy.
        is_16_bit = self.subtype == "PCM_16"
        decoded = np.empty((block_frames, self.file_channels), np.int16 if is_16_bit else np.float32)
        order = list(self._order) if self._order else None
        needs_copy = is_16_bit or order is not None
        out = np.empty((block_frames, self.channels), np.float32) if needs_copy else decoded
        broken = False
        while not broken:
            count, broken = self._read_into(decoded)
            if count == 0:
                break
            self.frames_read += count
            chosen = decoded[:count] if order is None else decoded[:count, order]
            if is_16_bit:
                np.multiply(chosen, np.float32(2.0**-15), out=out[:count])
            elif order is not None:
                out[:count] = chosen
            yield out[:count]
        self._end()

    def _read_into(self, buffer: Samples) -> tuple[int, bool]:
        """Frames that came, and whether decoding broke at their end."""
        import soundfile

        before = self.frames_read
        try:
            with decoder_keeps_quiet(self.format == "MP3"):
                return len(self._sound.read(out=buffer)), False
        except soundfile.LibsndfileError:
            # What was decoded before the damage is in the buffer; the position tells how much.
            came = max(int(self._sound.tell()) - before, 0)
            self.notes.append(
                f"decoding broke off at {as_text_time((before + came) / self.rate_hz)}: the file is damaged "
                "there or of a kind that the decoder does not master; what follows was not read"
            )
            return min(came, len(buffer)), True


def open_audio(path: str | Path, *, pair: tuple[int, int] | None = None) -> AudioFile:
    """Open an audio file for reading.

    Parameters
    ----------
    path : str or Path
        A regular file.
    pair : tuple of two int, optional
        Channels to read as left and right, counted from 1 in the order of the file.

    Raises
    ------
    AudioFileError
        One sentence: what is wrong with the file.
    UsageError
        The pair is not in the file, or a pair must be chosen.
    """
    path = Path(path)
    raw = open_raw(path)
    try:
        start = raw.read(START_BYTES)
        demuxer = demuxer_for(start)
        if demuxer is not None:
            return _open_av(path, raw, demuxer, pair)
        wav = wav_header(path, raw)
        try:
            sound = open_sound(path, raw, wav)
        except AudioFileError:
            demuxer = second_demuxer_for(start, None if wav is None else wav.format_tag)
            if demuxer is None:
                raise
            return _open_av(path, raw, demuxer, pair)
        try:
            check_format(path, int(sound.samplerate), int(sound.channels), pair)
            frames, promised_frames = _lengths(raw, sound, wav)
            return SoundFile(
                path, sound, raw=raw, wav=wav, pair=pair, frames=frames, promised_frames=promised_frames
            )
        except BaseException:
            sound.close()
            raise
    except BaseException:
        raw.close()
        raise


def _open_av(path: Path, raw: BinaryIO, demuxer: str, pair: tuple[int, int] | None) -> AudioFile:
    from meter.av_file import open_av

    return open_av(path, raw, demuxer, pair)


def _lengths(raw: BinaryIO, sound: Any, wav: WavHeader | None) -> tuple[int | None, int | None]:
    """Frames by the decoder's count, and frames that the header promises."""
    counted: int | None = int(sound.frames)
    if wav is not None:
        # Compressed WAV has no frames of a fixed size: the decoder's count stands for both.
        stated = wav.promised_frames
        return counted, stated
    if sound.format == "AIFF":
        return counted, aiff_promised_frames(raw)
    if sound.format == "MP3" and not mp3_states_its_length(raw):
        return None, None
    if counted is not None and not 0 <= counted < 1 << 62:  # a stream of unknown length
        return None, None
    return counted, counted


def _channel_order(format_: str, channels: int, pair: tuple[int, int] | None) -> tuple[int, ...] | None:
    """Columns to take, None for all as they are."""
    if pair is not None:
        chosen = (pair[0] - 1, pair[1] - 1)
        return None if channels == 2 and chosen == (0, 1) else chosen
    return VORBIS_ORDER.get(channels) if format_ == "OGG" else None
