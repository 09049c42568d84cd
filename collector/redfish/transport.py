"""Requests to one controller over as many kept connections as may be in flight (one, unless told otherwise).

It is an httpx transport, so that httpx stays the interface and tests swap it; and it has a ``get`` of its own, which
skips httpx's request and response objects: these cost several times what the exchange itself does (see
``tests/bench/transport.py``). It follows no redirect, asks no proxy and knows no other host than its own.
"""

from __future__ import annotations

import asyncio
import os
import socket
import ssl
from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar, cast
from urllib.parse import urlsplit

import httpx

from collector.redfish.errors import ForeignOrigin, TimedOut, Unreachable, Untrusted
from collector.redfish.event_stream import StreamWire
from collector.redfish.names import names
from collector.redfish.tls import check_fingerprint, context_for
from collector.redfish.wire import ClosedWhileIdle, Limits, Reply, Wire
from collector.settings import ControllerSettings

Headers = Sequence[tuple[bytes, bytes]]


class _Connection(Protocol):
    """What every protocol of ours has."""

    @property
    def certificate(self) -> bytes | None:
        """The peer's, in DER."""

    def abort(self) -> None:
        """Cut the connection."""


C = TypeVar("C", bound=_Connection)

_METHODS = frozenset({"GET", "POST", "PATCH", "DELETE"})
_OURS = frozenset({b"host", b"accept-encoding", b"connection", b"content-length", b"transfer-encoding", b"user-agent"})
_UNPACKED = frozenset({b"content-encoding", b"content-length", b"transfer-encoding"})
_DEAD_PEER_SECONDS = 20


class ControllerTransport(httpx.AsyncBaseTransport):
    """The way to one controller. Closing it closes its connections; it knows nothing of sessions."""

    def __init__(self, settings: ControllerSettings, *, in_flight: int = 1, limits: Limits | None = None) -> None:
        self._settings = settings
        self._limits = limits or Limits()
        self._turns = asyncio.Semaphore(in_flight)
        self._idle: list[Wire] = []
        self._busy: set[Wire] = set()
        self._streams: set[StreamWire] = set()
        self._closed = False
        self.certificate: bytes | None = None
        """What it presented when a connection was made last, in DER; None without TLS."""
        parts = urlsplit(settings.url)
        if parts.hostname is None:
            raise ValueError(f"{settings.name}: {settings.url} has no host")
        self._host = parts.hostname
        self._port = parts.port or (443 if parts.scheme == "https" else 80)
        # Compression is not asked for: it costs a slow controller more than the bytes do on a management network.
        self._common = (
            f"Host: {parts.netloc}\r\nUser-Agent: sledkeeper\r\nAccept-Encoding: identity\r\n".encode("ascii")
        )  # fmt: skip

    @property
    def origin(self) -> str:
        """Scheme, host and port."""
        return self._settings.url

    async def get(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> Reply:
        """GET a path with query; the cheap way, for polling. Errors and ``timeout`` as for :meth:`request`."""
        return await self._exchange(self._head("GET", path, headers), path, timeout, again=True)

    async def request(
        self, method: str, path: str, headers: Headers = (), body: bytes = b"", *, timeout: float | None = None
    ) -> Reply:
        """One request, any status back. ``timeout``: seconds for the answer, in place of the usual ones.

        Raises :class:`Unreachable`, :class:`TimedOut`, :class:`Untrusted` or a :class:`Malformed`.
        """
        if method not in _METHODS:
            raise ValueError(f"{method} is not one of {', '.join(sorted(_METHODS))}")
        head = self._head(method, path, headers)
        if body or method in ("POST", "PATCH"):
            head = head[:-2] + b"Content-Length: %d\r\n\r\n" % len(body)
        return await self._exchange(head + body, path, timeout, again=method == "GET")

    async def stream(self, path: str, headers: Headers = (), *, timeout: float | None = None) -> StreamWire:
        """GET an answer without end, beside all other requests and on a connection of its own; any status back.

        ``timeout``: seconds for its head. Errors as for :meth:`request`; the caller closes what it is given.
        """
        if self._closed:
            raise RuntimeError("the transport is closed")
        deadline = asyncio.get_running_loop().time() + (self._limits.response_timeout if timeout is None else timeout)
        request = self._head("GET", path, headers)
        wire = await self._connect(path, deadline, lambda: StreamWire(self._settings.name, self._limits))
        self._streams = {known for known in self._streams if known.open} | {wire}
        try:
            await wire.begin(request, path, deadline)
        except BaseException:
            wire.abort()
            raise
        return wire

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """For ``httpx.AsyncClient(transport=...)``. Raises :class:`ForeignOrigin` for a URL of another origin."""
        url = request.url
        port = url.port or (443 if url.scheme == "https" else 80)
        if (url.scheme, url.host, port) != (urlsplit(self.origin).scheme, self._host, self._port):
            raise ForeignOrigin(self._settings.name, str(url.copy_with(query=None)))
        headers = [(name, value) for name, value in request.headers.raw if name.lower() not in _OURS]
        reply = await self.request(
            request.method,
            url.raw_path.decode("ascii"),
            headers,
            await request.aread(),
            timeout=request.extensions.get("timeout", {}).get("read"),
        )
        told = [(name, value) for name, value in reply.headers if name not in _UNPACKED]
        return httpx.Response(reply.status, headers=told, content=reply.body, request=request)

    async def aclose(self) -> None:
        """Cut what is under way, take leave of idle connections."""
        self._closed = True
        wires: list[Wire | StreamWire] = [*self._idle, *self._busy, *self._streams]
        self._idle = []
        await asyncio.gather(*(wire.aclose() for wire in wires))

    def _head(self, method: str, path: str, headers: Headers) -> bytes:
        if not path.startswith("/") or not path.isascii() or not path.isprintable() or " " in path:
            raise ValueError(f"{path!r} can't stand in a request line")
        lines = b"".join([b"%s: %s\r\n" % header for header in headers])
        if lines.count(b"\n") != len(headers) or lines.count(b"\r") != len(headers):
            raise ValueError("a header holds a line break")
        return b"%s %s HTTP/1.1\r\n%s%s\r\n" % (method.encode(), path.encode(), self._common, lines)

    async def _exchange(self, request: bytes, path: str, timeout: float | None, *, again: bool) -> Reply:
        """Take a connection, kept or new, and do one exchange on it.

        A kept connection that turns out closed before the answer began is replaced once, for a GET: anything else may
        have been carried out already.
        """
        if self._closed:
            raise RuntimeError("the transport is closed")
        loop = asyncio.get_running_loop()
        deadline = loop.time() + (self._limits.response_timeout if timeout is None else timeout)
        async with self._turns:
            for _ in range(2):
                wire = self._kept() or await self._connect(path, deadline, self._new_wire)
                self._busy.add(wire)
                try:
                    return await wire.send(request, path, deadline)
                except ClosedWhileIdle as closed:
                    if not again:
                        raise Unreachable(
                            self._settings.name, path, f"the idle connection was lost: {closed}"
                        ) from closed
                finally:
                    self._busy.discard(wire)
                    if wire.ready and not self._closed:
                        self._idle.append(wire)
                    else:
                        wire.abort()
        raise AssertionError("a new connection is never idle")

    def _kept(self) -> Wire | None:
        while self._idle:
            wire = self._idle.pop()
            if wire.ready:
                return wire
        return None

    def _new_wire(self) -> Wire:
        return Wire(self._settings.name, self._limits)

    async def _connected(
        self, new: Callable[[], C], context: ssl.SSLContext | None
    ) -> tuple[asyncio.Transport, asyncio.BaseProtocol]:
        """A connection to the first of the host's addresses that takes one."""
        failure: OSError = OSError("its name has no address")
        for address in await names().addresses(self._host):
            try:
                return await asyncio.get_running_loop().create_connection(
                    cast("Callable[[], asyncio.Protocol]", new),
                    address,
                    self._port,
                    ssl=context,
                    server_hostname=self._host.partition("%")[0] if context is not None else None,
                )
            except ssl.SSLError:
                raise  # somebody is there, and another address is the same controller's
            except OSError as error:
                failure = error
        raise failure

    async def _connect(self, path: str, deadline: float, new: Callable[[], C]) -> C:
        """Open a connection and check whom it leads to, before a byte of the request is sent."""
        settings, loop = self._settings, asyncio.get_running_loop()
        context = context_for(settings)
        limit = min(deadline, loop.time() + self._limits.connect_timeout)
        try:
            async with asyncio.timeout_at(limit):
                transport, protocol = await self._connected(new, context)
        except TimeoutError as error:
            raise TimedOut(settings.name, path, "while connecting") from error
        except ssl.SSLCertVerificationError as error:
            raise Untrusted(settings.name, settings.url, error.verify_message or str(error)) from error
        except ssl.SSLError as error:
            raise Unreachable(settings.name, path, f"the TLS handshake failed: {error.reason or error}") from error
        except OSError as error:
            raise Unreachable(settings.name, path, _reason(error)) from error
        wire = cast("C", protocol)
        self.certificate = wire.certificate
        try:
            check_fingerprint(settings, self.certificate)
        except Untrusted:
            wire.abort()
            raise
        _watch_the_path(transport.get_extra_info("socket"))
        return wire


def _reason(error: OSError) -> str:
    """The system's words; without the address that asyncio puts in, since the fleet file has it."""
    if error.errno is not None and error.errno > 0:
        return os.strerror(error.errno).lower()
    return error.strerror or str(error) or type(error).__name__


def _watch_the_path(sock: socket.socket | None) -> None:
    """Let the system find out about a dead peer: half-open connections would cost a round's deadline each."""
    if sock is None:
        return
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (
        ("TCP_KEEPIDLE", _DEAD_PEER_SECONDS),
        ("TCP_KEEPINTVL", _DEAD_PEER_SECONDS // 2),
        ("TCP_KEEPCNT", 3),
        ("TCP_USER_TIMEOUT", _DEAD_PEER_SECONDS * 1000),
    ):
        if hasattr(socket, name):  # not every system has each
            sock.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
