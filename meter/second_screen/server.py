"""The server of the second screen: one thread, at most 50 who look, and nobody who can hold up another.

It takes what the engine has published, four times a second, and never calls the engine. For each who looks
only the newest is kept until it has been sent; who does not take it for 5 s is let go.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from typing import Final

from meter.now import Now
from meter.second_screen import answer
from meter.second_screen.address import Address, such_as_host
from meter.second_screen.key import is_right, new_key
from meter.second_screen.page_now import PageNow, ended_event, event
from meter.second_screen.request import MOST_HEAD_BYTES, RefusedError, Request, read_request

LOG: Final = logging.getLogger("meter.second_screen")

MOST_CLIENTS: Final = 50
"""Who look at once."""

MOST_CONNECTIONS: Final = 2 * MOST_CLIENTS
"""With those who have not asked for anything yet; who comes then is let go at once."""

EVERY_S: Final = 0.25
"""As often as the text meter is redrawn."""

SEND_S: Final = 5.0
"""Who has not taken what was sent after so long is let go."""

SEND_BUFFER_BYTES: Final = 16_384
"""What the system keeps for one who is slow: some ten seconds, not minutes."""

STOP_S: Final = 1.0
"""So long the last word to everybody may take."""

START_S: Final = 10.0

LINGER_BYTES: Final = 1_000_000
"""What is thrown away of a refused request, so that the refusal arrives before the connection ends."""


class _Client:
    """Who looks. Holds the newest event until it can be sent."""

    def __init__(self) -> None:
        self._newest = b""
        self._is_there = asyncio.Event()
        self._is_last = False

    def offer(self, newest: bytes, *, is_last: bool = False) -> None:
        """Replace what has not been sent yet."""
        self._newest, self._is_last = newest, is_last
        self._is_there.set()

    async def feed(self, writer: asyncio.StreamWriter) -> None:
        """Send the newest again and again; `TimeoutError` when the other end does not take it."""
        while True:
            await self._is_there.wait()
            self._is_there.clear()
            is_last = self._is_last
            writer.write(self._newest)
            async with asyncio.timeout(SEND_S):
                await writer.drain()
            if is_last:
                return


class SecondScreen:
    """Serves the page until it is stopped.

    Parameters
    ----------
    address : Address
        Bound; its socket is closed by `stop`.
    look : callable
        Gives what is known now; called from the server's thread.
    on_problem : callable
        Gets one sentence when the page cannot be served any more.

    Attributes
    ----------
    key : str
        Of this run.
    """

    def __init__(
        self, *, address: Address, look: Callable[[], Now], on_problem: Callable[[str], None]
    ) -> None:
        self.key = new_key()
        self._address, self._look, self._on_problem = address, look, on_problem
        self._page = PageNow()
        self._pages = answer.load_pages()
        self._clients: set[_Client] = set()
        self._connections: set[asyncio.Task[None]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._must_stop: asyncio.Event
        self._is_ready = threading.Event()
        self._thread = threading.Thread(target=self._run, name="leadline second screen", daemon=True)

    @property
    def url(self) -> str:
        """What to open."""
        return self._address.url(self.key)

    @property
    def announcement(self) -> str:
        """Where it is, and what to know of it."""
        reach = (
            f"only this machine reaches it; for a phone in the same network add {such_as_host()}"
            if self._address.is_loopback
            else "who is in this network and has the whole address can look, and change nothing"
        )
        crypt = "not encrypted: who listens in on the network can read it"
        return f"second screen: {self.url}\n  {crypt}\n  {reach}"

    @property
    def clients(self) -> int:
        """How many look."""
        return len(self._clients)

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()
        self._is_ready.wait(START_S)

    def stop(self) -> None:
        """Tell all who look that it is over, and close. Waits some seconds at most; safe to call again."""
        if self._loop is not None:
            with suppress(RuntimeError):  # it has ended by itself
                self._loop.call_soon_threadsafe(self._must_stop.set)
            self._thread.join(SEND_S)
        self._address.socket.close()

    # --- its thread

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception:
            LOG.exception("the second screen broke off")
            self._on_problem("the second screen has stopped by a mistake in the program; measuring goes on")
        finally:
            self._is_ready.set()

    async def _serve(self) -> None:
        self._must_stop = asyncio.Event()
        server = await asyncio.start_server(self._meet, sock=self._address.socket, limit=MOST_HEAD_BYTES)
        self._loop = asyncio.get_running_loop()
        self._is_ready.set()
        try:
            await self._tell_until_stopped()
        finally:
            server.close()
        for client in self._clients:
            client.offer(ended_event(), is_last=True)
        if self._connections:
            await asyncio.wait(self._connections, timeout=STOP_S)  # `asyncio.run` cancels the others

    async def _tell_until_stopped(self) -> None:
        while not self._must_stop.is_set():
            newest = event(self._page.look(self._look()))
            for client in self._clients:
                client.offer(newest)
            with suppress(TimeoutError):
                async with asyncio.timeout(EVERY_S):
                    await self._must_stop.wait()

    async def _meet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if len(self._connections) >= MOST_CONNECTIONS:
            writer.transport.abort()
            return
        task = asyncio.current_task()
        assert task is not None, "a connection has a task"
        self._connections.add(task)
        try:
            await self._answer(reader, writer)
        except (OSError, EOFError, asyncio.CancelledError):
            pass  # gone, too slow (TimeoutError is an OSError), or the run is over
        finally:
            writer.transport.abort()  # what was to be sent has been taken by now, or never will be
            self._connections.discard(task)

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        writer.transport.set_write_buffer_limits(high=0)  # then `drain` waits until all has been taken
        is_head = False
        try:
            request = await read_request(reader)
            is_head = request.method == "HEAD"
            self._check(request)
            if request.path == answer.EVENTS_PATH:
                await self._feed(writer, is_head=is_head)
                return
            made = answer.page_answer(self._pages[request.path], is_head=is_head)
        except RefusedError as refused:
            made = answer.sentence_answer(refused.status, refused.sentence, is_head=is_head)
        writer.write(made)
        async with asyncio.timeout(SEND_S):
            await writer.drain()
            await _linger(reader, writer)

    def _check(self, request: Request) -> None:
        """`RefusedError` for what is not to be answered."""
        if request.headers.get("host", "").lower() not in self._address.allowed_hosts:
            status = HTTPStatus.FORBIDDEN
            raise RefusedError(status, "open this page at the address that Leadline printed, in figures")
        if request.method not in ("GET", "HEAD"):
            raise RefusedError(HTTPStatus.METHOD_NOT_ALLOWED, "here one can look and change nothing")
        if request.path == answer.EVENTS_PATH:
            if not is_right(request.headers.get("authorization"), self.key):
                sentence = "this is not the key of this run: open the whole address that Leadline printed"
                raise RefusedError(HTTPStatus.FORBIDDEN, sentence)
        elif request.path not in self._pages:
            raise RefusedError(HTTPStatus.NOT_FOUND, "there is only one page here: /")

    async def _feed(self, writer: asyncio.StreamWriter, *, is_head: bool) -> None:
        if len(self._clients) >= MOST_CLIENTS:
            sentence = f"{MOST_CLIENTS} look at this page already, and no more can: close it elsewhere first"
            raise RefusedError(HTTPStatus.SERVICE_UNAVAILABLE, sentence)
        writer.write(answer.head(HTTPStatus.OK, kind=answer.EVENTS_TYPE))
        if is_head:
            return
        client = _Client()
        self._clients.add(client)
        try:
            await client.feed(writer)
        finally:
            self._clients.discard(client)


async def _linger(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Throw away what still comes: a connection that is closed before would take the answer with it."""
    if writer.can_write_eof():
        writer.write_eof()
    left = LINGER_BYTES
    while left > 0 and (come := await reader.read(MOST_HEAD_BYTES)):
        left -= len(come)
