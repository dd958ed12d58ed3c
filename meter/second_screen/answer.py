"""What is answered: the files of the page or one sentence, with the headers that keep it to itself."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from importlib.resources import files
from typing import Final

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""No script and no style but those of the page itself, nothing from elsewhere, in nobody's frame.

Source: W3C Content Security Policy Level 3.
"""

HEADERS: Final = (
    ("Content-Security-Policy", POLICY),
    ("Cache-Control", "no-store"),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Connection", "close"),
)
"""On every answer. That others may read it (CORS) is said nowhere, so they may not."""

EVENTS_PATH: Final = "/events"

EVENTS_TYPE: Final = "text/event-stream"
"""Source: WHATWG HTML, Server-sent events."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A file of the page."""

    kind: str
    content: bytes


_FILES: Final = {
    "/": ("page.html", "text/html; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
}


def load_pages() -> dict[str, Page]:
    """The files by the path that they are asked for with; no other path leads to a file."""
    folder = files("meter.second_screen")
    return {
        path: Page(kind=kind, content=folder.joinpath(name).read_bytes())
        for path, (name, kind) in _FILES.items()
    }


def head(status: HTTPStatus, *, kind: str, length: int | None = None, more: tuple[str, ...] = ()) -> bytes:
    """The head of an answer; without a length it ends where the connection does."""
    lines = [f"HTTP/1.1 {status.value} {status.phrase}", f"Content-Type: {kind}"]
    lines += [f"{name}: {value}" for name, value in HEADERS]
    lines += more
    if length is not None:
        lines.append(f"Content-Length: {length}")
    return ("\r\n".join(lines) + "\r\n\r\n").encode("ascii")


def page_answer(page: Page, *, is_head: bool) -> bytes:
    """A file; of `HEAD` its head only."""
    top = head(HTTPStatus.OK, kind=page.kind, length=len(page.content))
    return top if is_head else top + page.content


def sentence_answer(status: HTTPStatus, sentence: str, *, is_head: bool = False) -> bytes:
    """A sentence in plain text."""
    content = f"{sentence}\n".encode()
    more = ("Allow: GET, HEAD",) if status is HTTPStatus.METHOD_NOT_ALLOWED else ()
    top = head(status, kind="text/plain; charset=utf-8", length=len(content), more=more)
    return top if is_head else top + content
