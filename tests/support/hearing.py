"""Listening to a source from a process of its own, so that it can be stopped, and signals to count by."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, Self

import numpy as np
import soundfile

from tests.support.sound_server import Server

ROOT: Final = Path(__file__).resolve().parents[2]
WITHIN_S: Final = 30.0
"""A limit for what must happen at all, not for how quickly."""

STEPS: Final = 1 << 16


class Hearing:
    """A program that listens to `spec` on a server.

    Attributes
    ----------
    states : list of dict
        Each state that the source had, as `SourceState`, with the time at which it was seen.
    heard : list of array
        The frames, one array for each rate; after `stop`.
    gaps : array, shape (n, 3)
        Place in `heard`, frames before the gap, frames lost; after `stop`.
    """

    def __init__(self, server: Server, spec: str = "system", *extra: str) -> None:
        self.states: list[dict[str, Any]] = []
        self.heard: list[np.ndarray] = []
        self._file = Path(tempfile.mkdtemp(prefix="heard", dir=server.folder)) / "heard.npz"
        self._changed = threading.Condition()
        self.process = subprocess.Popen(
            [
                *server.first,
                sys.executable,
                str(ROOT / "tests/support/hear.py"),
                spec,
                str(self._file),
                *extra,
            ],
            # Freed rings go back at once, or what is kept here settles where they were: 10 MB in 50 rings.
            env=server.env | {"PYTHONPATH": str(ROOT), "MALLOC_MMAP_THRESHOLD_": "131072"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._changed:
                self.states.append(json.loads(line))
                self._changed.notify_all()
        with self._changed:
            self._changed.notify_all()

    def wait(self, is_there: Callable[[dict[str, Any]], bool], *, since: int = 0) -> int:
        """Wait for such a state; how many states there were with it (for `since`)."""
        until_s = time.monotonic() + WITHIN_S
        with self._changed:
            while True:
                for place in range(since, len(self.states)):
                    if is_there(self.states[place]):
                        return place + 1
                left_s = until_s - time.monotonic()
                ended = self.process.poll() is not None and not self._reader.is_alive()
                assert left_s > 0.0 and not ended, f"never came; ended: {ended}; last: {self.states[-3:]}"
                self._changed.wait(min(left_s, 0.2))

    def wait_running(self, since: int = 0, **wanted: Any) -> int:
        """Wait until it runs, with these values in its state or its info."""
        return self.wait(
            lambda state: (
                state.get("status") == "running"
                and all((state | state["info"])[name] == value for name, value in wanted.items())
            ),
            since=since,
        )

    def stall(self, seconds: float) -> None:
        """Let the whole program stand still."""
        self.process.send_signal(signal.SIGSTOP)
        time.sleep(seconds)
        self.process.send_signal(signal.SIGCONT)

    def stop(self) -> None:
        """End it, and take what it wrote; fails with what it printed as an error, or when it does not end."""
        assert self.process.stdin is not None and self.process.stderr is not None
        never = threading.Timer(WITHIN_S, self.process.kill)
        never.start()
        self.process.stdin.close()
        errors = self.process.stderr.read()
        self.process.wait()
        never.cancel()
        self._reader.join()
        assert self.process.returncode == 0 and not errors, errors
        with np.load(self._file) as file:
            self.gaps = file["gaps"]
            self.heard = [file[f"heard_{place}"] for place in range(len(file.files) - 1)]

    @property
    def lost_frames(self) -> int:
        """All frames that it says were lost."""
        return int(self.gaps[:, 2].sum())

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
            if pipe is not None and not pipe.closed:
                pipe.close()


def counter(frames: int, channels: int = 2) -> np.ndarray:
    """Frames that carry their own number, every one exact in float32; at most 2**32 of them.

    The first channel holds the number's low 16 bits, the second its high ones and never 0: silence
    is told from the signal. More channels hold the number of the channel.
    """
    number = np.arange(frames)
    made = np.empty((frames, channels), np.float32)
    made[:, 0] = (number % STEPS) / (2.0 * STEPS)
    made[:, 1] = (number // STEPS + 1) / (2.0 * STEPS)
    for channel in range(2, channels):
        made[:, channel] = channel / 64.0
    return made


def numbers(heard: np.ndarray) -> np.ndarray:
    """The number of each frame of `counter`, without the silence around it; fails at anything else."""
    low, high = heard[:, 0].astype(np.float64) * 2.0 * STEPS, heard[:, 1].astype(np.float64) * 2.0 * STEPS
    low, high = low[high > 0.0], high[high > 0.0]
    assert np.array_equal(low, np.rint(low)) and np.array_equal(high, np.rint(high)), "not bit-exact"
    return (low + STEPS * (high - 1.0)).astype(np.int64)


def write_float(path: Path, samples: np.ndarray, rate_hz: int) -> Path:
    """A WAV file of float32."""
    soundfile.write(path, samples, rate_hz, subtype="FLOAT")
    return path


def command(arguments: list[str], env: Mapping[str, str]) -> subprocess.Popen[str]:
    """A command of ours, running."""
    return subprocess.Popen(
        [sys.executable, "-m", "meter", *arguments],
        cwd=ROOT,
        env={**env, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
