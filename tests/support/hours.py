"""Hours of sound through the real engine into a journal, as fast as they can be measured.

``python -m tests.support.hours FOLDER HOURS``: says one line of JSON every five minutes of sound, with the
memory of the program; the last one has what came at the end.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path

import numpy as np

from meter.engine import Engine
from meter.journal.writer import JournalWriter
from tests.support.fake_source import FakeSource

RATE_HZ = 48_000
BLOCK_S = 0.5


def resident_mb() -> float:
    """Memory of this program now."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024.0
    raise AssertionError("this kernel tells no memory")


def sound() -> np.ndarray:
    """Two minutes that are never the same when another gain and another beginning is taken."""
    rng = np.random.default_rng(1)
    one = np.cumsum(rng.standard_normal((120 * RATE_HZ, 2)), axis=0)
    one -= np.linspace(0.0, 1.0, len(one))[:, None] * one[-1]
    one = np.diff(one, axis=0, prepend=0.0) + 0.002 * (one - one.mean(axis=0))
    return (one * 0.1 / np.abs(one).std()).astype(np.float32)


def main() -> None:
    """Let it be heard."""
    folder, hours = Path(sys.argv[1]), float(sys.argv[2])
    tune = sound()
    source = FakeSource(spec="system", name="what the machine plays")
    said: list[str] = []
    keeper = JournalWriter(folder, is_set=True, on_problem=said.append)
    engine = Engine(
        source, on_soundings=lambda rows: keeper.take(rows, engine.live_pass), on_pass=keeper.end_pass
    )
    keeper.start()
    engine.start()
    rng, frames = np.random.default_rng(2), round(BLOCK_S * RATE_HZ)
    for block in range(round(hours * 3600.0 / BLOCK_S)):
        at = int(rng.integers(0, len(tune) - frames))
        gain = np.float32(0.3 + 0.5 * (np.sin(block / 250.0) > -0.7))
        while engine._worker.reader.behind_frames > 10 * RATE_HZ:
            time.sleep(0.002)
        source.ring.write(tune[at : at + frames] * gain)
        if (block + 1) % round(300.0 / BLOCK_S) == 0:
            made = {"at_s": (block + 1) * BLOCK_S, "mb": resident_mb(), "unwritten": keeper.unwritten_rows}
            print(json.dumps(made), flush=True)
    source.end()
    while not engine.now.has_ended:
        time.sleep(0.05)
    made = engine.live_pass
    assert made is not None
    engine.stop()
    began_s = time.monotonic()
    unkept = keeper.stop()
    print(
        json.dumps(
            {
                "rows": len(made.store),
                "lost_frames": engine.now.state.lost_frames + made.lost_frames,
                "unkept": unkept,
                "said": said,
                "end_s": time.monotonic() - began_s,
                "mb": resident_mb(),
                "threads": threading.active_count(),
            }
        ),
        flush=True,
    )


if __name__ == "__main__":
    main()
