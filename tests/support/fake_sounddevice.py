"""A stand-in for the module sounddevice: devices by hand, streams that do what a test wants."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np


class PortAudioError(Exception):
    """As the real one: a text, then PortAudio's code."""


class FakeSound:
    """Put it into ``sys.modules["sounddevice"]``."""

    PortAudioError = PortAudioError

    def __init__(self, *devices: dict[str, Any], hosts: tuple[str, ...] = ("ALSA",)) -> None:
        self.devices = list(devices)
        self.hosts = hosts
        self.default_input, self.default_output = 0, 0
        self.streams: list[FakeStream] = []
        self.refuses: Exception | None = None
        self.rates: set[int] = {44_100, 48_000}
        self.starts = 0  # how often it was started anew
        self.on_start_anew = lambda: None

    def query_hostapis(self) -> tuple[dict[str, Any], ...]:
        return tuple(
            {
                "name": name,
                "default_input_device": self.default_input,
                "default_output_device": self.default_output,
            }
            for name in self.hosts
        )

    def query_devices(self) -> list[dict[str, Any]]:
        return self.devices

    def check_input_settings(self, *, device: int, channels: int, dtype: str, samplerate: float) -> None:
        if samplerate not in self.rates:
            raise PortAudioError("Invalid sample rate", -9997)

    def _terminate(self) -> None:
        self.starts += 1

    def _initialize(self) -> None:
        self.on_start_anew()

    def InputStream(self, **arguments: Any) -> FakeStream:
        if self.refuses is not None:
            raise self.refuses
        self.streams.append(FakeStream(arguments))
        return self.streams[-1]


class FakeStream:
    """One stream; `deliver` calls the callback as PortAudio would."""

    def __init__(self, arguments: dict[str, Any]) -> None:
        self.arguments = arguments
        self.is_started = self.is_closed = False

    def start(self) -> None:
        self.is_started = True

    def close(self, ignore_errors: bool = True) -> None:
        self.is_closed = True

    def deliver(self, block: np.ndarray, at_s: float) -> None:
        when = SimpleNamespace(inputBufferAdcTime=at_s, currentTime=at_s)
        self.arguments["callback"](block, len(block), when, None)

    def end(self) -> None:
        self.arguments["finished_callback"]()


def device(
    name: str, *, inputs: int = 2, outputs: int = 0, host: int = 0, rate_hz: float = 44_100.0
) -> dict[str, Any]:
    """A device as sounddevice lists it."""
    return {
        "name": name,
        "hostapi": host,
        "max_input_channels": inputs,
        "max_output_channels": outputs,
        "default_samplerate": rate_hz,
    }
