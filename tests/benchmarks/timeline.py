"""What a session on a timeline costs: ``python -m tests.benchmarks.timeline [--hours N]``.

The demo tune again and again, a sounding at a time as the engine tells them, with gaps and marks;
the passes and findings are looked for once a second of it. On a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import os
import statistics
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import demo_signals
from meter.capture.records import SourceInfo
from meter.chain import Chain
from meter.findings import Finder
from meter.live_pass import LivePass
from meter.pass_cutter import PassCutter
from meter.soundings import AFTER_GAP, SOUNDING
from meter.target_file import shipped_targets
from meter.timeline import KEYS, Timeline

COLUMNS = 1200
GAP_EVERY_ROWS = 36_000
MARK_EVERY_ROWS = 9_000


def memory_mb() -> float:
    """Resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def arrays_mb(timeline: Timeline) -> float:
    """What the series and the soundings take."""
    series = sum(array.nbytes for chunk in timeline._store._chunks if chunk for array in chunk)
    rows = sum(run.stop_slot - run.first_slot for run in timeline.runs) * SOUNDING.itemsize
    return (series + rows) / 1e6


def session(hours: float):
    """A session: its timeline and finder, how memory has grown, and how long each call took."""
    tune = demo_signals.render()
    chain = Chain(rate_hz=demo_signals.RATE_HZ, channels=2)
    rows = chain.process(tune)
    info = SourceInfo(spec="demo", name="the demo tune")
    timeline, cutter, finder = Timeline(), PassCutter(), Finder(shipped_targets()["club"])
    count = round(hours * 36_000)
    append_us = np.zeros(count)
    cutter_ms, finder_ms = np.zeros(count // 10), np.zeros(count // 10)
    before_mb = memory_mb() + (append_us.nbytes + cutter_ms.nbytes + finder_ms.nbytes) / 1e6
    live_pass, frame = None, 0
    for at in range(count):
        if at % MARK_EVERY_ROWS == 0:
            live_pass = LivePass(
                number=at // MARK_EVERY_ROWS + 1,
                info=info,
                rate_hz=demo_signals.RATE_HZ,
                channels=2,
                weights=chain.weights,
                crossover_hz=120.0,
                over_limit_dbtp=0.0,
            )
            frame = 0
        row = rows[at % len(rows) : at % len(rows) + 1].copy()
        if at % GAP_EVERY_ROWS == 5000:
            row["flags"] |= AFTER_GAP
            frame += 50_000
        row["start_frame"] = frame
        frame += int(row["frames"][0])
        live_pass.store.append(row)
        start = time.perf_counter()
        timeline.append(row, live_pass)
        append_us[at] = 1e6 * (time.perf_counter() - start)
        if at % 10 == 9:
            start = time.perf_counter()
            cutter.take(timeline)
            middle = time.perf_counter()
            finder.take(timeline)
            cutter_ms[at // 10] = 1e3 * (middle - start)
            finder_ms[at // 10] = 1e3 * (time.perf_counter() - middle)
    return timeline, finder, memory_mb() - before_mb, append_us, cutter_ms, finder_ms


def show(name: str, times, unit: str) -> None:
    """Median, 99.9th percentile and worst."""
    high = float(np.quantile(times, 0.999))
    median = statistics.median(times)
    print(f"{name:<42} median {median:8.3f}  99.9 % {high:8.3f}  worst {max(times):8.3f} {unit}")


def timed_ms(call, rounds: int = 50) -> list[float]:
    """How long a call takes."""
    found = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        found.append(1e3 * (time.perf_counter() - start))
    return found


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    hours = parser.parse_args().hours
    timeline, finder, grown_mb, append_us, cutter_ms, finder_ms = session(hours)
    print(f"{timeline.slots} slots, {len(timeline.runs)} runs, {len(finder.findings)} findings")
    print(
        f"memory, soundings included: {arrays_mb(timeline):.1f} MB of arrays; {grown_mb:.1f} MB more resident"
    )
    tenth = len(append_us) // 10
    show("append, first tenth", append_us[:tenth], "us a row")
    show("append, last tenth", append_us[-tenth:], "us a row")
    show("passes, once a second", cutter_ms, "ms")
    show("findings, first tenth", finder_ms[: len(finder_ms) // 10], "ms")
    show("findings, last tenth", finder_ms[-len(finder_ms) // 10 :], "ms")
    whole = timeline.slots // COLUMNS
    for n in (1, 5, whole, whole + 1):
        first = max(timeline.slots // n - COLUMNS, 0)
        for key in (KEYS[0], KEYS[6]):

            def columns(n=n, first=first, key=key):
                timeline.columns(key, slots_a_column=n, first_column=first, count=COLUMNS)

            show(f"{COLUMNS} columns of {n}, {key}", timed_ms(columns), "ms")
    again = Finder(shipped_targets()["club"])
    calls = []
    while not calls or again.is_behind:
        calls += timed_ms(lambda: again.take(timeline), 1)
    show("findings, ten minutes a call", calls, "ms")
    show("passes, all at once", timed_ms(lambda: PassCutter().take(timeline), 5), "ms")


if __name__ == "__main__":
    main()
