"""An input that PortAudio offers: ALSA without a sound server, macOS, Windows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Final

from meter.capture import portaudio
from meter.capture.backend import OnBlock
from meter.capture.layout import channels_to_take
from meter.capture.opening import missing
from meter.capture.portaudio import Device, Plan, PortAudioStream
from meter.capture.records import SourceInfo
from meter.errors import SourceError

STUDIO_RATE_HZ: Final = 48_000
"""ALSA runs a device at whatever rate is asked for, so PortAudio's 44100 means nothing there."""

HOSTS: Final = ("Windows WASAPI", "Core Audio", "ALSA")
"""The ways to the devices, the best first: on Windows each device is listed once for every way."""

Find = Callable[[Sequence[Device]], Device | None]


class DeviceBackend:
    """An input; a `meter.capture.backend.Backend`.

    Parameters
    ----------
    spec : str
        How the user writes it.
    find : callable
        Finds the device among those that are there now; None when it is not.
    name : str
        For people, when it is not there.
    pair : tuple of two int, optional
        The channels to be heard, counted from 1.
    """

    def __init__(self, spec: str, find: Find, name: str, pair: tuple[int, int] | None = None) -> None:
        self.spec, self._find, self._name, self._pair = spec, find, name, pair
        self._stream: PortAudioStream | None = None

    def open(self) -> SourceInfo:
        """See `Backend`."""
        self.close()
        device = self._device()
        take = channels_to_take(device.name, device.inputs, self._pair)
        opened = max(take) + 1
        rate_hz = native_rate_hz(device, opened)
        self._stream = portaudio.open_stream(
            Plan(device=device.index, name=device.name, rate_hz=rate_hz, channels=opened, take=take)
        )
        return SourceInfo(
            spec=self.spec,
            name=device.name,
            rate_hz=rate_hz,
            channels=len(take),
            is_default=device.is_default_input,
        )

    def start(self, on_block: OnBlock) -> None:
        """See `Backend`."""
        if self._stream is None:
            raise AssertionError("open comes before start")
        self._stream.start(on_block)

    def close(self) -> None:
        """See `Backend`."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close()
            # What ended may have gone: before the next start PortAudio has to look again.
            portaudio.LIBRARY.is_stale = True

    def is_alive(self) -> bool:
        """See `Backend`."""
        stream = self._stream
        return stream is not None and stream.is_alive()

    def look(self) -> None:
        """See `Backend`: there is no server to be asked."""
        return

    def _device(self) -> Device:
        with suppress(SourceError):  # PortAudio may know only what was there when it started
            if device := self._find(portaudio.devices()):
                return device
        device = self._find(portaudio.devices(anew=True))
        if device is None:
            raise missing(self._name)
        return device


def native_rate_hz(device: Device, channels: int) -> int:
    """The rate at which nothing is converted."""
    if device.host == "ALSA" and portaudio.takes(device, channels, STUDIO_RATE_HZ):
        return STUDIO_RATE_HZ
    return device.rate_hz


def inputs(devices: Sequence[Device]) -> list[Device]:
    """Those that can be heard, each once."""
    heard = [device for device in devices if device.inputs]
    for host in HOSTS:
        of_host = [device for device in heard if device.host == host]
        if of_host:
            return of_host
    return heard


def worth_listing(device: Device) -> bool:
    """Whether it is a thing with a plug: ALSA also lists ways through its own configuration."""
    return device.host != "ALSA" or "(hw:" in device.name


def found_by_name(name: str) -> Find:
    """Finds the input of exactly this name."""

    def find(devices: Sequence[Device]) -> Device | None:
        return next((device for device in inputs(devices) if device.name == name), None)

    return find
