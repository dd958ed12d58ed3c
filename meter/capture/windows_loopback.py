"""The system's own output on Windows: loopback of the default output, through ``soundcard``.

PortAudio as it comes with sounddevice has no loopback. ``soundcard`` makes COM multithreaded in
the thread that imports it first, so it is imported in the capture thread only, never in one with
windows. It would convert to any rate without a word: the native one is PortAudio's default for
the same output. Nothing here was tried on Windows yet; the tests use a stand-in.
"""

from __future__ import annotations

import threading
import time
import warnings
from collections.abc import Callable
from typing import Any, Final

import numpy as np

from meter.capture import portaudio
from meter.capture.backend import OnBlock
from meter.capture.layout import channels_to_take
from meter.capture.opening import CLOSE_WITHIN_S, gone, hangs
from meter.capture.portaudio import Device
from meter.capture.records import Look, SourceInfo
from meter.errors import SourceError

HOST: Final = "Windows WASAPI"
BLOCK_S: Final = 0.025
LOOK_EVERY_S: Final = 0.5
OPEN_WITHIN_S: Final = 4.0

NO_OUTPUT: Final = "Windows has no output that is switched on"
CONNECT_ONE: Final = "connect loudspeakers, headphones or an interface"
MISSING: Final = (
    "the Python package soundcard is missing, through which the system is heard; install it with pip"
)


def default_output(devices: tuple[Device, ...]) -> Device:
    """The output that programs play into, with its native rate; `SourceError` when there is none."""
    for device in devices:
        if device.host == HOST and device.is_default_output and device.outputs:
            return device
    raise SourceError(f"{NO_OUTPUT}; {CONNECT_ONE}")


class WindowsLoopback:
    """What the default output plays; a `meter.capture.backend.Backend`.

    Parameters
    ----------
    pair : tuple of two int, optional
        The channels to be heard, counted from 1.
    """

    def __init__(self, pair: tuple[int, int] | None = None) -> None:
        self.spec = "system"
        self._pair = pair
        self._thread: _CaptureThread | None = None
        self._info: SourceInfo | None = None

    def open(self) -> SourceInfo:
        """See `Backend`."""
        self.close()
        # The default output and its format may have changed since PortAudio looked.
        output = default_output(portaudio.devices(anew=True))
        take = channels_to_take(output.name, output.outputs, self._pair)
        self._info = SourceInfo(
            spec=self.spec, name=output.name, rate_hz=output.rate_hz, channels=len(take), is_default=True
        )
        self._thread = _CaptureThread(output, take)
        self._thread.open()
        return self._info

    def start(self, on_block: OnBlock) -> None:
        """See `Backend`."""
        if self._thread is None:
            raise AssertionError("open comes before start")
        self._thread.go(on_block)

    def close(self) -> None:
        """See `Backend`."""
        thread, self._thread = self._thread, None
        if thread is not None:
            thread.end()

    def is_alive(self) -> bool:
        """See `Backend`."""
        thread = self._thread
        return thread is not None and thread.is_alive()

    def look(self) -> Look | None:
        """See `Backend`. Whether loopback lies behind the volume is not known: none is told."""
        if self._info is None or self._thread is None:
            return None
        return Look(info=self._info, has_moved=self._thread.has_moved)


class _CaptureThread:
    """Everything that touches soundcard, in one thread."""

    def __init__(self, output: Device, take: tuple[int, ...]) -> None:
        self._output, self._take = output, take
        self._on_block: OnBlock | None = None
        self._is_wanted = True
        self._is_open = threading.Event()
        self._may_go = threading.Event()
        self._problem: SourceError | None = None
        self._heard_id: Any = None
        self.has_moved = False
        self._thread = threading.Thread(target=self._run, name="leadline-capture", daemon=True)

    def open(self) -> None:
        self._thread.start()
        if not self._is_open.wait(OPEN_WITHIN_S):
            self._is_wanted = False
            raise hangs(self._output.name)
        if self._problem is not None:
            raise self._problem

    def go(self, on_block: OnBlock) -> None:
        self._on_block = on_block
        self._may_go.set()

    def end(self) -> None:
        self._is_wanted = False
        self._on_block = None
        self._may_go.set()
        self._thread.join(CLOSE_WITHIN_S)

    def is_alive(self) -> bool:
        return self._is_wanted and self._thread.is_alive()

    def _run(self) -> None:
        try:
            import soundcard
        except (ImportError, OSError):
            self._fail(SourceError(MISSING))
            return
        rate_hz = self._output.rate_hz
        # Of a discontinuity soundcard warns in words; the times of the blocks tell it better.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                speaker = soundcard.default_speaker()
                self._heard_id = speaker.id
                loopback = soundcard.get_microphone(speaker.id, include_loopback=True)
                # Half a second is what Windows then keeps for a program that stalls.
                with loopback.recorder(
                    rate_hz, channels=self._output.outputs, blocksize=rate_hz // 2
                ) as recorder:
                    self._is_open.set()
                    self._may_go.wait()
                    self._record(recorder, soundcard.default_speaker)
            except (RuntimeError, IndexError, AssertionError, OSError):
                # soundcard raises these for a device that went away; later ones end the thread.
                self._fail(gone(self._output.name))

    def _fail(self, problem: SourceError) -> None:
        self._problem = problem
        self._is_open.set()

    def _record(self, recorder: Any, default_speaker: Callable[[], Any]) -> None:
        rate_hz = self._output.rate_hz
        count = max(round(rate_hz * BLOCK_S), 1)
        picked = np.zeros((count, len(self._take)), np.float32)
        next_look_s = 0.0
        while self._is_wanted:
            block = recorder.record(numframes=count)
            captured_s = time.monotonic() - count / rate_hz
            np.take(block, self._take, axis=1, out=picked, mode="clip")
            if self._on_block is not None:
                self._on_block(picked, captured_s)
            if captured_s >= next_look_s:
                next_look_s = captured_s + LOOK_EVERY_S
                self.has_moved = default_speaker().id != self._heard_id
