"""The process that hears JACK, so that a JACK server that dies takes only this process with it.

::

    python -m meter.capture.jack_child list              one JSON line
    python -m meter.capture.jack_child hear NAME COUNT   one JSON line, then blocks

A block is `HEADER` (frames, time of its first frame in seconds) and its frames as float32. The
process ends when its standard input or output is closed. It has nothing else to do, so even short
periods of JACK are heard without a loss.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import json
import os
import struct
import sys
import threading
import time
from collections import deque
from contextlib import suppress
from typing import Any, BinaryIO, Final

HEADER: Final = struct.Struct("<Id")
HOST: Final = "JACK Audio Connection Kit"
CLIENT_NAME: Final = ctypes.c_char_p(b"Leadline")
"""PortAudio keeps the address only."""

FAREWELL_S: Final = 0.7
"""A client that goes without a word stays in JACK's books, and makes JACK fail when it ends (measured)."""

POLL_S: Final = 0.025
"""Handed on so often: each look costs as much as a callback of JACK."""
KEPT_S: Final = 15.0
"""How much is kept for a program that stalls; what is older is lost, and its times tell how much."""


def main(arguments: list[str]) -> None:
    """List, or hear until nobody listens. Never returns."""
    out = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    _take_name()
    try:
        import sounddevice
    except (ImportError, OSError):
        _say(out, {"error": "PortAudio is missing"})
        os._exit(1)
    with suppress(OSError):  # nobody listens any more
        try:
            if arguments[:1] == ["list"]:
                _say(out, {"devices": _devices(sounddevice)})
            else:
                _hear(sounddevice, out, arguments[1], int(arguments[2]))
        except (sounddevice.PortAudioError, LookupError) as error:
            _say(out, {"error": str(error)})
    threading.Thread(target=_leave_soon, daemon=True).start()
    sounddevice._terminate()
    os._exit(0)


def _leave_soon() -> None:
    """Do not wait for a JACK that has died."""
    time.sleep(FAREWELL_S)
    os._exit(0)


def _take_name() -> None:
    """Be called Leadline in JACK; under PortAudio's own name another program could not be told from us."""
    with suppress(OSError, AttributeError):
        library = ctypes.util.find_library("portaudio")
        ctypes.CDLL(library).PaJack_SetClientName(CLIENT_NAME)


def _say(out: BinaryIO, made: dict[str, Any]) -> None:
    out.write(json.dumps(made).encode() + b"\n")
    out.flush()


def _devices(sound: Any) -> list[dict[str, Any]]:
    hosts = sound.query_hostapis()
    return [
        {
            "index": index,
            "name": one["name"],
            "channels": one["max_input_channels"],
            "rate_hz": one["default_samplerate"],
        }
        for index, one in enumerate(sound.query_devices())
        if hosts[one["hostapi"]]["name"] == HOST and one["max_input_channels"]
    ]


def _hear(sound: Any, out: BinaryIO, name: str, channels: int) -> None:
    device = next((one for one in _devices(sound) if one["name"] == name), None)
    if device is None:
        raise LookupError("it is not there")
    rate_hz = round(device["rate_hz"])
    blocks: deque[tuple[int, float, bytes]] = deque()

    def take(block: Any, frames: int, when: Any, status: Any) -> None:
        at_s = when.inputBufferAdcTime
        blocks.append((frames, at_s, block.tobytes()))
        with suppress(IndexError):  # the other thread took them all
            while at_s - blocks[0][1] > KEPT_S:
                blocks.popleft()

    is_over = threading.Event()
    threading.Thread(target=_wait_for_end, args=(is_over,), daemon=True).start()
    with sound.InputStream(
        device=device["index"], channels=channels, samplerate=rate_hz, dtype="float32", callback=take
    ):
        _say(out, {"rate_hz": rate_hz})
        while not is_over.wait(POLL_S):
            while blocks:
                frames, at_s, data = blocks.popleft()
                out.write(HEADER.pack(frames, at_s) + data)
            out.flush()


def _wait_for_end(is_over: threading.Event) -> None:
    """When standard input ends, leave."""
    while sys.stdin.buffer.read(1):
        pass
    is_over.set()
    _leave_soon()


if __name__ == "__main__":
    main(sys.argv[1:])
