"""Sound servers of a test's own, with no sound card and no desktop: PulseAudio, PipeWire, JACK.

Each lives in a folder of its own, under /tmp because the path of a socket may not be long, and
dies with the process that started it. Nothing of the user's own server is touched: what speaks
with a server finds it through `env`.

``norewinds=1`` lets the monitor of a null sink begin at once instead of 1 to 2 s late, and
``format=float32le`` keeps every sample as it is (the default has 16 bits).
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Self

READY_WITHIN_S: Final = 20.0

QUIET: Final = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}


class Server:
    """What the servers share: a folder, an environment, processes that end with the test."""

    first: tuple[str, ...] = ()
    """What every command is started through."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="ll", dir="/tmp"))
        self.folder.chmod(0o700)
        self._processes: list[subprocess.Popen[bytes]] = []
        self._players: list[subprocess.Popen[bytes]] = []
        own = {
            "HOME": str(self.folder),
            "XDG_RUNTIME_DIR": str(self.folder),
            "XDG_CONFIG_HOME": str(self.folder / "config"),
            "XDG_STATE_HOME": str(self.folder / "state"),
            "PULSE_SERVER": f"unix:{self.folder}/pulse/native",
            "PULSE_COOKIE": str(self.folder / "cookie"),
            "DBUS_SESSION_BUS_ADDRESS": f"unix:path={self.folder}/bus",
        }
        self.env = os.environ | own

    def start(self) -> None:
        """Start it and wait until it answers."""
        raise NotImplementedError

    def kill(self) -> None:
        """End it without a farewell."""
        for process in reversed(self._processes):
            process.kill()
            process.wait()
        self._processes = []

    def freeze(self) -> None:
        """Let it stand still."""
        for process in self._processes:
            process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        for process in reversed(self._processes):
            process.send_signal(signal.SIGCONT)

    def __enter__(self) -> Self:
        try:
            self.start()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *error: Any) -> None:
        for player in self._players:
            player.kill()
            player.wait()
            for pipe in (player.stdin, player.stdout):
                if pipe is not None:
                    pipe.close()
        self.kill()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _spawn(self, *command: str) -> None:
        # A server must not outlive its test, whatever ends the test.
        bound = ["setpriv", "--pdeathsig", "KILL", *self.first, *command]
        self._processes.append(subprocess.Popen(bound, env=self.env, **QUIET))

    def _wait_for(self, is_there: Callable[[], bool], what: str) -> None:
        until_s = time.monotonic() + READY_WITHIN_S
        while not is_there():
            ended = [process for process in self._processes if process.poll() is not None]
            assert not ended, f"{ended[0].args} ended with {ended[0].returncode} while starting"
            assert time.monotonic() < until_s, f"{what} was not there within {READY_WITHIN_S:g} s"
            time.sleep(0.02)


class SpeaksPulse(Server):
    """A server that pactl and paplay speak with."""

    def pactl(self, *arguments: str) -> str:
        """What pactl prints."""
        done = subprocess.run(["pactl", *arguments], env=self.env, capture_output=True, text=True)
        assert done.returncode == 0, f"pactl {' '.join(arguments)}: {done.stderr}"
        return done.stdout.strip()

    def answers(self) -> bool:
        """Whether it answers."""
        return self.can("info")

    def can(self, *arguments: str) -> bool:
        """Whether pactl does this."""
        return subprocess.run(["pactl", *arguments], env=self.env, **QUIET).returncode == 0

    def add_sink(
        self,
        name: str,
        *,
        rate_hz: int = 48_000,
        channels: int = 2,
        positions: str = "",
        properties: str = "",
    ) -> str:
        """A new null sink; the number of its module."""
        places = [f"channel_map={positions}"] if positions else []
        return self.pactl(
            "load-module",
            "module-null-sink",
            f"sink_name={name}",
            f"sink_properties='device.description={name} {properties}'",
            "format=float32le",
            f"rate={rate_hz}",
            f"channels={channels}",
            *places,
            *self.sink_extras,
        )

    sink_extras: tuple[str, ...] = ()

    def add_first_sink(self, rate_hz: int = 48_000) -> None:
        """The null sink "out"."""
        self._first_sink = self.add_sink("out", rate_hz=rate_hz)

    def remove_first_sink(self) -> None:
        """Take it away."""
        self.pactl("unload-module", self._first_sink)

    def sources_heard(self) -> list[str]:
        """The sources that some program records."""
        names = dict(line.split("\t")[:2] for line in self.pactl("list", "short", "sources").splitlines())
        outputs = self.pactl("list", "short", "source-outputs").splitlines()
        return sorted(names[line.split("\t")[1]] for line in outputs)

    def play(self, path: Path, *, sink: str, positions: str = "") -> subprocess.Popen[bytes]:
        """Let another program play a file into a sink; it ends with the server."""
        places = [f"--channel-map={positions}"] if positions else []
        command = ["paplay", f"--device={sink}", "--latency-msec=1500", *places, str(path)]
        bound = ["setpriv", "--pdeathsig", "KILL", *self.first, *command]
        self._players.append(subprocess.Popen(bound, env=self.env, **QUIET))
        return self._players[-1]


class PulseAudio(SpeaksPulse):
    """A PulseAudio of its own with the null sink "out"."""

    sink_extras = ("norewinds=1",)

    def start(self) -> None:
        (self.folder / "pulse").mkdir(exist_ok=True)
        self._spawn(
            *("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"),
            *("--disallow-exit", "--realtime=no", "--high-priority=no"),
            *("-L", "module-native-protocol-unix auth-anonymous=1"),
        )
        self._wait_for(self.answers, "PulseAudio")
        self.add_first_sink()


class PipeWire(SpeaksPulse):
    """A PipeWire of its own, with session manager and message bus, with the null sink "out"."""

    def start(self) -> None:
        bus = self.env["DBUS_SESSION_BUS_ADDRESS"]
        with contextlib.suppress(FileNotFoundError):
            (self.folder / "bus").unlink()
        self._spawn("dbus-daemon", "--session", "--nofork", "--nopidfile", f"--address={bus}")
        self._wait_for((self.folder / "bus").exists, "the message bus")
        self._spawn("pipewire")
        self._wait_for((self.folder / "pipewire-0").exists, "PipeWire")
        self._spawn("wireplumber")
        self._spawn("pipewire-pulse")
        self._wait_for(self.answers, "pipewire-pulse")
        self.add_first_sink()
        # The session manager takes a moment longer than the server to know of defaults.
        self._wait_for(lambda: self.can("set-default-sink", "out"), "the null sink")


class Jack(Server):
    """A JACK server of its own without a sound card.

    JACK waits for nobody: who is late by a period has lost it. Its programs have real-time rights as a
    rule; here they go before others as far as they may.

    Parameters
    ----------
    period_frames : int
        What it hands over at once.
    """

    first = ("nice", "-n", "-15") if os.geteuid() == 0 else ()

    def __init__(self, *, period_frames: int = 4096, rate_hz: int = 48_000) -> None:
        super().__init__()
        self.period_frames, self.rate_hz = period_frames, rate_hz
        self.name = self.folder.name
        self.env |= {
            "JACK_DEFAULT_SERVER": self.name,
            "JACK_NO_START_SERVER": "1",
            "JACK_NO_AUDIO_RESERVATION": "1",
        }

    def start(self) -> None:
        rate, period = str(self.rate_hz), str(self.period_frames)
        command = ("jackd", "--name", self.name, "--no-realtime", "-d", "dummy", "-r", rate, "-p", period)
        self._spawn(*command)
        self._wait_for(self.answers, "JACK")

    def __exit__(self, *error: Any) -> None:
        # JACK knows of 8 servers at most, and one that was killed counts until its name comes again.
        for process in self._processes:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(READY_WITHIN_S)
        super().__exit__(*error)

    def answers(self) -> bool:
        """Whether it answers."""
        return subprocess.run(["jack_lsp"], env=self.env, **QUIET).returncode == 0

    def player(self, path: Path) -> subprocess.Popen[bytes]:
        """Another program that will play a file when its standard input is closed; it is an input already."""
        program = Path(__file__).with_name("jack_player.py")
        player = subprocess.Popen(
            ["setpriv", "--pdeathsig", "KILL", *self.first, sys.executable, str(program), str(path)],
            env=self.env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._players.append(player)
        assert player.stdout is not None
        assert player.stdout.readline() == b"playing\n"
        return player
