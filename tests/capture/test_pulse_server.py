"""What the sound server says, read from a stand-in, and from a real one that dies and stands still."""

from __future__ import annotations

import math
import os
from types import SimpleNamespace

import pytest

from meter.capture import pulse_server
from meter.capture.pulse_server import PulseServer, ServerGone
from tests.support.fake_pulse import FakePulse
from tests.support.sound_server import PulseAudio

PIPEWIRE = "PulseAudio (on PipeWire 0.3.65)"


def seen(pulse: FakePulse):
    return pulse_server._view(pulse)


@pytest.mark.parametrize(
    ("volumes", "volume_db"),
    [
        ([1.0, 1.0], 0.0),
        # PulseAudio 16: the amplitude is the cube of the volume.
        ([0.5, 0.5], 60.0 * math.log10(0.5)),
        ([1.0, 0.5], 60.0 * math.log10(0.5)),
        ([1.1, 1.0], 60.0 * math.log10(1.1)),
        ([0.0, 0.0], -math.inf),
    ],
)
def test_the_volume_is_told_in_decibels_of_the_channel_furthest_from_none(volumes, volume_db):
    pulse = FakePulse()
    pulse.sinks = [pulse.sink("out", volumes)]
    assert seen(pulse).sink("out").volume_db == pytest.approx(volume_db)


@pytest.mark.parametrize(
    ("server_name", "properties", "is_behind"),
    [
        # Measured: PulseAudio 16.1 and PipeWire 0.3.65, see test_machine.py.
        ("pulseaudio", {}, True),
        ("pulseaudio", {"monitor_channel__volumes": "false"}, True),
        (PIPEWIRE, {"monitor_channel__volumes": "true"}, True),
        (PIPEWIRE, {"monitor_channel__volumes": "false"}, False),
        (PIPEWIRE, {}, False),
    ],
)
def test_a_volume_that_the_monitor_lies_before_is_none(server_name, properties, is_behind):
    pulse = FakePulse(server_name=server_name)
    pulse.sinks = [pulse.sink("out", [0.5, 0.5], mute=1, **properties)]
    sink = seen(pulse).sink("out")
    assert (sink.volume_db != 0.0, sink.is_muted) == (is_behind, is_behind)


def output(name: str, process: int, source: int) -> SimpleNamespace:
    return SimpleNamespace(name=name, source=source, proplist={"application.process.id": str(process)})


def test_only_streams_of_this_process_that_hear_something_are_ours():
    pulse = FakePulse()
    pulse.outputs = [
        output("ours", os.getpid(), 4),
        output("theirs", os.getpid() + 1, 4),
        output("of nothing", os.getpid(), 0xFFFFFFFF),
    ]
    assert seen(pulse).streams == {"ours": 4}


def test_where_no_server_runs_that_is_said_with_the_place_and_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setenv("PULSE_SERVER", f"unix:{tmp_path}/none")
    with pytest.raises(ServerGone) as error:
        PulseServer().view()
    assert str(error.value) == (
        f"no sound server answers at unix:{tmp_path}/none (from PULSE_SERVER); "
        "start PulseAudio or PipeWire (with pipewire-pulse), then try again"
    )
    assert not error.value.is_frozen


def test_without_its_library_that_is_said_and_what_to_install(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pulsectl", None)
    with pytest.raises(ServerGone) as error:
        PulseServer().view()
    assert str(error.value) == (
        "no sound server answers: the library libpulse is missing; "
        "install it (Debian: apt-get install libpulse0)"
    )


@pytest.mark.packages("pulseaudio", "pulseaudio-utils")
def test_a_server_that_stands_still_is_told_within_the_limit_and_answers_again(monkeypatch, capfd):
    with PulseAudio() as server:
        for name in ("PULSE_SERVER", "PULSE_COOKIE"):
            monkeypatch.setenv(name, server.env[name])
        asked = PulseServer()
        assert asked.view().default_sink == "out"
        server.freeze()
        for _ in range(2):
            with pytest.raises(ServerGone) as error:
                asked.view(within_s=0.2)
            assert str(error.value) == (
                "the sound server does not answer; restart it, or wait: Leadline goes on when it does"
            )
            assert error.value.is_frozen
        server.thaw()
        assert asked.view(within_s=10.0).default_sink == "out"
        server.kill()
        with pytest.raises(ServerGone, match="no sound server answers"):
            asked.view()
        server.start()
        assert asked.view().default_sink == "out"
        asked.close()
    assert capfd.readouterr().err == ""


@pytest.mark.packages("pulseaudio", "pulseaudio-utils")
def test_a_server_that_was_started_again_between_two_questions_is_not_missed(monkeypatch):
    with PulseAudio() as server:
        for name in ("PULSE_SERVER", "PULSE_COOKIE"):
            monkeypatch.setenv(name, server.env[name])
        asked = PulseServer()
        asked.view()
        server.kill()
        server.start()
        assert asked.view().default_sink == "out"
        asked.close()
