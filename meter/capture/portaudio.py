"""PortAudio: its devices, and one stream of float32 from one of them.

PortAudio looks at the devices once, when it starts, and lists no newer ones; it is started anew
when none of our streams is open. What can hang, because a sound server stands still, runs in a
thread that can be left behind (`meter.capture.abandon`).

JACK is kept out of this process: when its server dies, PortAudio aborts the whole program as soon
as it is started anew or ends (measured, 19.6.0). `meter.capture.jack` gives it a process of its own.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from meter.capture.abandon import Abandoned, within
from meter.capture.backend import OnBlock
from meter.capture.native_noise import kept_quiet
from meter.capture.opening import CLOSE_WITHIN_S, OPEN_WITHIN_S, busy, gone, hangs
from meter.capture.records import Frames
from meter.errors import SourceError

LIBRARY_WITHIN_S: Final = 4.0

ONE_AT_A_TIME: Final = threading.RLock()
"""Held by whoever opens: standard error is the whole program's."""

LATENCY_S: Final = 0.1 if sys.platform.startswith("linux") else 0.2
"""Small enough to be live; "low" costs five times the CPU. Elsewhere than on Linux the system
queues less for a program that stalls."""

MISSING: Final = "PortAudio is missing"
INSTALL_IT: Final = (
    "install it (Debian: apt-get install libportaudio2 libasound2-plugins)"
    if sys.platform.startswith("linux")
    else "install the Python package sounddevice anew: it brings PortAudio along"
)

NO_JACK: Final = {"JACK_DEFAULT_SERVER": "none-for-leadline", "JACK_NO_START_SERVER": "1"}
"""Where PortAudio finds no JACK server, it leaves JACK alone."""

SAME_CLOCK_S: Final = 3600.0
"""Stamps nearer to the time of day than this are times of day."""

_DEVICE_UNAVAILABLE: Final = -9985  # paDeviceUnavailable, portaudio.h


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One device as PortAudio lists it."""

    index: int
    name: str
    host: str
    inputs: int
    outputs: int
    rate_hz: int
    is_default_input: bool
    is_default_output: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to open.

    Attributes
    ----------
    device : int
        Its index.
    name : str
        For people.
    channels : int
        How many are opened.
    take : tuple of int
        Those of them that are handed on, in this order.
    """

    device: int
    name: str
    rate_hz: int
    channels: int
    take: tuple[int, ...]


class _Library:
    """PortAudio in this process: loaded once, started anew when that is needed and possible."""

    def __init__(self) -> None:
        self.open_streams: set[object] = set()
        self.is_stale = False

    def module(self) -> Any:
        """The module sounddevice; `SourceError` when PortAudio is not there or hangs."""
        try:
            with _variables({} if "sounddevice" in sys.modules else NO_JACK):
                return within(LIBRARY_WITHIN_S, _import_sounddevice)
        except (ImportError, OSError) as error:
            raise SourceError(f"{MISSING}, which hears the sound devices; {INSTALL_IT}") from error
        except Abandoned as error:
            raise SourceError(
                "PortAudio did not start within 4 s; restart the sound server, then try again"
            ) from error

    def renew(self) -> None:
        """Look at the devices again, unless a stream of ours is open."""
        sound = self.module()
        if self.open_streams:
            return

        def start_anew() -> None:
            sound._terminate()
            sound._initialize()

        try:
            with _variables(NO_JACK):
                within(LIBRARY_WITHIN_S, start_anew)
        except Abandoned as error:
            raise SourceError(
                "PortAudio hangs while it looks for devices; restart the sound server, then Leadline"
            ) from error
        self.is_stale = False


LIBRARY: Final = _Library()


@contextmanager
def _variables(wanted: Mapping[str, str]) -> Iterator[None]:
    """Environment variables that hold for a short while."""
    before = {name: os.environ.get(name) for name in wanted}
    os.environ.update(wanted)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _import_sounddevice() -> Any:
    import sounddevice

    return sounddevice


def devices(*, anew: bool = False) -> tuple[Device, ...]:
    """All devices.

    Parameters
    ----------
    anew : bool
        Look again first, where that is possible.

    Raises
    ------
    SourceError
        PortAudio is not there.
    """
    with ONE_AT_A_TIME, kept_quiet():
        was_loaded = "sounddevice" in sys.modules
        sound = LIBRARY.module()
        if (anew or LIBRARY.is_stale) and was_loaded:
            LIBRARY.renew()
        hosts = sound.query_hostapis()
        return tuple(_device(index, one, hosts) for index, one in enumerate(sound.query_devices()))


def _device(index: int, one: Mapping[str, Any], hosts: Sequence[Mapping[str, Any]]) -> Device:
    host = hosts[one["hostapi"]]
    return Device(
        index=index,
        name=one["name"],
        host=host["name"],
        inputs=one["max_input_channels"],
        outputs=one["max_output_channels"],
        rate_hz=round(one["default_samplerate"]),
        is_default_input=host["default_input_device"] == index,
        is_default_output=host["default_output_device"] == index,
    )


def takes(device: Device, channels: int, rate_hz: int) -> bool:
    """Whether the device can be heard at a rate."""
    with ONE_AT_A_TIME, kept_quiet():
        sound = LIBRARY.module()
        try:
            within(
                OPEN_WITHIN_S,
                lambda: sound.check_input_settings(
                    device=device.index, channels=channels, dtype="float32", samplerate=rate_hz
                ),
            )
        except Exception:
            return False
    return True


class SteadyClock:
    """Takes the steps of the wall clock out of PortAudio's times.

    On Linux PortAudio dates blocks by the time of day (measured), which is set now and then:
    a step of it would look like frames that were lost.
    """

    def __init__(self) -> None:
        self._offset_s: float | None = None

    def steady_s(self, stamp_s: float) -> float:
        """The stamp of PortAudio on a clock that never steps. Audio callback only."""
        before_s = time.monotonic()
        of_day_s = time.time()
        after_s = time.monotonic()
        if self._offset_s is None:
            self._offset_s = of_day_s - after_s if abs(stamp_s - of_day_s) < SAME_CLOCK_S else 0.0
        elif self._offset_s and after_s - before_s < 0.001:  # not interrupted between the readings
            self._offset_s = of_day_s - after_s
        return stamp_s - self._offset_s


class PortAudioStream:
    """One open input stream. Made by `open_stream`."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._stream: Any = None
        self._on_block: OnBlock | None = None
        self._is_inside = False
        self._has_finished = False
        self._clock = SteadyClock()
        self._taken: Frames = np.zeros((0, len(plan.take)), np.float32)
        self._is_plain = plan.take == tuple(range(plan.channels))

    def start(self, on_block: OnBlock) -> None:
        """Let blocks come; `SourceError` when it does not start."""
        self._on_block = on_block
        try:
            with ONE_AT_A_TIME, kept_quiet():
                within(OPEN_WITHIN_S, self._stream.start)
        except Exception as error:
            LIBRARY.is_stale = True
            raise _problem(self._plan.name, error) from error

    def close(self) -> None:
        """No block comes after this; what hangs is left behind."""
        self._on_block = None
        until_s = time.monotonic() + CLOSE_WITHIN_S / 3.0
        while self._is_inside and time.monotonic() < until_s:
            time.sleep(0.001)
        stream, self._stream = self._stream, None
        if stream is None:
            return

        def let_go() -> None:
            stream.close(ignore_errors=True)
            LIBRARY.open_streams.discard(self)

        with suppress(Abandoned):  # until it comes back PortAudio cannot be started anew
            within(CLOSE_WITHIN_S, let_go)

    def is_alive(self) -> bool:
        """Whether PortAudio has not said that it ended. Any thread."""
        return self._stream is not None and not self._has_finished

    def _open(self, sound: Any) -> PortAudioStream:
        LIBRARY.open_streams.add(self)
        try:
            self._stream = sound.InputStream(
                device=self._plan.device,
                channels=self._plan.channels,
                samplerate=self._plan.rate_hz,
                dtype="float32",
                latency=LATENCY_S,
                blocksize=0,
                callback=self._callback,
                finished_callback=self._finished,
            )
        except BaseException:
            LIBRARY.open_streams.discard(self)
            raise
        return self

    def _callback(self, block: Frames, frames: int, when: Any, status: Any) -> None:
        """Called by PortAudio. The status says nothing of most losses, and cries wolf on others."""
        self._is_inside = True
        on_block = self._on_block
        if on_block is not None:
            captured_s = self._clock.steady_s(when.inputBufferAdcTime)
            on_block(block if self._is_plain else self._pick(block), captured_s)
        self._is_inside = False

    def _pick(self, block: Frames) -> Frames:
        if len(self._taken) < len(block):  # grows in the first blocks, then never again
            self._taken = np.zeros((len(block), len(self._plan.take)), np.float32)
        picked = self._taken[: len(block)]
        for place, channel in enumerate(self._plan.take):
            picked[:, place] = block[:, channel]
        return picked

    def _finished(self) -> None:
        self._has_finished = True


def open_stream(plan: Plan) -> PortAudioStream:
    """Open a stream, not yet started.

    Raises
    ------
    SourceError
        It is in use, has gone, hangs, or does not work in this form.
    """
    stream = PortAudioStream(plan)
    with ONE_AT_A_TIME, kept_quiet():
        sound = LIBRARY.module()
        try:
            return within(OPEN_WITHIN_S, lambda: stream._open(sound), undo=PortAudioStream.close)
        except Exception as error:
            LIBRARY.is_stale = True
            raise _problem(plan.name, error) from error


def _problem(name: str, error: Exception) -> SourceError:
    if isinstance(error, Abandoned):
        return hangs(name)
    code = error.args[1] if len(error.args) > 1 else None
    return busy(name) if code == _DEVICE_UNAVAILABLE else gone(name)
