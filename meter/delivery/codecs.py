"""The encoders that a master can be tried with: real ones, in memory, floating point in and out.

What comes out is said of "this encoder at this rate": what a service does to a file is not known here.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from meter.errors import MeterError, UsageError

Float32s = npt.NDArray[np.float32]

BLOCK_FRAMES: Final = 1 << 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Codec:
    """One encoder.

    Attributes
    ----------
    key, title : str
        As the user writes it, and as it is called.
    encoder : str
        Its name in the library.
    container : str
        A format that says where the sound begins, so that nothing is moved.
    lowest_kbps, highest_kbps : int
    rates_hz : tuple of int
        That it takes; others are converted to the last.
    """

    key: str
    title: str
    encoder: str
    container: str
    lowest_kbps: int
    highest_kbps: int
    rates_hz: tuple[int, ...]


CODECS: Final = {
    codec.key: codec
    for codec in (
        Codec(
            key="aac",
            title="AAC",
            encoder="aac",
            container="ipod",
            lowest_kbps=48,
            highest_kbps=320,
            rates_hz=(32_000, 44_100, 48_000),
        ),
        Codec(
            key="mp3",
            title="MP3",
            encoder="libmp3lame",
            container="mp3",
            lowest_kbps=64,
            highest_kbps=320,
            rates_hz=(32_000, 44_100, 48_000),
        ),
        Codec(
            key="opus",
            title="Opus",
            encoder="libopus",
            container="ogg",
            lowest_kbps=32,
            highest_kbps=510,
            rates_hz=(48_000,),
        ),
        Codec(
            key="vorbis",
            title="Vorbis",
            encoder="libvorbis",
            container="ogg",
            lowest_kbps=64,
            highest_kbps=500,
            rates_hz=(32_000, 44_100, 48_000),
        ),
    )
}

_WISH: Final = re.compile(r"([a-z0-9]+):(\d+)", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """An encoder and a bit rate."""

    codec: Codec
    kbps: int

    @property
    def title(self) -> str:
        """Such as "AAC 256 kb/s"."""
        return f"{self.codec.title} {self.kbps} kb/s"


@lru_cache(maxsize=1)
def available() -> tuple[str, ...]:
    """Keys of the encoders that the library has here."""
    import av

    return tuple(key for key, codec in CODECS.items() if codec.encoder in av.codecs_available)


def wishes_from(text: str) -> tuple[Wish, ...]:
    """Encoders and rates from "aac:256,mp3:320"; `UsageError` for anything else."""
    return tuple(_wish_from(part.strip()) for part in text.split(","))


def rates_in(text: str) -> dict[str, int]:
    """Key and kb/s of what is remembered as "aac:256,mp3:320"; what is none is left out, without a word."""
    found = (_WISH.fullmatch(part.strip()) for part in text.split(","))
    return {one[1]: int(one[2]) for one in found if one is not None and one[1] in CODECS}


def _wish_from(text: str) -> Wish:
    found = _WISH.fullmatch(text)
    if found is None or found[1] not in CODECS:
        raise UsageError(
            f"--encode {text} came; expected an encoder and kb/s, such as aac:256,mp3:320,opus:128; "
            f"there are {', '.join(available())}"
        )
    codec, kbps = CODECS[found[1]], int(found[2])
    if codec.key not in available():
        raise UsageError(
            f"there is no encoder for {codec.title} in this installation; there are {', '.join(available())}"
        )
    if not codec.lowest_kbps <= kbps <= codec.highest_kbps:
        raise UsageError(
            f"--encode {text} came; {codec.title} takes {codec.lowest_kbps} to {codec.highest_kbps} kb/s"
        )
    return Wish(codec=codec, kbps=kbps)


class EncodeError(MeterError):
    """What came cannot be encoded; one sentence."""


def rate_for(codec: Codec, rate_hz: int) -> int:
    """The rate that it is encoded at: its own where it can be."""
    return rate_hz if rate_hz in codec.rates_hz else codec.rates_hz[-1]


def encoded(
    frames: Float32s,
    rate_hz: int,
    wish: Wish,
    *,
    gain: float = 1.0,
    tell: Callable[[float], None] | None = None,
) -> bytes:
    """A file of this sound, in memory.

    Parameters
    ----------
    frames : ndarray of float32, shape (n, channels)
        One or two channels, at a rate the codec takes (`rate_for`); may go over full scale.
    gain : float
        An amplitude, brought to it block by block: no second copy is made.
    tell : callable, optional
        Called for each block with the share that is encoded; what it raises ends the work.

    Raises
    ------
    EncodeError
        The encoder refuses.
    """
    import av
    from av.error import FFmpegError

    channels = frames.shape[1]
    layout = "mono" if channels == 1 else "stereo"
    buffer = io.BytesIO()
    try:
        with av.open(buffer, "w", format=wish.codec.container) as container:
            stream: Any = container.add_stream(wish.codec.encoder, rate=rate_hz)
            stream.bit_rate = 1000 * wish.kbps
            stream.layout = layout
            for at in range(0, len(frames), BLOCK_FRAMES):
                part = np.ascontiguousarray(frames[at : at + BLOCK_FRAMES].T)
                if gain != 1.0:
                    part = part * np.float32(gain)
                frame = av.AudioFrame.from_ndarray(part, format="fltp", layout=layout)
                frame.sample_rate, frame.pts = rate_hz, at
                container.mux(stream.encode(frame))
                if tell is not None:
                    tell(min(at + BLOCK_FRAMES, len(frames)) / len(frames))
            container.mux(stream.encode(None))
    except (FFmpegError, ValueError, OverflowError) as error:
        raise EncodeError(
            f"{wish.title} could not be made of {channels} channels at {rate_hz} Hz ({error}); "
            "try another encoder or rate"
        ) from error
    return buffer.getvalue()


def decoded(data: bytes) -> Iterator[Float32s]:
    """The sound of such a file, block by block, shape (n, channels), never rounded to integers."""
    import av
    from av.error import FFmpegError

    try:
        with av.open(io.BytesIO(data), "r") as container:
            for frame in container.decode(audio=0):
                yield np.ascontiguousarray(_floats(frame).T)
    except FFmpegError as error:
        raise EncodeError(f"what was encoded could not be decoded ({error}); please report this") from error


def _floats(frame: Any) -> Float32s:
    """Planar floats of a decoded frame, which is in floating point with every codec here."""
    name = frame.format.name
    made: Float32s = frame.to_ndarray()
    assert name in ("fltp", "flt"), f"a decoder gave {name}"
    return made if frame.format.is_planar else made.reshape(-1, len(frame.layout.channels)).T
