"""One request as it comes in, with small limits: a head of 8 KiB within 5 s, no body.

Source: RFC 9112 (HTTP/1.1), 3 and 5; what it leaves to the server is refused here.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Final

MOST_HEAD_BYTES: Final = 8192
"""A browser sends some 500."""

READ_S: Final = 5.0
"""So long the whole head may take, however it drips in."""

_REQUEST_LINE: Final = re.compile(r"([A-Z]{1,16}) (/[!-~]*) HTTP/1\.[01]")
_HEADER: Final = re.compile(r"([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*([^\x00\r\n]*)")


class RefusedError(Exception):
    """A request that is not answered as it wished.

    Parameters
    ----------
    status : HTTPStatus
    sentence : str
        For whoever looks at it in a browser.
    """

    def __init__(self, status: HTTPStatus, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence = status, sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked for.

    Attributes
    ----------
    method, path : str
        The path without what follows a question mark.
    headers : mapping
        By name in small letters.
    """

    method: str
    path: str
    headers: Mapping[str, str]


async def read_request(reader: asyncio.StreamReader) -> Request:
    """Read a head and nothing after it.

    Parameters
    ----------
    reader : asyncio.StreamReader
        With a limit of `MOST_HEAD_BYTES`.

    Raises
    ------
    RefusedError
        It came too slowly, is too long, or is no request.
    EOFError
        The other end has gone.
    """
    try:
        async with asyncio.timeout(READ_S):
            head = await reader.readuntil(b"\r\n\r\n")
    except TimeoutError:
        raise RefusedError(HTTPStatus.REQUEST_TIMEOUT, "the request took too long") from None
    except asyncio.LimitOverrunError:
        status = HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE
        raise RefusedError(status, f"the request is longer than {MOST_HEAD_BYTES} bytes") from None
    return parse(head)


def parse(head: bytes) -> Request:
    """A request from its head, blank line included; `RefusedError` for what is none."""
    first, *lines = head.decode("latin-1").removesuffix("\r\n\r\n").split("\r\n")
    asked = _REQUEST_LINE.fullmatch(first)
    if asked is None:
        raise RefusedError(HTTPStatus.BAD_REQUEST, "this is no request for a page")
    headers: dict[str, str] = {}
    for line in lines:
        found = _HEADER.fullmatch(line)
        if found is None:
            raise RefusedError(HTTPStatus.BAD_REQUEST, "the request has a line that is no header")
        name = found[1].lower()
        if name in headers and name in ("host", "authorization"):
            raise RefusedError(HTTPStatus.BAD_REQUEST, f"the request has two headers {name}")
        headers[name] = found[2].rstrip(" \t")
    if headers.get("content-length", "0") != "0" or "transfer-encoding" in headers:
        raise RefusedError(HTTPStatus.BAD_REQUEST, "the request brings a body, and nothing can be sent here")
    return Request(method=asked[1], path=asked[2].partition("?")[0], headers=headers)
