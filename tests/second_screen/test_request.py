"""Requests as they come in: what is none is refused with one sentence."""

import asyncio
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.second_screen import request
from meter.second_screen.request import MOST_HEAD_BYTES, RefusedError, parse, read_request
from tests.second_screen.visitors import WAIT_S


def test_a_request_is_read():
    found = parse(b"GET /events?x=1 HTTP/1.1\r\nHost: 127.0.0.1:80 \r\nAuthorization: Bearer a b\r\n\r\n")
    assert (found.method, found.path) == ("GET", "/events")
    assert found.headers == {"host": "127.0.0.1:80", "authorization": "Bearer a b"}


@pytest.mark.parametrize(
    ("head", "status", "sentence"),
    [
        (b"GET http://elsewhere.example/ HTTP/1.1\r\n\r\n", 400, "no request for a page"),
        (b"GET / HTTP/2.0\r\n\r\n", 400, "no request for a page"),
        (b"get / HTTP/1.1\r\n\r\n", 400, "no request for a page"),
        (b"GET / HTTP/1.1\r\nno colon\r\n\r\n", 400, "a line that is no header"),
        (b"GET / HTTP/1.1\r\nHost: a\r\n folded\r\n\r\n", 400, "a line that is no header"),
        (b"GET / HTTP/1.1\r\nHost : a\r\n\r\n", 400, "a line that is no header"),
        (b"GET / HTTP/1.1\r\nHost: a\r\nhost: b\r\n\r\n", 400, "two headers host"),
        (b"GET / HTTP/1.1\r\nAuthorization: a\r\nAuthorization: b\r\n\r\n", 400, "two headers authorization"),
        (b"POST / HTTP/1.1\r\nContent-Length: 5\r\n\r\n", 400, "brings a body"),
        (b"GET / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n", 400, "brings a body"),
    ],
)
def test_what_is_no_request_is_refused(head, status, sentence):
    with pytest.raises(RefusedError, match=sentence) as raised:
        parse(head)
    assert raised.value.status == status


@given(st.binary(max_size=300))
def test_whatever_comes_is_a_request_or_refused(head):
    with suppress(RefusedError):
        assert parse(head).path.startswith("/")


def read(*pieces, is_over=False):
    async def run():
        reader = asyncio.StreamReader(limit=MOST_HEAD_BYTES)
        for piece in pieces:
            reader.feed_data(piece)
        if is_over:
            reader.feed_eof()
        return await asyncio.wait_for(read_request(reader), WAIT_S)

    return asyncio.run(run())


def test_a_request_may_come_in_pieces():
    assert read(b"GET / HT", b"TP/1.1\r\nHost: a\r", b"\n\r\n").path == "/"


@pytest.mark.parametrize("end", [b"", b"\r\n\r\n"])
def test_a_huge_head_is_refused_whole_or_not(end):
    with pytest.raises(RefusedError, match="longer than 8192 bytes") as raised:
        read(b"GET / HTTP/1.1\r\nX: " + b"x" * 20_000 + end)
    assert raised.value.status == 431


def test_a_head_that_drips_is_refused(monkeypatch):
    monkeypatch.setattr(request, "READ_S", 0.01)
    with pytest.raises(RefusedError, match="took too long") as raised:
        read(b"GET / HTTP/1.1\r\n")
    assert raised.value.status == 408


def test_who_goes_away_is_no_request():
    with pytest.raises(EOFError):
        read(b"GET / HT", is_over=True)
