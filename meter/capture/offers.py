"""Every input that this machine offers, whichever sound system has it, and how each is opened.

What a sound system cannot tell, because it is missing or stands still, is a problem beside the
list, never an end of it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Final

from meter.capture import device_backend, jack, mac_loopback, naming, portaudio, windows_loopback
from meter.capture.backend import Backend
from meter.capture.device_backend import DeviceBackend
from meter.capture.jack import JackBackend
from meter.capture.layout import channels_to_take
from meter.capture.portaudio import Device
from meter.capture.pulse_backend import CONNECT_ONE, DEVICE, NO_OUTPUT, SYSTEM, PulseBackend
from meter.capture.pulse_server import PulseServer, ServerGone, ServerView
from meter.capture.records import SourceInfo
from meter.errors import SourceError

Pair = tuple[int, int] | None

THE_SYSTEM: Final = "what the system plays"
ANY_DEVICE: Final = "device:NAME"
NO_INPUT: Final = SourceInfo(
    spec=ANY_DEVICE, name="inputs", why_not="no input was found", what_to_do="plug one in and switch it on"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """An input.

    Attributes
    ----------
    info : SourceInfo
    key : str
        Unlike that of any other input.
    names : tuple of str
        What it is called; the first is for people.
    backend : callable
        Takes how it is written and the pair of channels.
    """

    info: SourceInfo
    key: str
    names: tuple[str, ...]
    backend: Callable[[str, Pair], Backend]


@dataclass(slots=True)
class Offers:
    """All inputs, what the system plays, and why each sound system that could not be asked was not.

    `system` and `problems` tell why in their `why_not`.
    """

    system: SourceInfo
    devices: list[Offer] = field(default_factory=list)
    problems: list[SourceInfo] = field(default_factory=list)


def is_linux() -> bool:
    """Whether there may be a sound server to be asked."""
    return sys.platform.startswith("linux")


def system_backend(pair: Pair) -> Backend:
    """What hears the system's own output.

    Raises
    ------
    SourceError
        It is not known how on this system.
    """
    if is_linux():
        return PulseBackend(SYSTEM, pair=pair)
    if sys.platform == "win32":
        return windows_loopback.WindowsLoopback(pair)
    if sys.platform == "darwin":
        return DeviceBackend(SYSTEM, mac_loopback.find, "the loopback device", pair)
    raise _no_way()


def look_around() -> Offers:
    """Everything; those of the sound server first, where there is one."""
    if is_linux():
        return _on_linux()
    try:
        devices = portaudio.devices()
    except SourceError as error:
        unheard = _cannot(SYSTEM, THE_SYSTEM, error)
        return Offers(unheard, problems=[_cannot(ANY_DEVICE, "inputs", error)])
    found = Offers(_system_elsewhere(devices), _device_offers(devices, has_server=False))
    if not found.devices:
        found.problems.append(NO_INPUT)
    return found


def _on_linux() -> Offers:
    has_server = True
    try:
        view = _view()
    except ServerGone as error:
        has_server = False
        found = Offers(_cannot(SYSTEM, THE_SYSTEM, error))
        if error.is_frozen:
            # PortAudio asks the same server when it starts, and would hang.
            found.problems.append(_cannot(ANY_DEVICE, "inputs", error))
            return found
    else:
        found = Offers(_server_output(view), _server_offers(view))
    try:
        found.devices += _device_offers(portaudio.devices(), has_server=has_server)
    except SourceError as error:
        found.problems.append(_cannot(ANY_DEVICE, "inputs past the sound server", error))
    found.devices += _jack_offers()
    if not found.devices and not found.problems:
        found.problems.append(NO_INPUT)
    return found


def _system_elsewhere(devices: tuple[Device, ...]) -> SourceInfo:
    try:
        if sys.platform == "win32":
            output = windows_loopback.default_output(devices)
            return _system(f"what the system plays on {output.name}", output.rate_hz, output.outputs)
        if sys.platform == "darwin":
            loopback = mac_loopback.find(devices)
            return _system(mac_loopback.explanation(loopback), loopback.rate_hz, loopback.inputs)
        raise _no_way()
    except SourceError as error:
        return _cannot(SYSTEM, THE_SYSTEM, error)


def find_device(typed: str) -> Offer:
    """The input that is meant; `SourceError` with the nearest name, or with why nothing is there."""
    offers = look_around()
    if not offers.devices:
        unheard = offers.problems[0] if offers.system.why_not is None else offers.system
        raise SourceError(
            f'there is no device "{typed}", nor any other: {unheard.why_not}; {unheard.what_to_do}'
        )
    by_key = {offer.key: offer for offer in offers.devices}
    return by_key[naming.find(typed, {key: offer.names for key, offer in by_key.items()})]


def _view() -> ServerView:
    server = PulseServer()
    try:
        return server.view()
    finally:
        server.close()


def _server_output(view: ServerView) -> SourceInfo:
    monitor, sink = view.monitor_of(view.default_sink), view.sink(view.default_sink)
    if monitor is None or sink is None:
        return _cannot(SYSTEM, THE_SYSTEM, SourceError(f"{NO_OUTPUT}; {CONNECT_ONE}"))
    return _system(f"what the system plays on {sink.title}", monitor.rate_hz, monitor.channels)


def _server_offers(view: ServerView) -> list[Offer]:
    written = naming.spec_names({source.name: source.title for source in view.sources})
    return [
        Offer(
            info=_listed(
                SourceInfo(
                    spec=DEVICE + written[source.name],
                    name=source.title,
                    rate_hz=source.rate_hz,
                    channels=source.channels,
                    is_default=source.name == view.default_source,
                ),
                source.positions,
            ),
            key=f"server {source.name}",
            names=(source.title, source.name),
            backend=partial(_server_backend, source.name),
        )
        for source in view.sources
    ]


def _server_backend(name: str, spec: str, pair: Pair) -> Backend:
    return PulseBackend(spec, name=name, pair=pair)


def _device_offers(devices: tuple[Device, ...], *, has_server: bool) -> list[Offer]:
    # ALSA's own configuration mostly leads back to the server, which was asked already.
    listed = [
        device
        for device in device_backend.inputs(devices)
        if device_backend.worth_listing(device) or not has_server
    ]
    return [
        Offer(
            info=_listed(
                SourceInfo(
                    spec=DEVICE + device.name,
                    name=device.name,
                    rate_hz=device_backend.native_rate_hz(device, 1),
                    channels=device.inputs,
                    is_default=device.is_default_input and not has_server,
                )
            ),
            key=f"device {device.index}",
            names=(device.name,),
            backend=partial(_device_backend, device.name),
        )
        for device in listed
    ]


def _device_backend(name: str, spec: str, pair: Pair) -> Backend:
    return DeviceBackend(spec, device_backend.found_by_name(name), name, pair)


def _jack_offers() -> list[Offer]:
    return [
        Offer(
            info=_listed(
                SourceInfo(
                    spec=f"{DEVICE}{one.name}",
                    name=f"{one.name} (JACK)",
                    rate_hz=one.rate_hz,
                    channels=one.channels,
                )
            ),
            key=f"jack {one.name}",
            names=(one.name, f"{one.name} (JACK)"),
            backend=partial(_jack_backend, one.name, one.channels),
        )
        for one in jack.inputs()
    ]


def _jack_backend(name: str, channels: int, spec: str, pair: Pair) -> Backend:
    return JackBackend(spec, name, channels, pair)


def _listed(info: SourceInfo, positions: tuple[str, ...] | None = None) -> SourceInfo:
    """The same, with the advice to choose a pair where one must be chosen."""
    try:
        channels_to_take(info.name, info.channels or 1, None, positions)
    except SourceError:
        advice = f"choose two of its {info.channels} channels, for example --channels 1,2"
        return SourceInfo(
            spec=info.spec,
            name=info.name,
            rate_hz=info.rate_hz,
            channels=info.channels,
            is_default=info.is_default,
            what_to_do=advice,
        )
    return info


def _system(name: str, rate_hz: int, channels: int) -> SourceInfo:
    return SourceInfo(spec=SYSTEM, name=name, rate_hz=rate_hz, channels=channels, is_default=True)


def _cannot(spec: str, name: str, error: SourceError) -> SourceInfo:
    why_not, _, what_to_do = str(error).partition("; ")
    return SourceInfo(spec=spec, name=name, why_not=why_not, what_to_do=what_to_do or None)


def _no_way() -> SourceError:
    return SourceError(
        f"how to hear what the system plays is not known on {sys.platform}; "
        "choose an input with --source device:NAME (leadline sources lists them)"
    )
