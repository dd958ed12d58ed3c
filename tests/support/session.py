"""A session without an engine's thread: a worker on made-up sources, and the timeline it fills."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meter.chain import Chain
from meter.live_pass import LivePass
from meter.slot_values import KEYS, of_reading
from meter.soundings import Soundings
from meter.timeline import Timeline
from meter.units import Samples
from meter.worker import Worker
from tests.support.fake_source import FakeSource

RATE_HZ = 48_000


class Clock:
    """The clock on the wall; a test sets it."""

    def __init__(self):
        self.s = 1_700_000_000.0

    def __call__(self):
        return self.s


class Session:
    """What the engine's thread would do, step by step.

    Attributes
    ----------
    said : list of (int, Reading)
        The newest slot after each sounding, and the reading at that moment.
    """

    def __init__(self, source=None, *, exactly=True, **how):
        self.source = FakeSource() if source is None else source
        self.clock = Clock()
        self.timeline = Timeline(clock=self.clock)
        self.said, self._exactly = [], exactly
        self.worker = Worker(self.source, on_soundings=self._take, on_pass=self._end, **how)

    def _take(self, rows: Soundings) -> None:
        reading = self.worker.now.reading
        self.clock.s += float(rows["frames"].sum()) / self.worker.live_pass.rate_hz
        self.timeline.append(rows, self.worker.live_pass, reading if self._exactly else None)
        self.said.append((self.timeline.slots - 1, reading))

    def _end(self, live_pass: LivePass) -> None:
        self.timeline.end(live_pass)

    def hear(self, frames: Samples, *, hop: int = 4800) -> None:
        for start in range(0, len(frames), hop):
            self.source.bring(frames[start : start + hop])
            self.worker.step()

    def command(self, name: str, *args: object) -> None:
        self.worker.step()
        getattr(self.worker, name)(*args)

    def turn_to(self, source: FakeSource) -> None:
        """Another source is chosen."""
        self.command("set_source", source)
        self.source = source
        self.worker.step()

    def finish(self) -> Timeline:
        self.worker.step()
        self.worker.finish()
        return self.timeline


def timeline_of(
    samples: Samples,
    *,
    rate_hz: int = RATE_HZ,
    crossover_hz: float = 120.0,
    over_limit_dbtp: float = 0.0,
    cuts: Callable[[int], list[int]] | None = None,
) -> Timeline:
    """The timeline of one pass, as a file gives it: its soundings at once, or in pieces."""
    chain = Chain(
        rate_hz=rate_hz,
        channels=samples.shape[1],
        crossover_hz=crossover_hz,
        over_limit_dbtp=over_limit_dbtp,
    )
    rows = np.concatenate([chain.process(samples), chain.flush()])
    timeline = Timeline(clock=Clock())
    live_pass = pass_of(chain, crossover_hz=crossover_hz, over_limit_dbtp=over_limit_dbtp)
    for part in np.split(rows, [] if cuts is None else cuts(len(rows))):
        live_pass.store.append(part)
        timeline.append(part, live_pass)
    return timeline


def pass_of(chain: Chain, *, crossover_hz: float = 120.0, over_limit_dbtp: float = 0.0, number: int = 1):
    return LivePass(
        number=number,
        info=FakeSource(rate_hz=8000).state().info,
        rate_hz=chain.rate_hz,
        channels=chain.channels,
        weights=chain.weights,
        crossover_hz=crossover_hz,
        over_limit_dbtp=over_limit_dbtp,
    )


def shown_by(timeline: Timeline, slot: int) -> dict[str, float]:
    """All series at a slot."""
    return {key: float(timeline.values(key, slot, slot + 1)[0]) for key in KEYS}


def said_by(reading) -> dict[str, float]:
    """What a reading says of the series that are windows, as float32; NaN for None."""
    return dict(zip(KEYS, np.array(of_reading(reading), np.float32).astype(float).tolist(), strict=False))
