"""A real browser without a window, driven through a pipe: Debian's chromium and its own protocol.

Source: Chrome DevTools Protocol, over `--remote-debugging-pipe`: messages end with a zero byte.
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from typing import Any

WAIT_S = 30.0


def _pipe():
    """Both ends, with numbers that are nobody else's in the browser."""
    low = os.pipe()
    high = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in low)
    for end in low:
        os.close(end)
    return high


class Browser:
    """One page of a browser; use it in a `with` statement.

    Parameters
    ----------
    width, height : int
        Of the page, in CSS pixels.
    """

    def __init__(self, *, width=390, height=844, scale=2.0):
        self._profile = tempfile.mkdtemp(prefix="browser")
        to_read, self._write = _pipe()
        self._read, to_write = _pipe()
        command = [
            *("chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe"),
            *("--no-first-run", "--disable-background-networking", "--disable-dev-shm-usage"),
            f"--user-data-dir={self._profile}",
            "about:blank",
        ]
        # The browser reads from descriptor 3 and writes to 4.
        move = f"import os, sys; os.dup2({to_read}, 3); os.dup2({to_write}, 4); "
        move += "os.execvp(sys.argv[1], sys.argv[1:])"
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-S", "-c", move, *command],
            pass_fds=(to_read, to_write),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        os.close(to_read)
        os.close(to_write)
        self._count, self._rest, self._session = 0, b"", None
        self.events: list[dict[str, Any]] = []
        targets = self.call("Target.getTargets")["targetInfos"]
        (page,) = [one for one in targets if one["type"] == "page"]
        attached = self.call("Target.attachToTarget", targetId=page["targetId"], flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")
        self.resize(width, height, scale=scale)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        with suppress(OSError, AssertionError):
            self._session = None
            self.call("Browser.close")
        try:
            self._process.wait(10.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._read)
        os.close(self._write)
        shutil.rmtree(self._profile, ignore_errors=True)

    def call(self, method, **parameters):
        """One call of the protocol, and its result."""
        self._count += 1
        message = {"id": self._count, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            come = self._next()
            if come.get("id") == self._count:
                assert "error" not in come, f"{method}: {come['error']}"
                return come["result"]
            self.events.append(come)

    def _next(self):
        while b"\0" not in self._rest:
            piece = os.read(self._read, 65_536)
            assert piece, "the browser has ended"
            self._rest += piece
        one, _, self._rest = self._rest.partition(b"\0")
        return json.loads(one)

    def resize(self, width, height, *, scale=2.0):
        """Another size of the page."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=scale,
            mobile=True,
        )

    def open(self, url):
        """Go to an address."""
        self.call("Page.navigate", url=url)

    def ask(self, expression):
        """The value of an expression in the page."""
        made = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in made, made["exceptionDetails"]
        return made["result"].get("value")

    def wait_for(self, expression):
        """Until an expression is true; a wait that never ends is a failure."""
        until_s = time.monotonic() + WAIT_S
        while not (found := self.ask(expression)):
            assert time.monotonic() < until_s, f"never true: {expression}; the page: {self.text()}"
            time.sleep(0.05)
        return found

    def text(self):
        """All that can be read on the page."""
        return self.ask("document.body.innerText")

    def complaints(self):
        """What the browser wrote into its console: errors and refused policies."""
        self.ask("0")  # so that all of them are here
        return [
            one["params"]
            for one in self.events
            if one["method"] in ("Runtime.exceptionThrown",)
            or (one["method"] == "Log.entryAdded" and one["params"]["entry"]["level"] == "error")
        ]

    def picture(self, path):
        """Write what is seen as PNG."""
        made = self.call("Page.captureScreenshot", format="png")
        with open(path, "wb") as file:
            file.write(base64.b64decode(made["data"]))
