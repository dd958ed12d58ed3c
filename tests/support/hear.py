"""A program that listens to one source and writes down all that came; `hearing.py` starts it.

``python hear.py SPEC FILE [A,B] [busy]``: says each new state as one JSON line, and when its standard
input ends, stops the source and writes the frames and the gaps to FILE. When it is to be busy,
other threads of it hold the interpreter for 50 ms at a time, or never rest.
"""

from __future__ import annotations

import ctypes
import json
import os
import sys
import threading
import time
from dataclasses import asdict
from typing import Any

import numpy as np

from meter.capture.open import open_source
from meter.errors import MeterError

POLL_S = 0.02


def say(made: dict[str, Any]) -> None:
    print(json.dumps(made), flush=True)


def main() -> None:
    spec, path = sys.argv[1:3]
    pair = next((tuple(map(int, one.split(","))) for one in sys.argv[3:] if "," in one), None)
    if "busy" in sys.argv[3:]:
        for work in (hold_the_interpreter, never_rest):
            threading.Thread(target=work, daemon=True).start()
    try:
        source = open_source(spec, channels=pair)
        source.start()
    except MeterError as error:
        say({"error": str(error)})
        return
    is_over = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), is_over.set()), daemon=True).start()
    parts: list[list[np.ndarray]] = []
    gaps: list[tuple[int, int, int]] = []  # epoch, frames before it, frames lost
    ring = reader = said = None
    while True:
        over = is_over.is_set()
        if over:
            source.stop()
        state = source.state()
        if state != said:
            made = asdict(state) | {"status": state.status.value, "at_s": time.monotonic()}
            kept_bytes = sum(part.nbytes for one in parts for part in one)
            say(
                made
                | {
                    "open_files": len(os.listdir("/proc/self/fd")),
                    "threads": threading.active_count(),
                    "memory_mb": (resident_bytes() - kept_bytes) / 1e6,
                }
            )
            said = state
        for new in (False, True):  # the old ring is read empty first
            if new or ring is None:
                if source.ring is ring:
                    break
                ring = source.ring
                reader = ring.reader(from_now=False)
                parts.append([])
            while True:
                chunk = reader.read(ring.rate_hz)
                if chunk.lost_before:
                    gaps.append((len(parts) - 1, sum(map(len, parts[-1])), chunk.lost_before))
                if len(chunk.frames):
                    parts[-1].append(chunk.frames)
                elif not chunk.lost_before:
                    break
        if over:
            break
        time.sleep(POLL_S)
    np.savez(
        path,
        gaps=np.array(gaps, np.int64).reshape(-1, 3),
        **{f"heard_{k}": joined(p) for k, p in enumerate(parts)},
    )


def hold_the_interpreter() -> None:
    c = ctypes.PyDLL(None)  # unlike CDLL it keeps the interpreter's lock for the time of a call
    while True:
        c.usleep(50_000)
        time.sleep(0.01)


def never_rest() -> None:
    while True:
        sum(range(1000))


def resident_bytes() -> int:
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def joined(parts: list[np.ndarray]) -> np.ndarray:
    return np.concatenate(parts) if parts else np.zeros((0, 2), np.float32)


if __name__ == "__main__":
    main()
