"""What the chain costs live: hops of 100 ms, really paced, a reading after each, as the engine takes it."""

from __future__ import annotations

import time

import demo_signals
from meter.chain import Chain
from meter.readings import LiveReadings

HOP_S = 0.1


def share_of_a_core_pct(*, seconds: float) -> float:
    """Processor time per wall-clock time, in percent of one core."""
    tune = demo_signals.render()[48_000 * 30 :]
    hop = round(HOP_S * demo_signals.RATE_HZ)
    chain = Chain(rate_hz=demo_signals.RATE_HZ, channels=2)
    readings = LiveReadings()
    for k in range(40):  # windows full, caches warm
        chain.process(tune[k * hop : (k + 1) * hop])
        readings.reading(chain, soundings=1)
    hops = round(seconds / HOP_S)
    wall, processor = time.perf_counter(), time.process_time()
    for k in range(hops):
        time.sleep(max(0.0, wall + (k + 1) * HOP_S - time.perf_counter()))
        at = (40 + k) * hop % (len(tune) - hop)
        chain.process(tune[at : at + hop])
        readings.reading(chain, soundings=1)
    return 100.0 * (time.process_time() - processor) / (time.perf_counter() - wall)
