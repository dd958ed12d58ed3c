"""A source of the sound server: what it means, what moved, and what to say when it is not there."""

from __future__ import annotations

import pytest

from meter.capture import pulse_backend
from meter.capture.opening import gone
from meter.capture.pulse_backend import PulseBackend
from meter.capture.pulse_server import ServerGone
from meter.errors import SourceError
from tests.support.fake_pulse import FakeServer, sink, source, view
from tests.support.sound_server import PulseAudio

OUT, TWO = source("out.monitor", index=1, sink="out"), source("two.monitor", index=2, sink="two")
MIC = source("mic", index=3, positions=("mono",), rate_hz=44_100)
SINKS = (sink("out"), sink("two", volume_db=-6.0, is_muted=True))


class Opened:
    """Stands in for an open stream."""

    def __init__(self, source, take, *, title):
        self.source, self.take, self.title = source, take, title
        self.is_closed = False

    def start(self, on_block):
        self.on_block = on_block

    def close(self):
        self.is_closed = True

    def is_alive(self):
        return not self.is_closed


@pytest.fixture(autouse=True)
def opened(monkeypatch):
    """The streams that were opened."""
    streams = []

    def open_stream(source, take, *, title):
        streams.append(Opened(source, take, title=title))
        return streams[-1]

    monkeypatch.setattr(pulse_backend, "open_stream", open_stream)
    return streams


def backend(*views, **arguments) -> PulseBackend:
    made = PulseBackend(**arguments)
    made._server = FakeServer(*views)
    return made


def everything(**more):
    return view(OUT, TWO, MIC, sinks=SINKS, **{"default_sink": "out", "default_source": "mic"} | more)


def test_the_system_is_the_monitor_of_the_default_output_at_its_own_rate(opened):
    info = backend(everything()).open()
    assert (info.spec, info.name, info.rate_hz, info.channels) == ("system", "the out", 48_000, 2)
    assert info.is_default
    assert (opened[0].source, opened[0].take) == (OUT, (0, 1))


def test_a_device_is_opened_by_its_name_on_the_server(opened):
    info = backend(everything(), spec="device:the mic", name="mic").open()
    assert (info.spec, info.name, info.rate_hz, info.channels) == ("device:the mic", "the mic", 44_100, 1)
    assert info.is_default
    assert opened[0].source == MIC


def test_a_look_tells_volume_and_mute_of_the_output_that_is_heard():
    heard = backend(everything(default_sink="two"))
    heard.open()
    look = heard.look()
    assert (look.volume_db, look.is_muted, look.has_moved) == (-6.0, True, False)


def test_a_look_at_an_input_tells_no_volume():
    heard = backend(everything(), spec="device:the mic", name="mic")
    heard.open()
    assert (heard.look().volume_db, heard.look().is_muted) == (None, None)


def test_another_default_output_is_a_move():
    heard = backend(everything(), everything(default_sink="two"))
    heard.open()
    look = heard.look()
    assert look.has_moved
    assert look.info.name == "the two"


def test_a_stream_that_the_server_moved_is_a_move(opened):
    heard = backend(everything())
    heard.open()
    heard._server = FakeServer(everything(streams={opened[0].title: OUT.index}))
    assert not heard.look().has_moved
    heard._server = FakeServer(everything(streams={opened[0].title: TWO.index}))
    assert heard.look().has_moved


def test_a_source_that_came_back_under_its_name_is_not_the_one_that_is_heard(opened):
    heard = backend(everything())
    heard.open()
    again = source("out.monitor", index=9, sink="out")
    heard._server = FakeServer(
        view(again, sinks=SINKS, default_sink="out", streams={opened[0].title: OUT.index})
    )
    assert heard.look().has_moved


def test_no_output_is_said_by_open_and_by_a_look():
    with pytest.raises(SourceError) as error:
        backend(view(MIC)).open()
    assert str(error.value) == (
        "the sound server has no output, so there is nothing to be heard; "
        "connect loudspeakers, headphones or an interface"
    )
    heard = backend(everything(), view(MIC))
    heard.open()
    info = heard.look().info
    assert info.why_not == "the sound server has no output, so there is nothing to be heard"
    assert info.what_to_do == "connect loudspeakers, headphones or an interface"


def test_an_input_that_has_gone_is_named():
    with pytest.raises(SourceError) as error:
        backend(view(OUT), spec="device:the mic", name="mic").open()
    assert str(error.value) == (
        "the mic is not there; is it plugged in and switched on? leadline sources lists what is there"
    )


def test_a_server_that_does_not_answer_a_look_is_an_error():
    heard = backend(everything(), ServerGone("the sound server does not answer; wait", is_frozen=True))
    heard.open()
    with pytest.raises(SourceError, match="does not answer"):
        heard.look()


def test_nine_channels_need_a_chosen_pair():
    nine = source("nine", positions=tuple(f"aux{place}" for place in range(9)))
    with pytest.raises(SourceError) as error:
        backend(view(nine), spec="device:the nine", name="nine").open()
    assert str(error.value) == (
        "the nine has 9 channels, and which of them are left and right is not known; "
        "choose a pair, for example --channels 1,2"
    )
    assert backend(view(nine), spec="device:the nine", name="nine", pair=(3, 4)).open().channels == 2


def test_closing_closes_stream_and_connection_and_may_come_twice(opened):
    heard = backend(everything())
    heard.close()
    heard.open()
    assert heard.is_alive()
    heard.close()
    heard.close()
    assert opened[0].is_closed
    assert heard._server.is_closed
    assert not heard.is_alive()


@pytest.mark.packages("pulseaudio", "pulseaudio-utils")
def test_a_source_that_goes_while_it_is_opened_is_said_to_have_gone(monkeypatch):
    monkeypatch.undo()
    with PulseAudio() as server:
        for name in ("PULSE_SERVER", "PULSE_COOKIE"):
            monkeypatch.setenv(name, server.env[name])
        ghost = source("ghost", title="the interface")
        with pytest.raises(SourceError) as error:
            backend(view(ghost), spec="device:the interface", name="ghost").open()
    assert (
        str(error.value)
        == str(gone("the interface"))
        == (
            "the interface went away while it was being opened; is it still plugged in and switched on? "
            "leadline sources lists what is there"
        )
    )


@pytest.mark.packages("pulseaudio", "pulseaudio-utils")
def test_a_server_that_freezes_while_a_source_is_opened_does_not_hang_the_program(monkeypatch):
    monkeypatch.undo()
    monkeypatch.setattr("meter.capture.pulse_record.OPEN_WITHIN_S", 0.3)
    with PulseAudio() as server:
        for name in ("PULSE_SERVER", "PULSE_COOKIE"):
            monkeypatch.setenv(name, server.env[name])
        server.freeze()
        with pytest.raises(SourceError, match="does not open, nor"):
            backend(view(source("out.monitor", sink="out"), sinks=SINKS, default_sink="out")).open()
        server.thaw()
