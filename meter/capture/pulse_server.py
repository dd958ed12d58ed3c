"""What the Linux sound server says: its sources, their native rates, the default, volume and mute.

PulseAudio, and PipeWire in PulseAudio's name, are asked the same way. A question costs about a
third of a millisecond, so it is simply asked again instead of waiting for events. Every wait
has a limit: a server that stands still is an error here, never a program that hangs.

Where the monitor of an output lies was measured (PulseAudio 16.1, PipeWire 0.3.65): PulseAudio
takes it behind the output's volume and mute; PipeWire before them, unless the output has the
property ``monitor.channel-volumes``. A card of PulseAudio that turns itself down does so behind the
monitor, but for a remainder that the server does not tell (from its sources, not measured): its
volume is told like any other, for no verdict is better than one that is a little wrong.
"""

from __future__ import annotations

import os
import select
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from meter.errors import SourceError
from meter.units import amplitude_to_db

ANSWER_WITHIN_S: Final = 1.0
"""Answers come within 5 ms; on a machine that is busy, within 100."""

NO_SERVER: Final = "no sound server answers"
START_ONE: Final = "start PulseAudio or PipeWire (with pipewire-pulse)"
FROZEN: Final = "the sound server does not answer"

_NOWHERE: Final = 0xFFFFFFFF

_T = TypeVar("_T")


class ServerGone(SourceError):
    """There is no server, or it does not answer.

    Attributes
    ----------
    is_frozen : bool
        There is one, but it stands still.
    """

    def __init__(self, sentence: str, *, is_frozen: bool = False) -> None:
        super().__init__(sentence)
        self.is_frozen = is_frozen


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerSource:
    """One source of the server, as it is now.

    Attributes
    ----------
    index : int
        Its number on the server; a source that comes back has a new one.
    name, title : str
        Its name on the server, and the one for people.
    rate_hz : int
        The rate it runs at: any other would be converted.
    positions : tuple of str
        Where each channel belongs, "front-left" and so on, in its own order.
    sink : str or None
        The output that it is the monitor of.
    """

    index: int
    name: str
    title: str
    rate_hz: int
    positions: tuple[str, ...]
    sink: str | None

    @property
    def channels(self) -> int:
        """How many channels it has."""
        return len(self.positions)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerSink:
    """One output. Volume and mute are those that its monitor's sound has gone through."""

    name: str
    title: str
    volume_db: float
    is_muted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerView:
    """The server at one moment."""

    is_pipewire: bool
    sources: tuple[ServerSource, ...]
    sinks: tuple[ServerSink, ...]
    default_sink: str | None
    default_source: str | None
    streams: dict[str, int]
    """The streams of this process: the title of each, and the index of the source it hears."""

    def source(self, name: str) -> ServerSource | None:
        """The source of this server name."""
        return next((source for source in self.sources if source.name == name), None)

    def monitor_of(self, sink: str | None) -> ServerSource | None:
        """The source on which an output is heard."""
        return next((source for source in self.sources if sink and source.sink == sink), None)

    def sink(self, name: str | None) -> ServerSink | None:
        """The output of this server name."""
        return next((sink for sink in self.sinks if sink.name == name), None)


class PulseServer:
    """A connection that is made when it is needed, and made anew when it broke. One thread only."""

    def __init__(self) -> None:
        self._pulse: Any = None
        self._deadline_s = 0.0

    def view(self, within_s: float = ANSWER_WITHIN_S) -> ServerView:
        """Ask everything.

        Raises
        ------
        ServerGone
            One sentence: no library, no server, or no answer within the time.
        """
        return self._ask(_view, within_s)

    def close(self) -> None:
        """Let the connection go; harmless when there is none."""
        pulse, self._pulse = self._pulse, None
        if pulse is not None:
            pulse.close()

    def _ask(self, question: Callable[[Any], _T], within_s: float) -> _T:
        pulsectl = _library()
        self._deadline_s = time.monotonic() + within_s
        was_connected = self._pulse is not None
        try:
            return question(self._connected(pulsectl))
        except (pulsectl.PulseError, pulsectl.PulseDisconnected, pulsectl._pulsectl.pa.CallError) as error:
            self.close()
            left_s = self._deadline_s - time.monotonic()
            if was_connected and left_s > 0.0:  # the server went, and may be back already
                return self._ask(question, left_s)
            is_frozen = left_s <= 0.0
            raise ServerGone(_sentence(is_frozen=is_frozen), is_frozen=is_frozen) from error

    def _connected(self, pulsectl: Any) -> Any:
        if self._pulse is None:
            self._pulse = pulsectl.Pulse("Leadline", connect=False)
            self._pulse.set_poll_func(self._poll, lambda *_: None)
            # Never start a server: where none runs, nothing plays that could be heard.
            self._pulse.connect(autospawn=False)
        return self._pulse

    def _poll(self, descriptors: list[Any], wanted_s: float) -> int:
        """Wait for the server as its library would, but not beyond the deadline."""
        left_s = self._deadline_s - time.monotonic()
        if left_s <= 0.0:
            self._pulse.close()  # in its own loop this ends the loop: the question fails
            return 0
        wait_s = left_s if wanted_s < 0.0 else min(left_s, wanted_s)
        poll = select.poll()
        for one in descriptors:
            poll.register(one.fd, one.events)
        events = dict(poll.poll(wait_s * 1000.0))
        for one in descriptors:
            one.revents = events.get(one.fd, 0)
        return len(events)


def _library() -> Any:
    try:
        import pulsectl
    except (ImportError, OSError) as error:
        raise ServerGone(
            f"{NO_SERVER}: the library libpulse is missing; install it (Debian: apt-get install libpulse0)"
        ) from error
    return pulsectl


def _sentence(*, is_frozen: bool) -> str:
    if is_frozen:
        return f"{FROZEN}; restart it, or wait: Leadline goes on when it does"
    server = os.environ.get("PULSE_SERVER")
    where = f" at {server} (from PULSE_SERVER)" if server else ""
    return f"{NO_SERVER}{where}; {START_ONE}, then try again"


def _view(pulse: Any) -> ServerView:
    about = pulse.server_info()
    is_pipewire = "pipewire" in (about.server_name or "").lower()
    return ServerView(
        is_pipewire=is_pipewire,
        sources=tuple(_source(source) for source in pulse.source_list()),
        sinks=tuple(_sink(sink, is_pipewire) for sink in pulse.sink_list()),
        default_sink=about.default_sink_name,
        default_source=about.default_source_name,
        streams=dict(_own_streams(pulse)),
    )


def _source(source: Any) -> ServerSource:
    return ServerSource(
        index=source.index,
        name=source.name,
        title=source.description or source.name,
        rate_hz=source.sample_spec.rate,
        positions=tuple(source.channel_list),
        sink=source.monitor_of_sink_name or None,
    )


def _sink(sink: Any, is_pipewire: bool) -> ServerSink:
    is_before_volume = is_pipewire and sink.proplist.get("monitor.channel-volumes") != "true"
    levels_db = [_volume_db(value) for value in sink.volume.values]
    return ServerSink(
        name=sink.name,
        title=sink.description or sink.name,
        # One channel turned down is as wrong as all: the one furthest from 0 dB is told.
        volume_db=0.0 if is_before_volume else max(levels_db, key=abs, default=0.0),
        is_muted=False if is_before_volume else bool(sink.mute),
    )


def _volume_db(volume: float) -> float:
    """Decibels of a volume as the server counts it: the amplitude is its cube.

    Source
    ------
    PulseAudio 16, ``pa_sw_volume_to_linear``.
    """
    return amplitude_to_db(volume**3)


def _own_streams(pulse: Any) -> list[tuple[str, int]]:
    process = str(os.getpid())
    return [
        (output.name, output.source)
        for output in pulse.source_output_list()
        if output.proplist.get("application.process.id") == process and output.source != _NOWHERE
    ]
