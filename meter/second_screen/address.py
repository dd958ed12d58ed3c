"""Where the second screen is: the bound socket, what to open on the phone, what a browser may call it."""

from __future__ import annotations

import errno
import ipaddress
import socket
from dataclasses import dataclass
from typing import Final

from meter.errors import UsageError

LOOPBACK: Final = "127.0.0.1"
"""Reached from this machine only."""

EXAMPLE: Final = "192.168.1.20"

HIGHEST_PORT: Final = 65535

_PORT_OF_HTTP: Final = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """A bound address.

    Attributes
    ----------
    socket : socket.socket
        Listens; whoever bound it closes it.
    host : str
        In figures.
    port : int
    """

    socket: socket.socket
    host: str
    port: int

    @property
    def authority(self) -> str:
        """As it stands in an address: 127.0.0.1:8000, [::1]:8000."""
        return f"{self._bracketed}:{self.port}"

    @property
    def allowed_hosts(self) -> frozenset[str]:
        """What the header `Host` may say.

        Any other name is that of a page elsewhere, whose name was made to lead here (DNS rebinding).
        """
        plain = {self._bracketed} if self.port == _PORT_OF_HTTP else set()
        return frozenset({self.authority} | plain)

    @property
    def is_loopback(self) -> bool:
        """Whether only this machine reaches it."""
        return ipaddress.ip_address(self.host).is_loopback

    @property
    def _bracketed(self) -> str:
        return f"[{self.host}]" if ":" in self.host else self.host

    def url(self, key: str) -> str:
        """What to open on the phone."""
        return f"http://{self.authority}/#{key}"


def port_from(text: str) -> int:
    """A port; `UsageError` for what is none."""
    try:
        port = int(text)
    except ValueError:
        port = -1
    if not 0 <= port <= HIGHEST_PORT:
        raise UsageError(
            f"--port {text} came; expected a number from 0 to {HIGHEST_PORT}, such as --port 8080; "
            "0 takes any that is free"
        )
    return port


def bind(host: str = LOOPBACK, port: int = 0) -> Address:
    """Take an address of this machine.

    Parameters
    ----------
    host : str
        One address in figures, IPv4 or IPv6; never a name, and never all addresses at once.
    port : int
        0 to 65535; 0 is any that is free.

    Raises
    ------
    UsageError
        One sentence: it is no address, not one of this machine, or the port is taken.
    """
    ip = _ip_from(host)
    family = socket.AF_INET6 if ip.version == 6 else socket.AF_INET
    try:
        bound = socket.create_server((ip.compressed, port), family=family)
    except OSError as problem:
        raise UsageError(_why_not_bound(ip.compressed, port, problem)) from None
    return Address(socket=bound, host=ip.compressed, port=bound.getsockname()[1])


def own_address() -> str | None:
    """The address by which this machine reaches its network; None where it is in none."""
    # To connect such a socket sends nothing. 192.0.2.0/24 is nobody's (RFC 5737).
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        found = str(probe.getsockname()[0])
    ip = ipaddress.ip_address(found)
    return None if ip.is_loopback or ip.is_unspecified else found


def such_as_host() -> str:
    """An argument that would do."""
    return f"--host {own_address() or EXAMPLE}"


def _ip_from(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    try:
        ip = ipaddress.ip_address(host)
    except ValueError:
        raise UsageError(
            f"--host {host} came; expected an address of this machine in figures, such as {such_as_host()}"
        ) from None
    if ip.is_unspecified or ip.is_multicast:
        raise UsageError(
            f"--host {host} came, which is no single machine; expected the one address that the phone "
            f"reaches, such as {such_as_host()}"
        )
    if ip.version == 6 and ip.is_link_local:
        raise UsageError(
            f"--host {host} came, which browsers cannot open; expected another address of this machine, "
            f"such as {such_as_host()}"
        )
    return ip


def _why_not_bound(host: str, port: int, problem: OSError) -> str:
    if problem.errno == errno.EADDRINUSE:
        return (
            f"--port {port} came, but another program uses it on {host}; choose another, or leave it out "
            "for any that is free"
        )
    if problem.errno == errno.EACCES:
        return f"--port {port} came, but this account may not use it; choose one from 1024 on"
    if problem.errno in (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT):
        return f"--host {host} came, but this machine does not have that address; try {such_as_host()}"
    reason = (problem.strerror or str(problem)).lower()
    return f"--host {host} and port {port} cannot be used ({reason}); try another port"
