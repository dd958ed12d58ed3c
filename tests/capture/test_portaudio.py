"""PortAudio's devices and streams, on a stand-in, and without PortAudio."""

from __future__ import annotations

import os
import sys
import threading
import time

import numpy as np
import pytest

from meter.capture import portaudio
from meter.capture.portaudio import Plan, SteadyClock
from meter.errors import SourceError
from tests.support.fake_sounddevice import FakeSound, PortAudioError, device

PLAN = Plan(device=0, name="the interface", rate_hz=48_000, channels=2, take=(0, 1))


@pytest.fixture(autouse=True)
def library(monkeypatch):
    """PortAudio as at the start of the program."""
    fresh = portaudio._Library()
    monkeypatch.setattr(portaudio, "LIBRARY", fresh)
    return fresh


@pytest.fixture
def sound(monkeypatch) -> FakeSound:
    made = FakeSound(device("the interface"))
    monkeypatch.setitem(sys.modules, "sounddevice", made)
    return made


def heard_by(stream) -> list[tuple[np.ndarray, float]]:
    blocks: list[tuple[np.ndarray, float]] = []
    stream.start(lambda block, captured_s: blocks.append((block.copy(), captured_s)))
    return blocks


def test_a_stream_is_opened_as_float32_with_a_latency_that_loses_nothing(sound):
    portaudio.open_stream(PLAN)
    arguments = sound.streams[0].arguments
    assert (arguments["dtype"], arguments["blocksize"], arguments["latency"]) == (
        "float32",
        0,
        portaudio.LATENCY_S,
    )
    assert (arguments["samplerate"], arguments["channels"]) == (48_000, 2)


def test_blocks_are_handed_on_as_they_are(sound):
    stream = portaudio.open_stream(PLAN)
    blocks = heard_by(stream)
    block = np.arange(8, dtype=np.float32).reshape(4, 2)
    sound.streams[0].deliver(block, 7.0)
    assert sound.streams[0].is_started
    assert np.array_equal(blocks[0][0], block)
    assert blocks[0][1] == 7.0


def test_only_the_chosen_channels_are_handed_on_in_their_order(sound):
    stream = portaudio.open_stream(Plan(device=0, name="x", rate_hz=48_000, channels=4, take=(3, 1)))
    blocks = heard_by(stream)
    for frames in (4, 2, 6):
        sound.streams[0].deliver(np.arange(frames * 4, dtype=np.float32).reshape(frames, 4), 0.0)
    assert [len(block) for block, _ in blocks] == [4, 2, 6]
    assert blocks[2][0][1].tolist() == [7.0, 5.0]


def test_after_close_no_block_is_handed_on(sound):
    stream = portaudio.open_stream(PLAN)
    blocks = heard_by(stream)
    assert stream.is_alive()
    stream.close()
    sound.streams[0].deliver(np.zeros((4, 2), np.float32), 0.0)
    assert not blocks
    assert sound.streams[0].is_closed
    assert not stream.is_alive()


def test_a_stream_that_ended_by_itself_is_not_alive(sound):
    stream = portaudio.open_stream(PLAN)
    heard_by(stream)
    sound.streams[0].end()
    assert not stream.is_alive()


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (
            PortAudioError("Error opening InputStream: Device unavailable", -9985),
            "the interface is in use by another program, which keeps it to itself; "
            "close that program, or choose another source (leadline sources lists them)",
        ),
        (
            PortAudioError("Error opening InputStream: Invalid device", -9996),
            "the interface went away while it was being opened; is it still plugged in and switched on? "
            "leadline sources lists what is there",
        ),
        (
            PortAudioError("Unanticipated host error", -9999, (0, -5, "Input/output error")),
            "the interface went away while it was being opened; is it still plugged in and switched on? "
            "leadline sources lists what is there",
        ),
    ],
)
def test_why_a_device_does_not_open_is_one_sentence(sound, error, sentence):
    sound.refuses = error
    with pytest.raises(SourceError) as raised:
        portaudio.open_stream(PLAN)
    assert str(raised.value) == sentence


def test_a_device_that_hangs_is_left_behind_and_closed_when_it_comes(sound, library, monkeypatch):
    monkeypatch.setattr(portaudio, "OPEN_WITHIN_S", 0.05)
    may_go, opens = threading.Event(), sound.InputStream

    def hang(**arguments):
        may_go.wait()
        return opens(**arguments)

    monkeypatch.setattr(sound, "InputStream", hang)
    with pytest.raises(SourceError, match="the interface does not open, nor does it say why"):
        portaudio.open_stream(PLAN)
    assert library.open_streams, "while it may still open, PortAudio must not be started anew"
    may_go.set()
    until_s = time.monotonic() + 10.0
    while library.open_streams and time.monotonic() < until_s:
        time.sleep(0.01)
    assert sound.streams[0].is_closed
    assert not library.open_streams


def test_a_close_that_hangs_does_not_hang_the_program(sound, library, monkeypatch):
    monkeypatch.setattr(portaudio, "CLOSE_WITHIN_S", 0.05)
    stream = portaudio.open_stream(PLAN)
    may_go = threading.Event()
    monkeypatch.setattr(sound.streams[0], "close", lambda ignore_errors: may_go.wait())
    stream.close()
    portaudio.devices(anew=True)
    assert sound.starts == 0, "PortAudio was started anew under a stream that is not closed"
    may_go.set()


def test_devices_are_looked_at_again_only_when_no_stream_is_open(sound):
    sound.on_start_anew = lambda: sound.devices.append(device("a newer one"))
    stream = portaudio.open_stream(PLAN)
    assert [one.name for one in portaudio.devices(anew=True)] == ["the interface"]
    stream.close()
    assert [one.name for one in portaudio.devices(anew=True)] == ["the interface", "a newer one"]


def test_after_a_failure_the_devices_are_looked_at_again(sound):
    sound.refuses = PortAudioError("Invalid device", -9996)
    with pytest.raises(SourceError):
        portaudio.open_stream(PLAN)
    portaudio.devices()
    portaudio.devices()
    assert sound.starts == 1


def test_jack_is_kept_out_of_this_process(sound, monkeypatch):
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "the user's own")
    servers = []
    sound.on_start_anew = lambda: servers.append(os.environ["JACK_DEFAULT_SERVER"])
    portaudio.devices(anew=True)
    assert servers == ["none-for-leadline"]
    assert os.environ["JACK_DEFAULT_SERVER"] == "the user's own"


def test_without_portaudio_that_is_said_and_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(SourceError) as error:
        portaudio.devices()
    assert str(error.value) == f"PortAudio is missing, which hears the sound devices; {portaudio.INSTALL_IT}"


# --- PortAudio's clock -----------------------------------------------------------------------


class Clocks:
    """The time of day and a steady clock, moved by hand."""

    def __init__(self, monkeypatch) -> None:
        self.of_day_s, self.steady_s = 1.8e9, 5000.0
        monkeypatch.setattr(portaudio.time, "time", lambda: self.of_day_s)
        monkeypatch.setattr(portaudio.time, "monotonic", lambda: self.steady_s)

    def pass_time(self, seconds: float) -> None:
        self.of_day_s += seconds
        self.steady_s += seconds


def test_setting_the_time_of_day_moves_no_block(monkeypatch):
    clocks, steady = Clocks(monkeypatch), SteadyClock()
    times = []
    for block in range(8):
        if block == 4:
            clocks.of_day_s += 3600.0
        times.append(steady.steady_s(clocks.of_day_s - 0.1))
        clocks.pass_time(0.025)
    assert np.diff(times) == pytest.approx(0.025, abs=1e-6)


def test_a_clock_that_is_steady_already_is_left_alone(monkeypatch):
    clocks, steady = Clocks(monkeypatch), SteadyClock()
    assert steady.steady_s(12.0) == 12.0
    clocks.of_day_s += 3600.0
    assert steady.steady_s(12.025) == 12.025
