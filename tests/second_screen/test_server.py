"""The server of the second screen, through real sockets: who is let in, who is not, and who is let go."""

import logging
from dataclasses import replace

import pytest

from meter.second_screen import server
from meter.second_screen.address import bind
from meter.second_screen.server import MOST_CLIENTS, SecondScreen
from tests.second_screen.moments import heard, noise
from tests.second_screen.visitors import Visitor, wait_until


@pytest.fixture(scope="module")
def moment():
    return heard(noise(0.5))


@pytest.fixture
def serve(moment, monkeypatch):
    """Starts second screens that tell often, and stops them."""
    monkeypatch.setattr(server, "EVERY_S", 0.005)
    started = []

    def start(look=lambda: moment):
        problems = []
        made = SecondScreen(address=bind(), look=look, on_problem=problems.append)
        made.problems = problems
        made.port = made._address.port
        made.host = made._address.authority
        started.append(made)
        made.start()
        return made

    yield start
    for one in started:
        one.stop()


@pytest.fixture
def screen(serve):
    return serve()


def answer(screen, path="/", *, method="GET", host=None, **headers):
    """Status, headers and body of one request."""
    with Visitor(screen.port) as visitor:
        visitor.ask(path, method=method, host=screen.host if host is None else host, **headers)
        return *visitor.head(), visitor.body()


def looking(screen, **how):
    """One who looks."""
    visitor = Visitor(screen.port, **how)
    visitor.ask("/events", host=screen.host, Authorization=f"Bearer {screen.key}")
    return visitor


# --- what is answered


@pytest.mark.parametrize(
    ("path", "kind", "begin"),
    [
        ("/", "text/html", b"<!DOCTYPE html>"),
        ("/?utm=x", "text/html", b"<!DOCTYPE html>"),
        ("/page.js", "text/javascript", b"// The page"),
        ("/page.css", "text/css", b"/* Night"),
    ],
)
def test_the_page_is_three_files(screen, path, kind, begin):
    status, headers, body = answer(screen, path)
    assert status == 200
    assert headers["Content-Type"].startswith(kind)
    assert body.startswith(begin) and len(body) == int(headers["Content-Length"])


def test_every_answer_keeps_to_itself(screen):
    with looking(screen) as visitor:
        streams = visitor.head()
    answers = [answer(screen)[:2], answer(screen, "/no")[:2], answer(screen, "/events")[:2], streams]
    assert [status for status, _ in answers] == [200, 404, 403, 200]
    for _, headers in answers:
        policy = headers["Content-Security-Policy"].split("; ")
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
        assert "script-src 'self'" in policy and "style-src 'self'" in policy
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["Cache-Control"] == "no-store"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert not any(name.lower().startswith("access-control") for name in headers)
        assert "Server" not in headers


def test_the_page_asks_for_nothing_from_elsewhere_and_holds_no_script_in_itself(screen):
    page = answer(screen)[2].decode()
    assert page.count("<script") == 1 and '<script src="page.js" defer></script>' in page
    assert "style=" not in page and "<style" not in page and "onload" not in page
    for path in ("/", "/page.js", "/page.css"):
        text = answer(screen, path)[2].decode().replace("http://www.w3.org/2000/svg", "")
        assert "//" not in text.replace("// ", "") and "url(" not in text and "@import" not in text, path


def test_of_head_only_the_head_comes(screen):
    status, headers, body = answer(screen, method="HEAD")
    assert (status, body) == (200, b"")
    assert int(headers["Content-Length"]) == len(answer(screen)[2])
    status, headers, body = answer(screen, "/events", method="HEAD", Authorization=f"Bearer {screen.key}")
    assert (status, headers["Content-Type"], body) == (200, "text/event-stream", b"")


def test_events_tell_of_the_moment_again_and_again(screen):
    with looking(screen) as visitor:
        status, headers = visitor.head()
        assert (status, headers["Content-Type"]) == (200, "text/event-stream")
        first, second = visitor.event(), visitor.event()
    assert first["tiles"]["short_term"]["value"] == second["tiles"]["short_term"]["value"] == "--"
    assert first["source"] == "a made-up input · 0:00"


# --- what is refused


@pytest.mark.parametrize("form", ["", "Bearer ", "Bearer {other}", "Basic {key}", "{key}", "Bearer {key}x"])
def test_without_the_key_of_this_run_nothing_is_told(screen, form):
    given = form.format(key=screen.key, other=screen.key[::-1])
    status, _, body = answer(screen, "/events", **({"Authorization": given} if given else {}))
    assert status == 403
    assert body == b"this is not the key of this run: open the whole address that Leadline printed\n"
    assert screen.clients == 0


def test_a_key_in_the_address_itself_is_none(screen):
    assert answer(screen, f"/events?{screen.key}")[0] == 403
    assert answer(screen, f"/events?key={screen.key}")[0] == 403


@pytest.mark.parametrize("path", ["/", "/events"])
@pytest.mark.parametrize(
    "host", ["rebound.example:{port}", "rebound.example", "localhost:{port}", "127.0.0.1", "127.0.0.1:1", ""]
)
def test_under_another_name_nothing_is_told_even_with_the_key(screen, host, path):
    host = host.format(port=screen.port) or " "
    status, _, body = answer(screen, path, host=host, Authorization=f"Bearer {screen.key}")
    assert (status, body) == (403, b"open this page at the address that Leadline printed, in figures\n")


@pytest.mark.parametrize(
    "path",
    [
        *("/../../../../etc/passwd", "/..%2f..%2fetc/passwd", "//etc/passwd", "/page.py", "/server.py"),
        *("/page.js/", "/%70age.js", "/./page.js", "/page.js%00"),
    ],
)
def test_no_other_path_leads_to_a_file(screen, path):
    status, _, body = answer(screen, path)
    assert (status, body) == (404, b"there is only one page here: /\n")


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_one_can_look_and_change_nothing(screen, method):
    status, headers, body = answer(screen, method=method)
    assert (status, headers["Allow"]) == (405, "GET, HEAD")
    assert body == b"here one can look and change nothing\n"


def test_a_huge_header_is_refused_and_the_refusal_arrives(screen):
    status, _, body = answer(screen, X_Long="x" * 300_000)
    assert (status, body) == (431, b"the request is longer than 8192 bytes\n")


def test_what_is_no_request_is_refused(screen):
    with Visitor(screen.port) as visitor:
        status, _ = visitor.send(b"\x16\x03\x01 hello\r\n\r\n").head()
        assert (status, visitor.body()) == (400, b"this is no request for a page\n")


# --- many, and slow ones


def test_fifty_may_look_and_one_more_is_told_why_not(screen):
    visitors = [looking(screen) for _ in range(MOST_CLIENTS)]
    try:
        assert {visitor.head()[0] for visitor in visitors} == {200}
        assert all(visitor.event() for visitor in visitors)
        status, _, body = answer(screen, "/events", Authorization=f"Bearer {screen.key}")
        assert status == 503
        assert body == b"50 look at this page already, and no more can: close it elsewhere first\n"
        assert answer(screen)[0] == 200  # the page itself would tell
        visitors.pop().__exit__()
        wait_until(lambda: screen.clients == MOST_CLIENTS - 1, "one who goes makes room")
        with looking(screen) as visitor:
            assert visitor.head()[0] == 200 and visitor.event()
    finally:
        for visitor in visitors:
            visitor.__exit__()


def test_those_who_ask_for_nothing_are_let_go_when_they_are_too_many(screen, monkeypatch):
    monkeypatch.setattr(server, "MOST_CONNECTIONS", 3)
    with Visitor(screen.port), Visitor(screen.port), Visitor(screen.port):
        wait_until(lambda: len(screen._connections) == 3, "three are met")
        with Visitor(screen.port) as visitor, pytest.raises((EOFError, ConnectionError)):
            visitor.ask("/", host=screen.host).head()
    wait_until(lambda: not screen._connections, "they have gone")
    assert answer(screen)[0] == 200


def test_who_does_not_read_is_let_go_while_the_others_go_on(moment, serve, monkeypatch):
    monkeypatch.setattr(server, "SEND_S", 0.2)
    counter = iter(range(1_000_000))
    screen = serve(lambda: replace(moment, of_set=replace(moment.of_set, seconds=float(next(counter)))))
    with looking(screen) as quick, looking(screen, receive_bytes=2048) as slow:
        quick.head()
        slow.head()
        wait_until(lambda: screen.clients == 2, "two look")
        told = []

        def is_alone():
            told.append(quick.event()["source"])
            return screen.clients == 1

        wait_until(is_alone, "the slow one is let go")
        told += [quick.event()["source"] for _ in range(3)]
        assert len(set(told)) > len(told) // 2  # it went on with new ones meanwhile
        slow.drain()  # it ends


def test_of_what_waits_only_the_newest_is_kept():
    client = server._Client()
    for number in range(1000):
        client.offer(b"%d" % number)
    assert client._newest == b"999"


# --- how it ends


def test_who_looks_is_told_that_it_is_over(screen, monkeypatch):
    monkeypatch.setattr(server, "STOP_S", 3600.0)  # nobody need be cut off
    with looking(screen) as visitor:
        visitor.head()
        visitor.event()
        screen.stop()
        while not (last := visitor.event())["is_over"]:
            pass
        assert last == {"is_over": True, "notice": "Leadline has ended"}
        assert visitor.body() == b""
    assert not screen._thread.is_alive()
    with pytest.raises(ConnectionRefusedError):
        Visitor(screen.port)
    screen.stop()  # once more is no mistake
    assert screen.problems == []


def test_it_ends_without_a_word_although_somebody_does_not_read(moment, serve, monkeypatch, caplog):
    monkeypatch.setattr(server, "STOP_S", 0.05)
    screen = serve()
    with looking(screen, receive_bytes=2048) as slow, Visitor(screen.port):
        slow.head()
        wait_until(lambda: len(screen._connections) == 2, "two are met")
        screen.stop()
        assert not screen._thread.is_alive()
    assert caplog.records == [] and screen.problems == []


def test_one_that_was_never_started_can_be_stopped(moment):
    SecondScreen(address=bind(), look=lambda: moment, on_problem=print).stop()


def test_a_mistake_in_it_is_told_and_ends_nothing_else(serve, caplog):
    def look():
        raise AssertionError("a mistake")

    with caplog.at_level(logging.ERROR, "meter.second_screen"):
        screen = serve(look)
        screen._thread.join()
    assert screen.problems == [
        "the second screen has stopped by a mistake in the program; measuring goes on"
    ]
    assert "a mistake" in caplog.text
    screen.stop()


def test_what_is_said_of_it_depends_on_who_can_reach_it(screen):
    first, second, third = screen.announcement.splitlines()
    assert first == f"second screen: http://{screen.host}/#{screen.key}"
    assert second == "  not encrypted: who listens in on the network can read it"
    assert third.startswith("  only this machine reaches it; for a phone in the same network add --host ")
    screen._address = replace(screen._address, host="192.168.1.20")
    assert screen.announcement.endswith("has the whole address can look, and change nothing")


def test_each_run_has_another_key(serve):
    assert serve().key != serve().key
