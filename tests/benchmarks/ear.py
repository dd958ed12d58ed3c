"""What it costs to follow the level at the ear, live: ``python -m tests.benchmarks.ear [--seconds N]``.

On a source that is really paced, with a week in the journal in which 50 hours were heard. Needs Linux.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import demo_signals
from meter.engine import Engine
from meter.exposure.calibration import computed
from meter.exposure.heard import HeardMinute
from meter.exposure.live import LiveEar
from meter.exposure.rules import RULES
from meter.exposure.store import ExposureStore
from meter.journal.store import open_journal
from tests.support.fake_source import PacedSource

LIMIT_PCT = 0.5
SETTLE_S = 3.0
MINUTES = 3000


def a_week():
    """Minutes that an earlier run has kept."""
    newest = int(time.time() // 60.0) - 10
    return [
        HeardMinute(
            minute=newest - 3 * k,
            setup="closed",
            seconds=60.0,
            a_power=0.002,
            c_power=0.02,
            c_peak=0.3,
            full_scale_db=107.0,
            plus_db=6.0,
            is_narrow=True,
        )
        for k in range(MINUTES)
    ]


def main():
    """Print the share of a core."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    seconds = parser.parse_args().seconds
    os.environ["LEADLINE_HOME"] = tempfile.mkdtemp()
    with open_journal() as journal:
        ExposureStore(journal).write("before", a_week())
    engine = Engine(PacedSource(demo_signals.render()[48_000 * 30 :].astype(np.float32)))
    engine.start()
    made = computed("closed", full_scale_db=107.0, date="2026-01-02")
    ear = LiveEar(engine, made, RULES["who-adult"], from_now=True)
    ear.start()
    time.sleep(SETTLE_S)
    clock = time.pthread_getcpuclockid(ear._thread.ident)
    before_s, began_s = time.clock_gettime(clock), time.perf_counter()
    time.sleep(seconds)
    share = 100.0 * (time.clock_gettime(clock) - before_s) / (time.perf_counter() - began_s)
    engine.stop()
    ear.stop()
    print(f"level at the ear, its own thread: {share:.2f} % of one core (at most {LIMIT_PCT})")


if __name__ == "__main__":
    main()
