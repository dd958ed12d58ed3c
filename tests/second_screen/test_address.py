"""Where the page is, and what cannot be meant."""

import ipaddress
import socket

import pytest

from meter.errors import UsageError
from meter.second_screen import address
from meter.second_screen.address import Address, bind, own_address, port_from


def test_unless_asked_only_this_machine_reaches_it_at_any_free_port():
    bound = bind()
    with bound.socket:
        assert bound.socket.getsockname() == ("127.0.0.1", bound.port)
        assert bound.is_loopback and bound.port > 0
        assert bound.url("abc") == f"http://127.0.0.1:{bound.port}/#abc"
        assert bound.allowed_hosts == {f"127.0.0.1:{bound.port}"}


def test_an_address_of_the_next_kind_stands_in_brackets():
    bound = bind("0:0:0:0:0:0:0:1")
    with bound.socket:
        assert bound.url("abc") == f"http://[::1]:{bound.port}/#abc"
        assert bound.allowed_hosts == {f"[::1]:{bound.port}"}


def test_at_the_port_of_the_web_a_browser_leaves_it_out():
    with socket.socket() as unbound:
        made = Address(socket=unbound, host="192.168.1.20", port=80)
        assert made.allowed_hosts == {"192.168.1.20", "192.168.1.20:80"}
        assert not made.is_loopback


@pytest.mark.parametrize("text", ["-1", "65536", "http", "1.5", ""])
def test_what_is_no_port_is_one_sentence(text):
    with pytest.raises(UsageError, match=f"--port {text} came; expected a number from 0 to 65535"):
        port_from(text)


@pytest.mark.parametrize(
    ("host", "message"),
    [
        ("localhost", "--host localhost came; expected an address of this machine in figures"),
        ("booth.example", "--host booth.example came; expected an address"),
        ("0.0.0.0", "--host 0.0.0.0 came, which is no single machine; expected the one address"),
        ("::", "--host :: came, which is no single machine"),
        ("239.1.1.1", "--host 239.1.1.1 came, which is no single machine"),
        ("fe80::1%lo", "--host fe80::1%lo came, which browsers cannot open"),
        ("203.0.113.7", "--host 203.0.113.7 came, but this machine does not have that address; try --host "),
    ],
)
def test_what_is_no_address_of_this_machine_is_one_sentence(host, message):
    with pytest.raises(UsageError) as raised:
        bind(host)
    assert message in str(raised.value)


def test_a_port_that_is_taken_is_one_sentence():
    first = bind()
    taken = rf"--port {first.port} came, but another program uses it on 127\.0\.0\.1; choose another"
    with first.socket, pytest.raises(UsageError, match=taken):
        bind(port=first.port)


@pytest.mark.parametrize(
    ("problem", "message"),
    [
        (PermissionError(13, "Permission denied"), "--port 80 came, but this account may not use it"),
        (OSError(5, "Input/output error"), r"cannot be used \(input/output error\); try another port"),
    ],
)
def test_what_the_system_refuses_is_one_sentence(problem, message, monkeypatch):
    def refuse(*_, **__):
        raise problem

    monkeypatch.setattr(address.socket, "create_server", refuse)
    with pytest.raises(UsageError, match=message):
        bind(port=80)


def test_an_address_that_is_suggested_is_one_of_this_machine():
    found = own_address()
    if found is not None:
        assert not ipaddress.ip_address(found).is_loopback
        bind(found).socket.close()


def test_without_a_network_nothing_is_suggested(monkeypatch):
    class NoNetwork(socket.socket):
        def connect(self, where):
            raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(address.socket, "socket", NoNetwork)
    assert own_address() is None
    assert address.such_as_host() == "--host 192.168.1.20"
