"""What there is to be listened to, on each system, whatever is missing."""

from __future__ import annotations

import sys

import pytest

from meter.capture import jack, offers, portaudio
from meter.capture.device_backend import DeviceBackend
from meter.capture.jack import JackBackend, JackInput
from meter.capture.listing import list_sources
from meter.capture.pulse_backend import PulseBackend
from meter.capture.pulse_server import ServerGone
from meter.capture.windows_loopback import WindowsLoopback
from meter.errors import SourceError
from tests.support.fake_pulse import FakeServer, sink, source, view
from tests.support.fake_sounddevice import FakeSound, device

NINE = tuple(f"aux{place}" for place in range(9))
SERVER = view(
    source("out.monitor", sink="out", title="Monitor of Speakers"),
    source("mic", index=2, positions=("mono",), rate_hz=44_100, title="Microphone"),
    source("nine", index=3, positions=NINE, title="Interface"),
    sinks=(sink("out"),),
    default_sink="out",
    default_source="mic",
)
NO_SERVER = ServerGone("no sound server answers; start one, then try again")
FROZEN = ServerGone("the sound server does not answer; restart it", is_frozen=True)


class Machine:
    """A machine to be looked at."""

    def __init__(self, monkeypatch) -> None:
        self._monkeypatch = monkeypatch
        self.server = SERVER
        self.sound: FakeSound | None = FakeSound()
        self.jack: tuple[JackInput, ...] = ()
        monkeypatch.setattr(offers, "PulseServer", lambda: FakeServer(self.server))
        monkeypatch.setattr(jack, "inputs", lambda: self.jack)
        monkeypatch.setattr(portaudio, "LIBRARY", portaudio._Library())

    def is_a(self, platform: str) -> None:
        self._monkeypatch.setattr(sys, "platform", platform)

    def look(self):
        self._monkeypatch.setitem(sys.modules, "sounddevice", self.sound)
        return offers.look_around()

    def find(self, typed: str):
        self._monkeypatch.setitem(sys.modules, "sounddevice", self.sound)
        return offers.find_device(typed)


@pytest.fixture
def machine(monkeypatch) -> Machine:
    made = Machine(monkeypatch)
    made.is_a("linux")
    return made


def specs(found) -> list[str]:
    return [offer.info.spec for offer in found.devices]


def test_the_sound_server_tells_names_rates_channels_and_defaults(machine):
    found = machine.look()
    assert (found.system.name, found.system.rate_hz, found.system.channels, found.system.is_default) == (
        "what the system plays on the out",
        48_000,
        2,
        True,
    )
    assert specs(found) == ["device:Monitor of Speakers", "device:Microphone", "device:Interface"]
    microphone = found.devices[1].info
    assert (microphone.rate_hz, microphone.channels, microphone.is_default) == (44_100, 1, True)
    assert found.devices[2].info.what_to_do == "choose two of its 9 channels, for example --channels 1,2"
    assert found.devices[2].info.why_not is None
    assert not found.problems


def test_a_server_without_an_output_is_said(machine):
    machine.server = view(SERVER.sources[1])
    found = machine.look()
    assert found.system.why_not == "the sound server has no output"
    assert found.system.what_to_do == "connect loudspeakers, headphones or an interface"
    assert specs(found) == ["device:Microphone"]


def test_without_a_server_the_devices_of_alsa_are_there(machine):
    machine.server = NO_SERVER
    machine.sound = FakeSound(device("Card (hw:0,0)"), device("default", inputs=32))
    found = machine.look()
    assert (found.system.why_not, found.system.what_to_do) == (
        "no sound server answers",
        "start one, then try again",
    )
    assert specs(found) == ["device:Card (hw:0,0)", "device:default"]


def test_beside_a_server_only_alsas_hardware_is_listed(machine):
    machine.sound = FakeSound(
        device("Card (hw:0,0)"), device("pulse", inputs=32), device("default", inputs=32)
    )
    assert specs(machine.look())[3:] == ["device:Card (hw:0,0)"]


def test_without_portaudio_the_server_is_heard_all_the_same_and_it_is_said(machine):
    machine.sound = None
    found = machine.look()
    assert found.system.why_not is None
    assert len(found.devices) == 3
    (problem,) = found.problems
    assert problem.why_not == "PortAudio is missing, which hears the sound devices"
    assert problem.what_to_do == portaudio.INSTALL_IT


def test_with_nothing_at_all_everything_is_said(machine):
    machine.server, machine.sound = NO_SERVER, None
    found = machine.look()
    assert found.system.why_not == "no sound server answers"
    assert [problem.why_not for problem in found.problems] == [
        "PortAudio is missing, which hears the sound devices"
    ]
    assert not found.devices


def test_where_no_input_is_that_is_said(machine):
    machine.server = NO_SERVER
    assert [problem.why_not for problem in machine.look().problems] == ["no input was found"]


def test_past_a_server_that_stands_still_nothing_is_asked(machine, monkeypatch):
    machine.server = FROZEN
    monkeypatch.setattr(portaudio, "devices", lambda: pytest.fail("PortAudio would hang"))
    found = machine.look()
    assert [problem.why_not for problem in found.problems] == ["the sound server does not answer"]


def test_what_plays_into_jack_is_an_input(machine):
    machine.jack = (JackInput(name="player", channels=2, rate_hz=96_000),)
    info = machine.look().devices[-1].info
    assert (info.spec, info.name, info.rate_hz) == ("device:player", "player (JACK)", 96_000)


def test_windows_has_loopback_and_its_inputs(machine):
    machine.is_a("win32")
    machine.sound = FakeSound(
        device("Mic", host=1),
        device("Speakers", inputs=0, outputs=2, host=1, rate_hz=48_000.0),
        hosts=("MME", "Windows WASAPI"),
    )
    machine.sound.default_output = 1
    found = machine.look()
    assert (found.system.name, found.system.rate_hz) == ("what the system plays on Speakers", 48_000)
    assert specs(found) == ["device:Mic"]
    assert isinstance(offers.system_backend(None), WindowsLoopback)


def test_a_mac_without_a_loopback_device_is_told_what_to_install(machine):
    machine.is_a("darwin")
    machine.sound = FakeSound(device("Microphone", inputs=1), hosts=("Core Audio",))
    found = machine.look()
    assert found.system.why_not == "macOS lets no program hear what the system plays"
    assert found.system.what_to_do.startswith("install a loopback driver")
    assert specs(found) == ["device:Microphone"]


def test_a_mac_hears_its_loopback_device(machine):
    machine.is_a("darwin")
    machine.sound = FakeSound(device("Loop", outputs=2, rate_hz=44_100.0), hosts=("Core Audio",))
    assert machine.look().system.name == "what the system plays into Loop"
    backend = offers.system_backend(None)
    assert isinstance(backend, DeviceBackend)
    info = backend.open()
    assert (info.spec, info.name, info.rate_hz) == ("system", "Loop", 44_100)


def test_a_mac_whose_loopback_device_is_not_there_says_what_to_install(machine, monkeypatch):
    machine.is_a("darwin")
    monkeypatch.setitem(sys.modules, "sounddevice", FakeSound(hosts=("Core Audio",)))
    with pytest.raises(SourceError, match="macOS lets no program hear what the system plays; install a loop"):
        offers.system_backend(None).open()


def test_elsewhere_it_is_not_known_how_to_hear_the_system(machine):
    machine.is_a("freebsd14")
    assert machine.look().system.why_not == "how to hear what the system plays is not known on freebsd14"
    with pytest.raises(
        SourceError, match="not known on freebsd14; choose an input with --source device:NAME"
    ):
        offers.system_backend(None)


@pytest.mark.parametrize("platform", ["win32", "darwin"])
def test_without_portaudio_other_systems_say_so(machine, platform):
    machine.is_a(platform)
    machine.sound = None
    found = machine.look()
    assert (
        found.system.why_not
        == found.problems[0].why_not
        == ("PortAudio is missing, which hears the sound devices")
    )


# --- finding one ------------------------------------------------------------------------------


def test_a_device_is_found_whichever_sound_system_has_it(machine):
    machine.sound = FakeSound(device("Card (hw:0,0)"))
    machine.jack = (JackInput(name="player", channels=2, rate_hz=48_000),)
    for typed, kind in (
        ("microphone", PulseBackend),
        ("Card", DeviceBackend),
        ("player (JACK)", JackBackend),
    ):
        offer = machine.find(typed)
        backend = offer.backend(offer.info.spec, None)
        assert isinstance(backend, kind)
        assert backend.spec == offer.info.spec


def test_the_nearest_name_of_all_is_suggested(machine):
    machine.jack = (JackInput(name="player", channels=2, rate_hz=48_000),)
    with pytest.raises(SourceError, match='there is no device "plaier"; did you mean "player"'):
        machine.find("plaier")


def test_where_nothing_can_be_asked_the_reason_is_said(machine):
    machine.server, machine.sound = NO_SERVER, None
    with pytest.raises(SourceError) as error:
        machine.find("mic")
    assert str(error.value) == (
        'there is no device "mic", nor any other: no sound server answers; start one, then try again'
    )


def test_the_list_ends_with_what_is_always_there(machine, monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", machine.sound)
    assert [source.spec for source in list_sources()][-2:] == ["file:PATH", "demo"]
