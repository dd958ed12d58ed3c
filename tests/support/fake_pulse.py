"""What the sound server's library hands out, and whole views of a server, made by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from meter.capture.pulse_server import ServerSink, ServerSource, ServerView


class FakePulse:
    """Answers like `pulsectl.Pulse`; change its attributes to change the server."""

    def __init__(self, *, server_name: str = "pulseaudio") -> None:
        self.about = SimpleNamespace(
            server_name=server_name, default_sink_name="out", default_source_name="mic"
        )
        self.sinks = [self.sink("out", [1.0, 1.0])]
        self.sources: list[Any] = []
        self.outputs: list[Any] = []

    def sink(self, name: str, volumes: list[float], *, mute: int = 0, **proplist: str) -> Any:
        return SimpleNamespace(
            name=name,
            description=f"the {name}",
            mute=mute,
            volume=SimpleNamespace(values=volumes),
            proplist={key.replace("__", "-").replace("_", "."): value for key, value in proplist.items()},
        )

    def server_info(self) -> Any:
        return self.about

    def sink_list(self) -> list[Any]:
        return self.sinks

    def source_list(self) -> list[Any]:
        return self.sources

    def source_output_list(self) -> list[Any]:
        return self.outputs


STEREO = ("front-left", "front-right")


def source(
    name: str,
    *,
    index: int = 1,
    rate_hz: int = 48_000,
    positions: tuple[str, ...] = STEREO,
    sink: str | None = None,
    title: str | None = None,
) -> ServerSource:
    return ServerSource(
        index=index, name=name, title=title or f"the {name}", rate_hz=rate_hz, positions=positions, sink=sink
    )


def sink(name: str, *, volume_db: float = 0.0, is_muted: bool = False) -> ServerSink:
    return ServerSink(name=name, title=f"the {name}", volume_db=volume_db, is_muted=is_muted)


def view(
    *sources: ServerSource,
    sinks: tuple[ServerSink, ...] = (),
    default_sink: str | None = None,
    default_source: str | None = None,
    streams: dict[str, int] | None = None,
) -> ServerView:
    return ServerView(
        is_pipewire=False,
        sources=sources,
        sinks=sinks,
        default_sink=default_sink,
        default_source=default_source,
        streams=streams or {},
    )


class FakeServer:
    """Stands in for `PulseServer`: shows one view after the other, the last one for ever."""

    def __init__(self, *views: ServerView | Exception) -> None:
        self.views = list(views)
        self.is_closed = False

    def view(self, within_s: float = 1.0) -> ServerView:
        now = self.views.pop(0) if len(self.views) > 1 else self.views[0]
        if isinstance(now, Exception):
            raise now
        return now

    def close(self) -> None:
        self.is_closed = True
