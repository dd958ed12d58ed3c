"""JACK, where its server runs: every program that plays into it is an input of its own.

It is heard by a process of its own (`meter.capture.jack_child`), for three reasons that were
measured: PortAudio hangs when it closes a stream of a JACK server that died, and aborts the whole
program when it is ended after that; JACK keeps nothing for a program that is late, so that
another thread that holds the interpreter for 50 ms loses most of the sound; and PortAudio lists
only what was there when it started.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

import numpy as np

from meter.capture.abandon import within
from meter.capture.backend import OnBlock
from meter.capture.jack_child import FAREWELL_S, HEADER
from meter.capture.layout import channels_to_take
from meter.capture.opening import CLOSE_WITHIN_S, hangs
from meter.capture.records import SourceInfo
from meter.errors import SourceError

ANSWER_WITHIN_S: Final = 4.0
"""Starting an interpreter and PortAudio takes 0.4 s, more on a machine that is busy."""

SEMAPHORES: Final = Path("/dev/shm")


@dataclass(frozen=True, slots=True, kw_only=True)
class JackInput:
    """What plays into JACK: a program, or the capture side of the hardware ("system")."""

    name: str
    channels: int
    rate_hz: int


def may_run() -> bool:
    """Whether a JACK server of this user may run; costs nothing, unlike asking for it."""
    server = os.environ.get("JACK_DEFAULT_SERVER", "default")
    return any(SEMAPHORES.glob(f"jack_sem.{os.getuid()}_{server}_*")) if hasattr(os, "getuid") else False


def inputs() -> tuple[JackInput, ...]:
    """All that can be heard now; none when JACK does not run or does not answer."""
    if not may_run():
        return ()
    command, environment = _command("list")
    try:
        done = subprocess.run(
            command,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=ANSWER_WITHIN_S,
        )
        devices = json.loads(done.stdout)["devices"]
    except (OSError, subprocess.TimeoutExpired, ValueError, KeyError):
        return ()
    return tuple(
        JackInput(name=one["name"], channels=one["channels"], rate_hz=round(one["rate_hz"]))
        for one in devices
    )


class JackBackend:
    """One input of JACK; a `meter.capture.backend.Backend`.

    Parameters
    ----------
    spec : str
        How the user writes it.
    name : str
        JACK's name of it.
    channels : int
        How many it has.
    pair : tuple of two int, optional
        The channels to be heard, counted from 1.
    """

    def __init__(self, spec: str, name: str, channels: int, pair: tuple[int, int] | None = None) -> None:
        self.spec, self._name = spec, name
        self._take = channels_to_take(name, channels, pair)
        self._child: _Child | None = None

    def open(self) -> SourceInfo:
        """See `Backend`."""
        self.close()
        self._child = _Child(self._name, self._take)
        try:
            rate_hz = within(ANSWER_WITHIN_S, self._child.rate_hz)
        except ConnectionError as error:
            self.close()
            raise SourceError(
                f"{self._name} (JACK) is not there; start it again, and JACK if that ended too"
            ) from error
        except Exception as error:
            self.close()
            raise hangs(f"{self._name} (JACK)") from error
        return SourceInfo(
            spec=self.spec, name=f"{self._name} (JACK)", rate_hz=rate_hz, channels=len(self._take)
        )

    def start(self, on_block: OnBlock) -> None:
        """See `Backend`."""
        if self._child is None:
            raise AssertionError("open comes before start")
        self._child.start(on_block)

    def close(self) -> None:
        """See `Backend`."""
        child, self._child = self._child, None
        if child is not None:
            child.close()

    def is_alive(self) -> bool:
        """See `Backend`. A JACK that died is told by the blocks that do not come."""
        child = self._child
        return child is not None and child.is_alive()

    def look(self) -> None:
        """See `Backend`: JACK tells nothing that would matter."""
        return


class _Child:
    def __init__(self, name: str, take: tuple[int, ...]) -> None:
        self._take, self._channels = take, max(take) + 1
        self._on_block: OnBlock | None = None
        self._has_ended = False
        command, environment = _command("hear", name, str(self._channels))
        self._process = subprocess.Popen(
            command,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._thread: threading.Thread | None = None

    def rate_hz(self) -> int:
        """Wait until it hears; `ConnectionError` when it cannot."""
        said = json.loads(self._pipe.readline() or b"{}")
        if "rate_hz" not in said:
            raise ConnectionError(said.get("error", "it ended"))
        return int(said["rate_hz"])

    def start(self, on_block: OnBlock) -> None:
        self._on_block = on_block
        self._thread = threading.Thread(target=self._run, name="leadline-capture", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._on_block = None
        if self._process.stdin is not None:
            with contextlib.suppress(OSError):
                self._process.stdin.close()
        try:
            self._process.wait(FAREWELL_S + 0.3)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(CLOSE_WITHIN_S)
        if self._thread is not None:
            self._thread.join(CLOSE_WITHIN_S / 2.0)
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()

    def is_alive(self) -> bool:
        return not self._has_ended

    @property
    def _pipe(self) -> IO[bytes]:
        assert self._process.stdout is not None
        return self._process.stdout

    def _run(self) -> None:
        while block := self._block():
            on_block = self._on_block
            if on_block is not None:  # else it is read all the same: the child must not wait for us
                on_block(*block)
        self._has_ended = True

    def _block(self) -> tuple[np.ndarray[Any, np.dtype[np.float32]], float] | None:
        header = self._pipe.read(HEADER.size)
        if len(header) < HEADER.size:
            return None
        count, captured_s = HEADER.unpack(header)
        data = self._pipe.read(count * self._channels * 4)
        if len(data) < count * self._channels * 4:
            return None
        frames = np.frombuffer(data, np.float32).reshape(count, self._channels)
        return (frames if self._take == tuple(range(self._channels)) else frames[:, self._take]), captured_s


def _command(*arguments: str) -> tuple[list[str], dict[str, str]]:
    """The child, and an environment in which it finds the same code."""
    root = str(Path(__file__).resolve().parents[2])
    path = os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH"))))
    return [sys.executable, "-m", "meter.capture.jack_child", *arguments], os.environ | {"PYTHONPATH": path}
