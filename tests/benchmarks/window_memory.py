"""What the whole window holds after hours: ``python -m tests.benchmarks.window_memory [--hours N]``.

Engine and window run as for a user; when the source is quiet, the soundings of the demo tune are
appended again and again, far faster than they come, while passes are cut, findings are found, the
journal is written and the lanes are drawn. A process of its own for each source. Needs a display; Xvfb
will do.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ASKED_MB: Final = 250.0
SOURCES: Final = ("system", "file", "demo")
MARK_EVERY_ROWS: Final = 9_000
ROWS_AT_ONCE: Final = 10
HEARD_S: Final = 20.0
COMMIT_S: Final = 0.05
"""The journal is written as much more often as the soundings come faster."""
VIEWS: Final = ("60 s", "10 min", "pass", "session")


def memory_mb(key: str) -> float:
    """A line of this process's status: VmRSS is what it holds now, VmHWM the most it ever held."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith(f"{key}:"))


def demo_rows(folder: Path) -> Any:
    """The soundings of the demo tune; made elsewhere, so that this process has not held the tune."""
    import numpy as np

    place = folder / "rows.npy"
    code = (
        "import sys, numpy, demo_signals; from meter.chain import Chain; "
        "c = Chain(rate_hz=48000, channels=2); t = demo_signals.render(); "
        "numpy.save(sys.argv[1], numpy.concatenate([c.process(t), c.flush()]))"
    )
    subprocess.run([sys.executable, "-c", code, str(place)], check=True)
    return np.load(place)


def open_made_up(spec: str, folder: Path) -> Any:
    """A source that falls silent after a while."""
    from meter.capture.open import open_source
    from tests.support.fake_source import FakeSource
    from tests.support.sound import noise

    if spec == "system":
        source = FakeSource(spec="system", name="what the system plays")
        source.bring(noise(5.0, seed=1, level_dbfs=-16.0))
        return source
    if spec == "file":
        from tests.support.hearing import write_float

        path = write_float(folder / "tune.wav", noise(HEARD_S, seed=1, level_dbfs=-16.0), 48_000)
        return open_source(f"file:{path}", as_fast=True)
    return open_source("demo", as_fast=True)


def run(spec: str, hours: float) -> None:
    """One source, in this process."""
    folder = Path(tempfile.mkdtemp())
    os.environ["LEADLINE_HOME"] = str(folder / "home")
    rows = demo_rows(folder)
    from meter.journal import writer
    from meter.target_file import shipped_targets
    from ui import app as shell

    writer.COMMIT_S = COMMIT_S

    app = shell._application()
    source = open_made_up(spec, folder)
    targets = shipped_targets()
    conductor = shell.build(
        app,
        targets,
        target=targets["club"],
        has_target=True,
        open_source=lambda _: source,
        list_sources=lambda: [],
        keeps=True,
    )
    conductor.show()
    conductor.begin(spec)
    timeline = conductor.session.timeline
    before = -1
    while timeline.slots == 0 or timeline.slots != before:
        before = timeline.slots
        go_on(app, 2.0)
    begun_mb = memory_mb("VmRSS")
    append(app, conductor, rows, round(hours * 36_000))
    for view in VIEWS:
        conductor.going.choose_view(view)
        go_on(app, 1.0)
    passes, findings = len(conductor.session.thoughts.passes), len(conductor.session.thoughts.findings)
    print(
        f"{spec:<7} {timeline.slots} slots, {passes} passes, {findings} findings: "
        f"{memory_mb('VmRSS'):.0f} MB resident (asked: at most {ASKED_MB:.0f}), {begun_mb:.0f} MB when the "
        f"source had been heard, {memory_mb('VmHWM'):.0f} MB at most",
        flush=True,
    )
    conductor.quit()


def go_on(app: Any, seconds: float) -> None:
    """Let it run."""
    until_s = time.monotonic() + seconds
    while time.monotonic() < until_s:
        app.processEvents()
        time.sleep(0.005)


def append(app: Any, conductor: Any, rows: Any, count: int) -> None:
    """So many more soundings, as an engine tells them: a session of many passes."""
    from meter.capture.records import SourceInfo
    from meter.chain import Chain
    from meter.live_pass import LivePass

    timeline, writer = conductor.session.timeline, conductor.session._writer
    weights = Chain(rate_hz=48_000, channels=2).weights
    info = SourceInfo(spec="system", name="what the system plays")
    live_pass, frame = None, 0
    for at in range(0, count, ROWS_AT_ONCE):
        if at % MARK_EVERY_ROWS == 0:
            if live_pass is not None:
                timeline.end(live_pass)
                writer.end_pass(live_pass)
            live_pass = LivePass(
                number=at // MARK_EVERY_ROWS + 2,
                info=info,
                rate_hz=48_000,
                channels=2,
                weights=weights,
                crossover_hz=120.0,
                over_limit_dbtp=0.0,
            )
            frame = 0
        some = rows.take(range(at, at + ROWS_AT_ONCE), mode="wrap")
        for row in some:
            row["start_frame"] = frame
            row["flags"] = 0
            row["frames"] = 4800
            frame += 4800
        assert live_pass is not None
        live_pass.store.append(some)
        timeline.append(some, live_pass)
        writer.take(some, live_pass)
        if at % 3_000 == 0:
            conductor.session._thinker.wake()
            app.processEvents()
            while writer._news.qsize() or writer.unwritten_rows:  # an engine is never so far ahead
                go_on(app, 0.02)
    conductor.session._thinker.wake()
    go_on(app, 5.0)
    while conductor.session._thinker._finder.is_behind:
        go_on(app, 1.0)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--source", choices=SOURCES)
    given = parser.parse_args()
    if given.source is not None:
        run(given.source, given.hours)
        return
    for spec in SOURCES:
        command = [sys.executable, "-m", "tests.benchmarks.window_memory", "--source", spec]
        subprocess.run([*command, "--hours", str(given.hours)], check=True)


if __name__ == "__main__":
    main()
