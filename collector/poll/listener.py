"""Where controllers push their events to: an HTTP(S) listener of the collector's own, for POSTs and nothing else.

Each controller has an address of its own, whose last step only that controller has been told. What is sent there is
handed over as it came and answered with 204 at once, as DSP0266 (section 'Eventing') wants it; reading it is the
receiver's affair. Everything that a stranger could make endless is bounded: connections, the time and the size of a
request, and the requests of one controller in a while.
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable
from typing import cast
from urllib.parse import urlsplit

import httptools

from collector.poll.memory import derived
from collector.settings import EventSettings

MAX_BODY = 1024 * 1024
"""Bytes of a pushed event; DSP0266 bounds them to 1 MiB, except metric reports, which nobody asked for here."""
MAX_HEAD = 16 * 1024
MAX_CONNECTIONS = 2048
REQUEST_SECONDS = 15.0
"""That a request may take from its first byte to its last."""
IDLE_SECONDS = 120.0
"""That a connection may stay open without a request."""
BURST = 120
"""Requests of one controller that are taken at once."""
RATE = 4.0
"""Requests of one controller a second that are taken in the long run."""

Take = Callable[[bytes], bool]
"""Takes the body of a pushed event; False where there is no room for it now."""


class CannotListen(Exception):
    """The address or the certificate can't be used; the text says why."""


class _Door:
    """One controller's address: who takes what comes, and how much more may come now."""

    def __init__(self, take: Take) -> None:
        self.take = take
        self._left = float(BURST)
        self._since = 0.0

    def allows(self, now: float) -> bool:
        """Whether one more request is taken: a bucket of tokens."""
        self._left = min(float(BURST), self._left + (now - self._since) * RATE)
        self._since = now
        if self._left < 1.0:
            return False
        self._left -= 1.0
        return True


class Listener:
    """The listener of one fleet. ``async with``, or :meth:`start` and :meth:`aclose`. ``secret`` makes the addresses.

    ``taken``, ``refused`` (too much at once) and ``strange`` (at no address that we gave) count requests.
    """

    def __init__(self, settings: EventSettings, secret: bytes) -> None:
        self._settings = settings
        self._secret = secret
        self._doors: dict[str, _Door] = {}
        self._server: asyncio.Server | None = None
        self.connections: set[_Connection] = set()
        self.port = 0
        """The port bound."""
        self.taken = self.refused = self.strange = 0

    def address(self, controller: str) -> str:
        """The URL that a controller is told: the same after every restart."""
        return f"{self._settings.advertise}/{derived(self._secret, 'listener', controller)}"

    def attach(self, controller: str, take: Take) -> None:
        """From now on ``take`` gets what is pushed to a controller's address."""
        self._doors[derived(self._secret, "listener", controller)] = _Door(take)

    async def start(self) -> None:
        """Listen; raises :class:`CannotListen`."""
        settings = self._settings
        host, port = settings.listen_address
        context: ssl.SSLContext | None = None
        try:
            if settings.cert_file is not None:
                context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
                context.load_cert_chain(settings.cert_file, settings.key_file, "")
            self._server = await asyncio.get_running_loop().create_server(
                lambda: _Connection(self), host, port, ssl=context, backlog=256
            )
        except (OSError, ssl.SSLError) as error:
            raise CannotListen(f"events.listen {settings.listen}: {error.strerror or error}") from error
        self.port = self._server.sockets[0].getsockname()[1]

    async def aclose(self) -> None:
        """Close the port and every connection. Harmless when repeated."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for connection in list(self.connections):
            connection.abort()
        await asyncio.sleep(0)

    async def __aenter__(self) -> Listener:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.aclose()

    def respond(self, method: str, path: str, body: bytes, now: float) -> int:
        """The status that a request is answered with."""
        door = self._doors.get(path.rstrip("/").rpartition("/")[2])
        if door is None:
            self.strange += 1
            return 404
        if method != "POST":
            return 405
        if not door.allows(now):
            self.refused += 1
            return 429
        if not door.take(body):
            self.refused += 1
            return 503
        self.taken += 1
        return 204


_REASONS = {
    204: "No Content",
    400: "Bad Request",
    404: "Not Found",
    405: "Method Not Allowed",
    413: "Content Too Large",
    415: "Unsupported Media Type",
    429: "Too Many Requests",
    431: "Request Header Fields Too Large",
    503: "Service Unavailable",
}
_MORE = {405: b"Allow: POST\r\n", 429: b"Retry-After: 30\r\n", 503: b"Retry-After: 30\r\n"}


class _Connection(asyncio.Protocol):
    """One connection: requests one after the other, each answered as soon as it is whole."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._loop = asyncio.get_running_loop()
        self._transport: asyncio.Transport | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._parser = httptools.HttpRequestParser(self)
        self._url = b""
        self._body = bytearray()
        self._head = 0
        self._in_body = False
        self._expected = False
        self._begun = False
        self._status = 0
        """What the request is answered with before it is whole."""

    def abort(self) -> None:
        """Cut it."""
        if self._transport is not None:
            self._transport.abort()

    # What the event loop calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Open; one too many is cut."""
        self._transport = cast("asyncio.Transport", transport)
        if len(self._listener.connections) >= MAX_CONNECTIONS:
            self._transport.abort()
            return
        self._listener.connections.add(self)
        self._within(REQUEST_SECONDS)

    def connection_lost(self, exc: Exception | None) -> None:
        """Closed."""
        self._transport = None
        self._listener.connections.discard(self)
        if self._timer is not None:
            self._timer.cancel()

    def data_received(self, data: bytes) -> None:
        """Parse; a request that is too big or none at all ends the connection."""
        if self._transport is None or self._transport.is_closing():
            return
        if not self._begun:
            self._begun = True
            self._within(REQUEST_SECONDS)
        if not self._in_body:
            self._head += len(data)
        try:
            self._parser.feed_data(data)
        except (httptools.HttpParserError, httptools.HttpParserUpgrade):
            self._answer(self._status or 400, last=True)
            return
        if not self._in_body and self._head > MAX_HEAD:
            self._answer(431, last=True)

    # What the parser calls

    def on_url(self, url: bytes) -> None:
        """A piece of the target."""
        self._url += url

    def on_header(self, name: bytes, value: bytes) -> None:
        """Of all headers, only those that frame the body count."""
        lower = name.lower()
        if lower == b"content-length" and value.isdigit() and int(value) > MAX_BODY:
            self._refuse(413)
        elif lower == b"content-encoding" and value.strip().lower() not in (b"", b"identity"):
            self._refuse(415)
        elif lower == b"expect" and value.lower() == b"100-continue":
            self._expected = True

    def on_headers_complete(self) -> None:
        """The body may come."""
        self._in_body = True
        if self._expected and self._transport is not None:
            self._expected = False
            self._transport.write(b"HTTP/1.1 100 Continue\r\n\r\n")

    def on_body(self, data: bytes) -> None:
        """A piece of the body."""
        if len(self._body) + len(data) > MAX_BODY:
            self._refuse(413)
        self._body += data

    def on_message_complete(self) -> None:
        """Answer."""
        if self._transport is None or self._transport.is_closing():
            return
        path = urlsplit(self._url.decode("latin-1")).path
        method = self._parser.get_method().decode("latin-1")
        status = self._listener.respond(method, path, bytes(self._body), self._loop.time())
        self._answer(status, last=not self._parser.should_keep_alive() or status in (404, 405))
        self._body = bytearray()
        self._url, self._head, self._in_body, self._begun = b"", 0, False, False
        self._within(IDLE_SECONDS)

    # Inside

    def _refuse(self, status: int) -> None:
        """The parser replaces what its callbacks raise, so the status is noted."""
        self._status = status
        raise ValueError(status)

    def _answer(self, status: int, *, last: bool) -> None:
        if self._transport is None:
            return
        length = b"" if status == 204 else b"Content-Length: 0\r\n"
        closing = b"Connection: close\r\n" if last else b""
        head = b"HTTP/1.1 %d %s\r\n" % (status, _REASONS[status].encode())
        self._transport.write(head + length + closing + _MORE.get(status, b"") + b"\r\n")
        if last:
            self._transport.close()

    def _within(self, seconds: float) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._timer = self._loop.call_later(seconds, self._late)

    def _late(self) -> None:
        self.abort()
