"""What drawing the lanes costs, on a source that is really paced: ``python -m tests.benchmarks.window``.

Needs a screen (``xvfb-run -s "-screen 0 2560x1440x24" python -m …``) and a machine that does nothing
else. Figures are percent of one core for the whole process, with the engine, and for the thread
that draws. A paint holds the interpreter for no longer than it computes; how late another thread gets
it is measured besides, and that depends on what else the machine does.

With ``--arrangement low_end`` it is the low end that is drawn, and followed beside the engine.
"""

from __future__ import annotations

import argparse
import os
import threading
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

SIZES = ((1280, 800), (2560, 1440))
LIMITS_PCT = {(1280, 800): 15.0, (2560, 1440): 25.0}
LONGEST_PAINT_MS = 8.0
TICK_MS = 33
SETTLE_S = 4.0


class Watch:
    """A thread that wants the interpreter every 2 ms and notes how late it gets it."""

    def __init__(self):
        self.late_s, self.used_s, self._is_over = [], 0.0, threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self):
        while not self._is_over.is_set():
            began_s = time.perf_counter()
            time.sleep(0.002)
            self.late_s.append(time.perf_counter() - began_s - 0.002)
            self.used_s = time.thread_time()

    def stop(self):
        """The delays, in ms."""
        self._is_over.set()
        self._thread.join()
        return 1000.0 * np.array(self.late_s)


class LowEnd:
    """Follows the low end as the window does, and gives the lanes what is new."""

    def __init__(self, engine):
        from meter.low_end.live import LiveLowEnd
        from meter.low_end.settings import LowEndSettings

        self.settings = LowEndSettings()
        self._live, self._pieces = LiveLowEnd(engine, self.settings), ()
        self._live.start()

    def show(self, lanes):
        """Pieces and flags; the same pieces while nothing is new."""
        from meter.low_end.lanes import low_end_flags
        from meter.low_end.picture import Piece

        low_end = self._live.now
        if not self._pieces or self._pieces[0].low_end is not low_end:
            self._pieces = (Piece(low_end=low_end, first_slot=0.0),)
        lanes.set_pieces(self._pieces)
        lanes.set_flags(low_end_flags(self._pieces, self.settings))

    def stop(self):
        """The end."""
        self._live.stop()


def measure(size, view, *, seconds, is_painted=True, arrangement="master"):
    """Run the lanes in a window of this size; the figures."""
    from PyQt6.QtCore import QTimer

    from meter.arrangements import arrangement_of
    from meter.capture.open import open_source
    from meter.engine import Engine
    from meter.lanes import LANES, flags
    from meter.low_end.settings import LowEndSettings
    from meter.target_file import shipped_targets
    from meter.timeline import Timeline
    from ui.lane_view import LanesView
    from ui.memory import leave_what_stays
    from ui.theme import DARK

    target, timeline = shipped_targets()["club"], Timeline()
    engine = Engine(
        open_source("demo"),
        target=target,
        on_soundings=lambda rows: timeline.append(rows, engine.live_pass, engine.reading),
    )
    paints_s = []

    class Timed(LanesView):
        def paintEvent(self, event):
            began_s = time.thread_time()
            super().paintEvent(event)
            paints_s.append(time.thread_time() - began_s)

    lanes = Timed()
    lanes.resize(*size)
    lanes.set_theme(DARK)
    lanes.set_lanes(arrangement_of(arrangement).lanes(target, LowEndSettings()))
    lanes.set_timeline(timeline)
    lanes.set_target(target)
    lanes.set_view(view)

    def tick():
        if low_end is None:
            lanes.set_flags({lane.key: flags(engine.now, lane) for lane in LANES})
        else:
            low_end.show(lanes)
        lanes.tick()

    timer = QTimer()
    timer.timeout.connect(tick)
    engine.start()
    low_end = LowEnd(engine) if arrangement == "low_end" else None
    if is_painted:
        lanes.show()
        timer.start(TICK_MS)
    run(SETTLE_S)
    leave_what_stays()  # as the window does
    paints_s.clear()
    watch, wall_s = Watch(), time.perf_counter()
    process_s, thread_s = time.process_time(), time.thread_time()
    run(seconds)
    wall_s = time.perf_counter() - wall_s
    # What the watching itself takes, 500 times a second, is not what a user pays.
    used_s = time.process_time() - process_s - watch.used_s, time.thread_time() - thread_s
    shares = [100.0 * used / wall_s for used in used_s]
    late_ms = watch.stop()
    timer.stop()
    lanes.close()
    engine.stop()
    if low_end is not None:
        low_end.stop()
    return shares, 1000.0 * np.array(paints_s), late_ms, len(paints_s) / wall_s


def resized(size, view):
    """What happens while a window is made smaller without pause: everything is drawn anew each time."""
    from meter.lanes import LANES
    from tests.support.window_scene import Scene
    from ui.lane_view import LanesView

    lanes = LanesView()
    Scene().dress(lanes)
    lanes.set_lanes(LANES)
    lanes.set_view(view)
    lanes.resize(*size)
    lanes.show()
    run(0.5)
    watch = Watch()
    for step in range(50):
        lanes.resize(size[0] - 4 * step, size[1] - 2 * step)
        run(0.02)
    late_ms = watch.stop()
    lanes.close()
    late = f"{np.percentile(late_ms, 99):.1f} ms p99, {late_ms.max():.1f} at most"
    return f"{size[0]}x{size[1]} resized 50 times: a thread waits {late}"


def run(seconds):
    """Let the application run for so long; to quit it would close the window."""
    from PyQt6.QtCore import QEventLoop, QTimer

    loop = QEventLoop()
    QTimer.singleShot(round(seconds * 1000.0), loop.quit)
    loop.exec()


def main():
    """Print the figures; 1 when one misses its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=15.0)
    parser.add_argument("--arrangement", choices=("master", "low_end"), default="master")
    given = parser.parse_args()
    seconds = given.seconds
    from PyQt6.QtWidgets import QApplication

    from ui import fonts
    from ui.time_scale import LAST_10_MINUTES, LAST_MINUTE, View

    app = QApplication(["window"])
    assert fonts.load() is None
    print(f"screen {app.primaryScreen().size().width()} wide, load before the run {os.getloadavg()[0]:.2f}")
    how = {"seconds": seconds, "arrangement": given.arrangement}
    (whole, _), _, late_ms, _ = measure(SIZES[0], LAST_MINUTE, is_painted=False, **how)
    print(f"nothing drawn: {whole:.1f} %, a thread waits at most {late_ms.max():.1f} ms")
    missed = 0
    views = {"60 s": LAST_MINUTE, "10 min": LAST_10_MINUTES, "pass": View.part(0)}
    for size in SIZES:
        print(resized(size, LAST_MINUTE))
        for name, view in views.items():
            (whole, drawing), paints_ms, late_ms, fps = measure(size, view, **how)
            is_kept = whole <= LIMITS_PCT[size] and paints_ms.max() <= LONGEST_PAINT_MS
            missed += not is_kept
            print(
                f"{size[0]}x{size[1]} {name:<7} {whole:5.1f} % (drawing {drawing:.1f} %), {fps:4.1f} fps, "
                f"paint {np.median(paints_ms):.2f} ms median, {np.percentile(paints_ms, 99):.2f} p99, "
                f"{paints_ms.max():.2f} longest; a thread waits {np.percentile(late_ms, 99.9):.1f} ms p99.9, "
                f"{late_ms.max():.1f} at most{'' if is_kept else '  MISSED'}"
            )
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
