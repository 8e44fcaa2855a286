"""Telling another program: signed, over TLS, to addresses of the open network only.

The name is looked up once, every address it has must be public, and the connection goes to one of those: a name that
means something else a moment later (“DNS rebinding”) leads nowhere. Nothing follows a redirect, and no proxy of the
environment is used. Signature: HMAC (RFC 2104) with SHA-256 over timestamp, full stop and body.
"""

from __future__ import annotations

import hashlib
import hmac
import http.client
import ipaddress
import socket
import ssl
import threading
from urllib.parse import SplitResult, urlsplit

from bible.series.refusals import Refused

SECONDS = 10
"""For each step of a connection; ``WHOLE_SECONDS`` for all of it, however slowly its answer drips."""
WHOLE_SECONDS = 20

TLS_PORT, FREE_PORTS_FROM = 443, 1024
"""Ports below belong to other services, which must not be spoken to in a stranger's name."""

_NAT64 = ipaddress.ip_network("64:ff9b::/96")


def read_address(url: str) -> SplitResult:
    """An address as it may be told to. ``Refused`` where it is not https, names a person or an odd port, or is one of
    an inner network in figures."""
    try:
        parts = urlsplit(url)
        port = parts.port or TLS_PORT
    except ValueError as error:
        raise Refused("This is no address.") from error
    if parts.scheme != "https" or not parts.hostname:
        raise Refused("The address begins with https:// and names a host.")
    if parts.username or parts.password or parts.fragment or any(sign.isspace() for sign in url):
        raise Refused("The address holds neither names, passwords nor a #.")
    if port != TLS_PORT and port < FREE_PORTS_FROM:
        raise Refused(f"The port is {TLS_PORT}, or {FREE_PORTS_FROM} and more.")
    try:
        figures = ipaddress.ip_address(parts.hostname)
    except ValueError:
        return parts
    if not is_public(str(figures)):
        raise Refused("The address is one of an inner network.")
    return parts


def is_public(address: str) -> bool:
    """Whether an address is one of the open network, whatever it is wrapped in."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.sixtofour or ip.teredo or ip in _NAT64:
            return False
        if ip.ipv4_mapped:
            return is_public(str(ip.ipv4_mapped))
    return ip.is_global and not ip.is_multicast and not ip.is_reserved


def public_address(host: str, port: int) -> str:
    """One address of a host, all of whose addresses are public. ``Refused`` otherwise."""
    try:
        infos = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise Refused("The host has no address.") from error
    addresses = [str(info[4][0]) for info in infos]
    if not addresses or not all(map(is_public, addresses)):
        raise Refused("The host leads into an inner network.")
    return addresses[0]


def tls_context() -> ssl.SSLContext:
    return ssl.create_default_context()


class PinnedConnection(http.client.HTTPSConnection):
    """A connection to the address that was looked at, with the certificate of the name that was asked for."""

    def __init__(self, host: str, port: int, address: str) -> None:
        self.tls = tls_context()
        super().__init__(host, port, timeout=SECONDS, context=self.tls)
        self.address = address

    def connect(self) -> None:
        plain = socket.create_connection((self.address, self.port), SECONDS)
        self.sock = self.tls.wrap_socket(plain, server_hostname=self.host)

    def cut(self) -> None:
        if self.sock:
            self.sock.shutdown(socket.SHUT_RDWR)


def signature(secret: str, timestamp: int, body: bytes) -> str:
    """What the receiver works out as well and compares."""
    signed = f"{timestamp}.".encode() + body
    return "sha256=" + hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()


def post(url: str, body: bytes, *, secret: str, timestamp: int, event: str) -> int:
    """Send one signed message; the answer's status. ``Refused`` and ``OSError`` where nothing could be sent."""
    parts = read_address(url)
    host, port = str(parts.hostname), parts.port or TLS_PORT
    connection = PinnedConnection(host, port, public_address(host, port))
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "series-colour-bible",
        "Bible-Event": event,
        "Bible-Timestamp": str(timestamp),
        "Bible-Signature": signature(secret, timestamp, body),
    }
    clock = threading.Timer(WHOLE_SECONDS, connection.cut)
    clock.daemon = True
    clock.start()
    try:
        path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        connection.request("POST", path, body, headers)
        return connection.getresponse().status
    except http.client.HTTPException as error:
        raise OSError(f"The answer is no HTTP: {type(error).__name__}") from error
    finally:
        clock.cancel()
        connection.close()
