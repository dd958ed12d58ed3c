"""Inputs that PortAudio offers, on a stand-in."""

from __future__ import annotations

import sys

import pytest

from meter.capture import device_backend, portaudio
from meter.capture.device_backend import DeviceBackend, found_by_name
from meter.errors import SourceError
from tests.support.fake_sounddevice import FakeSound, device


@pytest.fixture(autouse=True)
def sound(monkeypatch) -> FakeSound:
    made = FakeSound(device("built in"), device("nine (hw:1,0)", inputs=9))
    monkeypatch.setitem(sys.modules, "sounddevice", made)
    monkeypatch.setattr(portaudio, "LIBRARY", portaudio._Library())
    return made


def backend(name: str, pair=None) -> DeviceBackend:
    return DeviceBackend(f"device:{name}", found_by_name(name), name, pair)


def test_alsa_is_heard_at_48_khz_where_it_can(sound):
    assert backend("built in").open().rate_hz == 48_000
    sound.rates = {44_100}
    assert backend("built in").open().rate_hz == 44_100


def test_elsewhere_the_rate_of_the_device_is_taken(sound):
    sound.hosts = ("Core Audio",)
    sound.devices[0]["default_samplerate"] = 96_000.0
    info = backend("built in").open()
    assert (info.rate_hz, info.channels, info.is_default) == (96_000, 2, True)


def test_of_nine_channels_a_pair_is_opened(sound):
    with pytest.raises(SourceError, match="9 channels, and which of them are left and right is not known"):
        backend("nine (hw:1,0)").open()
    assert backend("nine (hw:1,0)", (3, 4)).open().channels == 2
    assert sound.streams[0].arguments["channels"] == 4


def test_a_device_that_was_plugged_in_later_is_found(sound):
    sound.on_start_anew = lambda: sound.devices.append(device("newer"))
    assert backend("newer").open().name == "newer"


def test_a_device_that_is_not_there_is_named():
    with pytest.raises(SourceError) as error:
        backend("gone").open()
    assert str(error.value) == (
        "gone is not there; is it plugged in and switched on? leadline sources lists what is there"
    )


def test_a_device_that_came_back_is_looked_for_anew(sound):
    heard = backend("built in")
    heard.open()
    heard.start(lambda block, captured_s: None)
    assert heard.is_alive()
    sound.streams[0].end()
    assert not heard.is_alive()
    heard.close()
    sound.on_start_anew = lambda: sound.devices.insert(0, device("another"))
    heard.open()
    assert sound.streams[1].arguments["device"] == 1


def test_closing_may_come_twice_and_without_open():
    heard = backend("built in")
    heard.close()
    heard.open()
    heard.close()
    heard.close()
    assert not heard.is_alive()


def test_on_windows_each_device_is_listed_once_by_the_best_way(sound):
    sound.hosts = ("MME", "Windows DirectSound", "Windows WASAPI")
    sound.devices = [device("Mic (USB Interf", host=0), device("Mic", host=1), device("Mic (USB)", host=2)]
    assert [one.name for one in device_backend.inputs(portaudio.devices())] == ["Mic (USB)"]


def test_outputs_are_no_inputs(sound):
    sound.devices = [device("speakers", inputs=0, outputs=2)]
    assert device_backend.inputs(portaudio.devices()) == []
