"""What a Linux sound server offers: the system's own output, and inputs by name."""

from __future__ import annotations

import itertools
from typing import Final

from meter.capture.backend import OnBlock
from meter.capture.layout import channels_to_take
from meter.capture.opening import missing
from meter.capture.pulse_record import PulseStream, open_stream
from meter.capture.pulse_server import PulseServer, ServerSource, ServerView
from meter.capture.records import Look, SourceInfo
from meter.errors import SourceError

SYSTEM: Final = "system"
DEVICE: Final = "device:"

NO_OUTPUT: Final = "the sound server has no output"
CONNECT_ONE: Final = "connect loudspeakers, headphones or an interface"

OPENING_WITHIN_S: Final = 2.0
"""For the answer of a server that may just have started."""

_numbers = itertools.count(1)


class PulseBackend:
    """A source of the sound server; a `meter.capture.backend.Backend`.

    Parameters
    ----------
    spec : str
        "system" for what the default output plays, or how the device is written.
    name : str, optional
        The server's name of the device.
    pair : tuple of two int, optional
        The channels to be heard, counted from 1.
    """

    def __init__(
        self, spec: str = SYSTEM, *, name: str | None = None, pair: tuple[int, int] | None = None
    ) -> None:
        self.spec, self._name, self._pair = spec, name, pair
        self._server = PulseServer()
        self._stream: PulseStream | None = None
        self._opened: ServerSource | None = None
        self._title = ""

    def open(self) -> SourceInfo:
        """See `Backend`."""
        self.close()
        view = self._server.view(OPENING_WITHIN_S)
        source = self._source_in(view)
        info = info_of(view, source, self.spec, self._pair)
        take = channels_to_take(info.name, source.channels, self._pair, source.positions)
        self._title = f"measuring ({next(_numbers)})"
        self._stream = open_stream(source, take, title=self._title)
        self._opened = source
        return info

    def start(self, on_block: OnBlock) -> None:
        """See `Backend`."""
        if self._stream is None:
            raise AssertionError("open comes before start")
        self._stream.start(on_block)

    def close(self) -> None:
        """See `Backend`."""
        stream, self._stream = self._stream, None
        self._opened = None
        if stream is not None:
            stream.close()
        self._server.close()

    def is_alive(self) -> bool:
        """See `Backend`."""
        stream = self._stream
        return stream is not None and stream.is_alive()

    def look(self) -> Look:
        """See `Backend`; costs less than a millisecond."""
        view = self._server.view()
        try:
            source = self._source_in(view)
            info = info_of(view, source, self.spec, self._pair)
        except SourceError as error:
            why_not, _, what_to_do = str(error).partition("; ")
            name = self._opened.title if self._opened is not None else self.spec
            return Look(
                info=SourceInfo(spec=self.spec, name=name, why_not=why_not, what_to_do=what_to_do or None)
            )
        sink = view.sink(source.sink)
        return Look(
            info=info,
            volume_db=None if sink is None else sink.volume_db,
            is_muted=None if sink is None else sink.is_muted,
            has_moved=self._has_moved(view, source),
        )

    def _source_in(self, view: ServerView) -> ServerSource:
        if self._name is None:
            return system_source(view)
        source = view.source(self._name)
        if source is None:
            raise missing(self.spec.removeprefix(DEVICE))
        return source

    def _has_moved(self, view: ServerView, source: ServerSource) -> bool:
        """Whether what is heard is not what is meant: the server moves streams without a word."""
        if self._opened is None:
            return False
        heard = view.streams.get(self._title)
        return source.name != self._opened.name or (heard is not None and heard != source.index)


def system_source(view: ServerView) -> ServerSource:
    """The source on which the system's own output is heard; `SourceError` when there is no output."""
    monitor = view.monitor_of(view.default_sink)
    if monitor is None:
        raise SourceError(f"{NO_OUTPUT}, so there is nothing to be heard; {CONNECT_ONE}")
    return monitor


def info_of(
    view: ServerView, source: ServerSource, spec: str, pair: tuple[int, int] | None = None
) -> SourceInfo:
    """A source in the words of all sources, with the channels that will be heard of it.

    Raises
    ------
    SourceError
        A pair must be chosen, or the chosen one is not there.
    """
    sink = view.sink(source.sink)
    name = sink.title if spec == SYSTEM and sink is not None else source.title
    return SourceInfo(
        spec=spec,
        name=name,
        rate_hz=source.rate_hz,
        channels=len(channels_to_take(name, source.channels, pair, source.positions)),
        is_default=spec == SYSTEM or source.name == view.default_source,
    )
