"""What the engine costs and how late it is, on a source that is really paced.

``python -m tests.benchmarks.live_engine [--seconds N]``, on a machine that does nothing else. The chain
alone is measured in the same run, hop by hop, for comparison: the rest is the engine's own.
"""

from __future__ import annotations

import argparse
import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import demo_signals
from meter.chain import Chain
from meter.engine import Engine
from meter.low_end.live import LiveLowEnd
from meter.readings import LiveReadings
from meter.target_file import shipped_targets
from tests.support.fake_source import PacedSource

SETTLE_S = 4.0
"""Windows full, caches warm."""


def measure(frames, *, seconds):
    """Run the engine; shares in percent of one core, and delays in ms from the delivery of the last frame."""
    source, delays_s = PacedSource(frames), []

    def note(rows):
        end = int(rows["start_frame"][-1] + rows["frames"][-1])
        written = source.written[-40:]
        at = int(np.searchsorted([frames for _, frames in written], end))
        delays_s.append(time.perf_counter() - written[min(at, len(written) - 1)][0])

    engine = Engine(source, target=shipped_targets()["club"], on_soundings=note)
    engine.start()
    low_end = LiveLowEnd(engine)
    low_end.start()
    time.sleep(SETTLE_S)
    clocks = [time.pthread_getcpuclockid(thread.ident) for thread in (engine._thread, low_end._thread)]
    delays_s.clear()
    before_s, wall_s, steps = [*map(time.clock_gettime, clocks)], time.perf_counter(), Counter(engine)
    time.sleep(seconds)
    took_s = time.perf_counter() - wall_s
    used_s = [time.clock_gettime(clock) - then for clock, then in zip(clocks, before_s, strict=True)]
    shares = [100.0 * used / took_s for used in used_s]
    a_second = steps.count / (time.perf_counter() - wall_s)
    gaps = len(engine.live_pass.gaps)
    low_end.stop()
    engine.stop()
    source_share = 100.0 * source.cpu_s / (seconds + SETTLE_S)
    found = low_end.now.sub_notes, low_end.now.kicks.count
    return shares, source_share, np.array(delays_s) * 1000.0, a_second, gaps, found


class Counter:
    """Counts the steps of an engine."""

    def __init__(self, engine):
        self.count = 0
        step = engine._worker.step

        def counted():
            self.count += 1
            return step()

        engine._worker.step = counted


def chain_alone(frames, *, seconds):
    """The chain and its reading every 100 ms; share in percent of one core."""
    hop, chain = demo_signals.RATE_HZ // 10, Chain(rate_hz=demo_signals.RATE_HZ, channels=2)
    readings = LiveReadings()
    used_s, began_s = 0.0, time.perf_counter()
    for k in range(round((seconds + SETTLE_S) * 10)):
        time.sleep(max(0.0, began_s + (k + 1) * 0.1 - time.perf_counter()))
        at = k * hop % (len(frames) - hop)
        start_s = time.thread_time()
        chain.process(frames[at : at + hop])
        readings.reading(chain, soundings=1)
        used_s += (time.thread_time() - start_s) if k >= SETTLE_S * 10 else 0.0
    return 100.0 * used_s / seconds


def main():
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    seconds = parser.parse_args().seconds
    frames = demo_signals.render()[48_000 * 30 :].astype(np.float32)
    shares, source_share, delays_ms, a_second, gaps, (notes, kicks) = measure(frames, seconds=seconds)
    print(f"engine thread, everything on: {shares[0]:.2f} % of one core, {a_second:.0f} steps a second")
    print(f"low end, its own thread:      {shares[1]:.2f} %, {len(notes)} notes and {kicks} kicks found")
    print(f"chain and reading alone:      {chain_alone(frames, seconds=seconds):.2f} %")
    print(f"writing into the ring:        {source_share:.2f} %, 25 ms blocks from a Python thread")
    median, worst = np.median(delays_ms), delays_ms.max()
    print(f"last frame to sounding:       {median:.0f} ms median, {worst:.0f} ms worst of {len(delays_ms)}")
    print(f"gaps:                         {gaps}")


if __name__ == "__main__":
    main()
