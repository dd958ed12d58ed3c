"""A recording stream of the Linux sound server (PulseAudio, PipeWire), through its own library.

Not through PortAudio and ALSA, because there the server is told no more than how many channels
there are, and mixes them into the places it supposes. Measured: an interface whose channels are
called aux0, aux1 and so on then reads silence (PulseAudio 16.1) or shifted channels (PipeWire
0.3.65), and a single left channel reads 3 dB low (PipeWire). Here the stream states the places and
the rate of the source itself: nothing is mixed or converted, and every float comes as it is.
A server that dies is one error here, without the lines that ALSA and PortAudio print of it.
"""

from __future__ import annotations

import ctypes
import sys
import threading
import time
from typing import Final

import numpy as np

from meter.capture.abandon import within
from meter.capture.backend import OnBlock
from meter.capture.opening import CLOSE_WITHIN_S, OPEN_WITHIN_S, gone, hangs
from meter.capture.pulse_server import ServerSource
from meter.errors import SourceError

BLOCK_S: Final = 0.05
"""Delivered at once: as often as levels are told to the eye. What it costs goes with the number of blocks."""

_RECORD: Final = 2  # pa_stream_direction_t
_FLOAT32: Final = 5 if sys.byteorder == "little" else 6  # pa_sample_format_t
_LEAVE_TO_SERVER: Final = 0xFFFFFFFF
_MAX_CHANNELS: Final = 32


class _SampleSpec(ctypes.Structure):
    _fields_ = (("format", ctypes.c_int), ("rate", ctypes.c_uint32), ("channels", ctypes.c_uint8))


class _ChannelMap(ctypes.Structure):
    _fields_ = (("channels", ctypes.c_uint8), ("map", ctypes.c_int * _MAX_CHANNELS))


class _BufferAttributes(ctypes.Structure):
    _fields_ = tuple(
        (name, ctypes.c_uint32) for name in ("maxlength", "tlength", "prebuf", "minreq", "fragsize")
    )


class _Simple:
    """The few functions of libpulse that are needed; `OSError` when they are not there."""

    def __init__(self) -> None:
        self._pulse = ctypes.CDLL("libpulse.so.0")
        simple = ctypes.CDLL("libpulse-simple.so.0")
        self._new = simple.pa_simple_new
        text, address, number = ctypes.c_char_p, ctypes.c_void_p, ctypes.c_int
        self._new.argtypes = (text, text, number, text, text, address, address, address, address)
        self._new.restype = address
        self._read = simple.pa_simple_read
        self._read.argtypes = (ctypes.c_void_p, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_void_p)
        self._free = simple.pa_simple_free
        self._free.argtypes = (ctypes.c_void_p,)
        self._free.restype = None

    def open(self, source: ServerSource, block_frames: int, title: str) -> int:
        """A stream, as its address; `ConnectionError` when the server does not give it."""
        spec = _SampleSpec(_FLOAT32, source.rate_hz, source.channels)
        places = _ChannelMap()
        if not self._pulse.pa_channel_map_parse(ctypes.byref(places), ",".join(source.positions).encode()):
            raise ConnectionError(f"channel places {source.positions}")
        fragment = block_frames * source.channels * 4
        buffer = _BufferAttributes(*[_LEAVE_TO_SERVER] * 4, fragment)
        stream = self._new(
            None,
            b"Leadline",
            _RECORD,
            source.name.encode(),
            title.encode(),
            *(ctypes.byref(argument) for argument in (spec, places, buffer)),
            None,
        )
        if not stream:
            raise ConnectionError(source.name)
        return int(stream)

    def read(self, stream: int, address: int, size: int) -> bool:
        """Wait until so many bytes are there; False when the stream is dead."""
        return int(self._read(stream, address, size, None)) >= 0

    def free(self, stream: int) -> None:
        """Close."""
        self._free(stream)


class PulseStream:
    """One open stream, read by a thread of its own. Made by `open_stream`."""

    def __init__(self, source: ServerSource, take: tuple[int, ...], title: str) -> None:
        self._source, self._take, self._title = source, take, title
        self._block_frames = max(round(source.rate_hz * BLOCK_S), 1)
        self._on_block: OnBlock | None = None
        self._is_wanted = True
        self._is_dead = False
        self._simple = _Simple()
        self._stream = 0
        self._thread: threading.Thread | None = None

    def start(self, on_block: OnBlock) -> None:
        """Let blocks come."""
        self._on_block = on_block
        self._thread = threading.Thread(target=self._run, name="leadline-capture", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """No block comes after this; a thread that hangs is left behind, and closes when it can."""
        self._is_wanted = False
        if self._thread is not None:
            self._thread.join(CLOSE_WITHIN_S)
        elif self._stream:
            stream, self._stream = self._stream, 0
            threading.Thread(target=self._simple.free, args=(stream,), daemon=True).start()

    def is_alive(self) -> bool:
        """Whether the server has not ended it. Any thread."""
        return not self._is_dead and self._is_wanted

    def _open(self) -> PulseStream:
        self._stream = self._simple.open(self._source, self._block_frames, self._title)
        return self

    def _run(self) -> None:
        frames = self._block_frames
        block = np.zeros((frames, self._source.channels), np.float32)
        taken = block if self._take == tuple(range(block.shape[1])) else None
        picked = np.zeros((frames, len(self._take)), np.float32)
        length_s = frames / self._source.rate_hz
        address, size = block.ctypes.data, block.nbytes
        while self._is_wanted and self._simple.read(self._stream, address, size):
            # The library's own times are smoothed over seconds: after a stall they put a loss into
            # the wrong place by up to 11 s, and into pieces. When a block came tells it to 20 ms.
            captured_s = time.monotonic() - length_s
            if taken is None:
                np.take(block, self._take, axis=1, out=picked, mode="clip")
            if self._is_wanted and self._on_block is not None:
                self._on_block(picked if taken is None else taken, captured_s)
        self._is_dead = True
        self._simple.free(self._stream)


def open_stream(source: ServerSource, take: tuple[int, ...], *, title: str) -> PulseStream:
    """Open a stream, not yet started.

    Parameters
    ----------
    source : ServerSource
        Its own rate and places are taken.
    take : tuple of int
        The channels that are handed on, in this order.
    title : str
        How the stream is called on the server.

    Raises
    ------
    SourceError
        It has gone, or hangs, or there is no library.
    """
    try:
        stream = PulseStream(source, take, title)
    except OSError as error:
        raise SourceError(
            "libpulse-simple is missing, through which the sound server is heard; "
            "install it (Debian: apt-get install libpulse0)"
        ) from error
    try:
        return within(OPEN_WITHIN_S, stream._open, undo=PulseStream.close)
    except ConnectionError as error:
        raise gone(source.title) from error
    except Exception as error:
        raise hangs(source.title) from error
