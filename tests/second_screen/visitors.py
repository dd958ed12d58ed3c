"""Who looks at the page, without a browser: a socket, and what comes through it."""

from __future__ import annotations

import json
import socket
import time
from contextlib import suppress

WAIT_S = 30.0
MOST_BYTES = 200_000  # of an answer; a stream of events would come to them soon


def wait_until(is_true, what):
    """A wait that never ends is a failure."""
    until_s = time.monotonic() + WAIT_S
    while not is_true():
        assert time.monotonic() < until_s, f"never: {what}"
        time.sleep(0.005)


class Visitor:
    """One connection.

    Parameters
    ----------
    port : int
    receive_bytes : int, optional
        What the system may keep for one who does not read.
    """

    def __init__(self, port, *, receive_bytes=None):
        self._socket = socket.socket()
        if receive_bytes is not None:
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_bytes)
        self._socket.settimeout(WAIT_S)
        try:
            self._socket.connect(("127.0.0.1", port))
        except OSError:
            self._socket.close()
            raise
        self._rest = b""

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._socket.close()

    def send(self, raw):
        self._socket.sendall(raw)
        return self

    def ask(self, path, *, host, method="GET", **headers):
        """Send a request."""
        lines = [f"{method} {path} HTTP/1.1", f"Host: {host}"]
        lines += [f"{name.replace('_', '-')}: {value}" for name, value in headers.items()]
        return self.send(("\r\n".join(lines) + "\r\n\r\n").encode())

    def _until(self, end):
        while end not in self._rest:
            piece = self._socket.recv(65_536)
            if not piece:
                raise EOFError(self._rest)
            self._rest += piece
        found, _, self._rest = self._rest.partition(end)
        return found

    def head(self):
        """Status, and headers by name."""
        first, *lines = self._until(b"\r\n\r\n").decode("ascii").split("\r\n")
        pairs = (line.split(": ", 1) for line in lines)
        return int(first.split(" ")[1]), dict(pairs)

    def body(self):
        """All that follows, until the connection ends."""
        while piece := self._socket.recv(65_536):
            self._rest += piece
            assert len(self._rest) < MOST_BYTES, "this never ends"
        return self._rest

    def drain(self):
        """Read until the connection ends, in whatever way."""
        with suppress(ConnectionError):
            self.body()

    def event(self):
        """The next event."""
        return json.loads(self._until(b"\n\n").removeprefix(b"data: "))
