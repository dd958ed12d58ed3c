"""From sound to sounding, and what hearing costs: ``python -m tests.benchmarks.capture [--seconds N]``.

A sound server of its own with a null sink; another program plays short bursts into it, and the engine
listens to what the system plays. The delay runs from the moment at which a burst is handed to that
program until the sounding that holds its beginning is told, so the program's own latency is in it.
Then what the process costs that runs PortAudio's callback for JACK. On a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import soundfile

from meter.capture.open import open_source
from meter.capture.records import SourceStatus
from meter.engine import Engine
from tests.support.sound_server import Jack, PulseAudio, Server

RATE_HZ = 48_000
PLAYER_MS = 20
CHUNK_FRAMES = 480
EVERY_S = 1.037
BURST_S = 0.15
HEARD = 0.05
LIMIT_MS = 250.0
CALLBACK_LIMIT_PCT = 1.0
PERIOD_ASKED = 4096


class Delays:
    """Takes soundings, and notes when a burst was first told of."""

    def __init__(self) -> None:
        self.given_s: list[float] = []
        self.found_ms: list[float] = []
        self._is_quiet = True

    def take(self, rows) -> None:
        for peak in rows["true_peak"].max(axis=1):
            if peak < HEARD:
                self._is_quiet = True
            elif self._is_quiet and self.given_s:
                self._is_quiet = False
                self.found_ms.append((time.perf_counter() - self.given_s[-1]) * 1000.0)


def play(server: PulseAudio, delays: Delays, seconds: float) -> None:
    """Hand silence and bursts to a player in real time."""
    command = ["pacat", "--raw", "--format=float32le", f"--rate={RATE_HZ}", "--channels=2", "--device=out"]
    command.append(f"--latency-msec={PLAYER_MS}")
    player = subprocess.Popen(command, env=server.env, stdin=subprocess.PIPE)
    noise = np.random.default_rng(1).uniform(-0.3, 0.3, (CHUNK_FRAMES, 2)).astype(np.float32).tobytes()
    silence = bytes(len(noise))
    chunk_s = CHUNK_FRAMES / RATE_HZ
    began_s, at, next_s = time.perf_counter(), 0, 2.0
    try:
        while at * chunk_s < seconds:
            now_s = at * chunk_s
            is_burst = next_s <= now_s < next_s + BURST_S
            if is_burst and now_s - next_s < chunk_s:
                delays.given_s.append(time.perf_counter())
            if now_s >= next_s + BURST_S:
                next_s += EVERY_S
            player.stdin.write(noise if is_burst else silence)
            player.stdin.flush()
            at += 1
            time.sleep(max(0.0, began_s + at * chunk_s - time.perf_counter()))
    finally:
        player.stdin.close()
        player.wait()


def pulse(seconds: float) -> int:
    """System output through PulseAudio."""
    with PulseAudio() as server:
        use(server)
        delays = Delays()
        engine = Engine(open_source("system"), on_soundings=lambda rows, *_: delays.take(rows))
        engine.start()
        until_open(engine)
        before = threads_cpu_s()
        began_s = time.perf_counter()
        play(server, delays, seconds)
        spent_s, lasted_s = threads_cpu_s(), time.perf_counter() - began_s
        engine.stop()
    missed = 0
    median, worst = statistics.median(delays.found_ms), max(delays.found_ms)
    missed += line(
        "sound to sounding, PulseAudio",
        f"{median:.0f} ms median, {worst:.0f} ms worst of {len(delays.found_ms)} "
        f"({PLAYER_MS} ms asked of the player, up to 100 ms of the sounding)",
        worst <= LIMIT_MS,
    )
    for name in sorted(set(before) & set(spent_s)):
        share_pct = (spent_s[name] - before[name]) / lasted_s * 100.0
        if name != "MainThread":  # that one plays
            is_kept = name != "leadline-capture" or share_pct <= CALLBACK_LIMIT_PCT
            missed += line(f"thread {name!r}", f"{share_pct:.2f} % of one core", is_kept)
    return missed


def jack(seconds: float) -> int:
    """PortAudio's callback in the process that hears JACK."""
    missed = 0
    for period in (1024, 4096):
        with tempfile.TemporaryDirectory() as folder, Jack(period_frames=period) as server:
            use(server)
            path = Path(folder) / "noise.wav"
            noise = np.random.default_rng(2).uniform(-0.3, 0.3, (round((seconds + 10) * RATE_HZ), 2))
            soundfile.write(path, noise.astype(np.float32), RATE_HZ, subtype="FLOAT")
            player = server.player(path)
            source = open_source("device:PortAudio")
            engine = Engine(source)
            engine.start()
            until_open(engine)
            player.stdin.close()
            time.sleep(2.0)
            (child,) = [pid for pid in children() if b"jack_child" in command_of(pid)]
            before, began_s = process_cpu_s(child), time.perf_counter()
            time.sleep(seconds)
            share_pct = (process_cpu_s(child) - before) / (time.perf_counter() - began_s) * 100.0
            engine.stop()
        missed += line(
            f"JACK, period {period}: the process of the callback",
            f"{share_pct:.2f} % of one core, with handing the blocks on",
            share_pct <= CALLBACK_LIMIT_PCT or period < PERIOD_ASKED,
        )
    return missed


def use(server: Server) -> None:
    """Let what this process opens find that server."""
    os.environ.update({key: value for key, value in server.env.items() if os.environ.get(key) != value})


def until_open(engine: Engine) -> None:
    """Wait until the source runs."""
    until_s = time.monotonic() + 15.0
    while engine.now.state.status is not SourceStatus.RUNNING:
        assert time.monotonic() < until_s, engine.now.state
        time.sleep(0.02)


def threads_cpu_s() -> dict[str, float]:
    """Processor time of each thread of this process, by name."""
    return {
        one.name: time.clock_gettime(time.pthread_getcpuclockid(one.ident))
        for one in threading.enumerate()
        if one.ident is not None
    }


def process_cpu_s(pid: int) -> float:
    """Processor time of another process."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def children() -> list[int]:
    """Processes that this one has started."""
    lists = [path.read_text() for path in Path("/proc/self/task").glob("*/children")]
    return [int(pid) for own in lists for pid in own.split()]


def command_of(pid: int) -> bytes:
    """How a process was started."""
    return Path(f"/proc/{pid}/cmdline").read_bytes()


def line(name: str, figure: str, is_kept: bool) -> int:
    """Print one figure; 1 when it misses."""
    print(f"{name:<46} {figure}{'' if is_kept else '  MISSED'}")
    return 0 if is_kept else 1


def main() -> int:
    """Print the figures; 1 when one misses its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0, help="how long to listen to each")
    args = parser.parse_args()
    print(f"load before the run: {os.getloadavg()[0]:.2f}")
    return 1 if pulse(args.seconds) + jack(args.seconds) else 0


if __name__ == "__main__":
    sys.exit(main())
