"""Services on loopback ports: HTTP/1.1 over TLS on bare asyncio protocols, one process for the whole fleet.

A fleet of thousands is thousands of listening sockets with one connection each, so a connection here is one small
object, a request costs no task, and a script of the wire (see :mod:`simulators.service.wire`) is played by callbacks.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import socket
import ssl
import struct
import time
from collections import deque
from collections.abc import Callable, Generator, Iterator
from email.utils import formatdate
from typing import Any, cast

import httptools

from simulators.service.bell import Bell, Pause
from simulators.service.http import Request
from simulators.service.messages import Message, error
from simulators.service.service import Service
from simulators.service.trust import Credentials
from simulators.service.wire import BAD_CERTIFICATES, End, Step, clean

MAX_HEAD = 16_384
"""Bytes of request line and headers above which a request is refused with 431."""
MAX_BODY = 65_536
"""Bytes of a request body above which it is refused with 413."""
MAX_CONNECTIONS = 64
"""Open connections of one service; further ones are reset."""
_MAX_QUEUED = 8
"""Pipelined requests of one connection that wait for their turn; reading pauses at that."""
_MAX_BURST = 262_144
"""Bytes written in one go before others get their turn."""
_METHOD = re.compile(rb"[A-Z]{1,32} /")
_RESET_ON_CLOSE = struct.pack("ii", 1, 0)


class _Date:
    """The Date header, made once a second."""

    def __init__(self) -> None:
        self._second = 0
        self._text = ""

    def __call__(self, now: float) -> str:
        if int(now) != self._second:
            self._second = int(now)
            self._text = formatdate(self._second, usegmt=True)
        return self._text


_date = _Date()


class Listener:
    """One service on one port: it listens as long as the service says that it does, and keeps its port when not."""

    def __init__(
        self, service: Service, host: str, context: ssl.SSLContext, shown: Callable[[str], Credentials] | None = None
    ) -> None:
        """``shown``: the certificate for a fault of the wire that is in it; its own for any other word."""
        self.service = service
        self.host = host
        self.port = 0
        """Taken by :meth:`start`, then kept until :meth:`stop`."""
        self.accepted = 0
        """Connections ever accepted."""
        self.connections: set[_Connection] = set()
        self._context = context
        self._certificates = shown
        self._shown = ""
        self._server: asyncio.Server | None = None
        self._reserve: socket.socket | None = None
        self._sync: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Take a free port and listen on it (unless the service refuses even now)."""
        await self._listen(_bound(self.host, 0))
        self.service.on_change = self._changed
        self._changed()

    async def stop(self) -> None:
        """Close the port and every connection."""
        self.service.on_change = None
        if self._sync is not None:
            self._sync.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._sync
        self._unlisten()
        if self._reserve is not None:
            self._reserve.close()
            self._reserve = None

    @property
    def open(self) -> bool:
        """Whether it listens now."""
        return self._server is not None

    @property
    def url(self) -> str:
        """Origin under which the service is reached."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"https://{host}:{self.port}"

    async def _listen(self, sock: socket.socket) -> None:
        self._server = await asyncio.get_running_loop().create_server(
            lambda: _Connection(self), sock=sock, ssl=self._context, backlog=64
        )
        self.port = sock.getsockname()[1]

    def _unlisten(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None
        for connection in list(self.connections):
            connection.abort()

    def _changed(self) -> None:
        """Show the certificate, and open or close the port, as the service now wants it."""
        kind = self.service.wire.kind if self.service.wire.kind in BAD_CERTIFICATES else ""
        if kind != self._shown and self._certificates is not None:
            self._shown = kind
            self._certificates(kind).load_into(self._context)
            for connection in list(self.connections):
                connection.abort()
        if self.service.listening == (self._server is not None):
            return
        if not self.service.listening:
            # a bound socket that does not listen refuses connections and keeps others off the port
            self._reserve = _bound(self.host, self.port)
            self._unlisten()
        elif self._sync is None or self._sync.done():
            self._sync = asyncio.get_running_loop().create_task(self._again(), name=f"listen {self.service.name}")

    async def _again(self) -> None:
        await self._listen(_bound(self.host, self.port))
        if self._reserve is not None:
            self._reserve.close()
            self._reserve = None
        self._changed()


def _bound(host: str, port: int) -> socket.socket:
    sock = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    try:
        # both the listener and the socket that keeps its place must allow it
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        sock.setblocking(False)
        sock.bind((host, port))
    except BaseException:
        sock.close()
        raise
    return sock


class _Connection(asyncio.Protocol):
    """One client's connection: requests in, scripts out, one after the other."""

    __slots__ = (
        "_bell",
        "_body",
        "_client",
        "_head",
        "_headers",
        "_keep",
        "_listener",
        "_parser",
        "_paused",
        "_queue",
        "_script",
        "_timer",
        "_transport",
        "_url",
    )

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._transport: asyncio.Transport | None = None
        self._parser: Any = httptools.HttpRequestParser(self)
        self._client = ""
        self._queue: deque[tuple[Request, bool]] = deque()
        self._script: Iterator[Step] | None = None
        self._timer: asyncio.Handle | None = None
        self._bell: Bell | None = None
        self._paused = False
        self._keep = True
        self._begin()

    def _begin(self) -> None:
        self._url = b""
        self._headers: dict[str, str] = {}
        self._body = b""
        self._head = 0

    # what the event loop calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.Transport, transport)
        peer = transport.get_extra_info("peername")
        self._client = peer[0] if peer else ""
        self._listener.accepted += 1
        self._listener.connections.add(self)
        # a handshake may have begun before the port was closed
        if len(self._listener.connections) > MAX_CONNECTIONS or not self._listener.open:
            self._reset()

    def connection_lost(self, exc: Exception | None) -> None:
        self._listener.connections.discard(self)
        if self._timer is not None:
            self._timer.cancel()
        if self._bell is not None:
            self._bell.leave()
        script, self._script = self._script, None
        if isinstance(script, Generator):
            script.close()  # a stream gives up its subscription
        self._transport = self._parser = self._bell = None  # the parser holds on to us
        self._queue.clear()

    def data_received(self, data: bytes) -> None:
        if self._transport is None or not self._keep:
            return
        try:
            self._parser.feed_data(data)
        except httptools.HttpParserUpgrade:
            self._refuse(501, Message("OperationNotAllowed"))
        except httptools.HttpParserCallbackError as error:
            refused = error.__context__
            if not isinstance(refused, _Refused):
                raise  # a mistake of ours: the event loop tells it and drops the connection
            self._refuse(refused.status, refused.message)
        except httptools.HttpParserInvalidMethodError:
            # a method that the parser does not know, or no HTTP at all
            method = _METHOD.match(data) is not None
            self._refuse(
                501 if method else 400, Message("OperationNotAllowed" if method else "UnrecognizedRequestBody")
            )
        except httptools.HttpParserError:
            self._refuse(400, Message("UnrecognizedRequestBody"))

    def eof_received(self) -> bool:
        return False

    def pause_writing(self) -> None:
        self._paused = True

    def resume_writing(self) -> None:
        self._paused = False
        self._drive()

    # what the parser calls

    def on_message_begin(self) -> None:
        self._begin()

    def on_url(self, url: bytes) -> None:
        self._url += url
        self._count(len(url))

    def on_header(self, name: bytes, value: bytes) -> None:
        self._count(len(name) + len(value))
        self._headers[name.decode("latin-1").lower()] = value.decode("latin-1")

    def on_headers_complete(self) -> None:
        if self._headers.get("expect", "").lower() == "100-continue" and self._transport is not None:
            self._transport.write(b"HTTP/1.1 100 Continue\r\n\r\n")

    def on_body(self, body: bytes) -> None:
        self._body += body
        if len(self._body) > MAX_BODY:
            raise _Refused(413, Message("PayloadTooLarge"))

    def on_message_complete(self) -> None:
        target = self._url.partition(b"#")[0].decode("latin-1")
        path, _, query = target.partition("?")
        method = self._parser.get_method().decode("latin-1")
        request = Request(method, path, query, self._headers, self._body, time.time(), self._client)
        self._queue.append((request, self._parser.should_keep_alive()))
        if self._script is None:
            self._drive()
        elif len(self._queue) >= _MAX_QUEUED and self._transport is not None:
            self._transport.pause_reading()

    def _count(self, length: int) -> None:
        self._head += length
        if self._head > MAX_HEAD:
            raise _Refused(431, Message("UnrecognizedRequestBody"))

    # answering

    def _refuse(self, status: int, message: Message) -> None:
        """Answer what can't be read, and close."""
        self._keep = False
        self._queue.clear()
        now = time.time()
        if self._script is None:
            self._script = clean(error(status, message), date=_date(now), keep_alive=False)
            self._drive()
        else:
            self._reset()  # an answer is under way: nothing can be said any more

    def _drive(self) -> None:
        """Answer what waits, as far as it goes now."""
        while self._timer is None and not self._paused:
            if self._script is None:
                if not self._queue or self._transport is None:
                    return
                request, keep = self._queue.popleft()
                self._script = self._listener.service.exchange(request, date=_date(request.time), keep_alive=keep)
            if not self._play(self._script):
                return

    def _play(self, script: Iterator[Step]) -> bool:
        """Play the script until it waits, the client does not keep up, or it ends; whether another may follow."""
        burst = 0
        for step in script:
            transport = self._transport
            if transport is None or transport.is_closing():
                return False
            if isinstance(step, End):
                return self._end(step, transport)
            if isinstance(step, Pause):
                if self._wait(step):
                    return False
            elif isinstance(step, bytes):
                transport.write(step)
                burst += len(step)
                if self._paused:
                    return False
            if burst > _MAX_BURST or (isinstance(step, float) and step > 0):
                pause = step if isinstance(step, float) else 0.0
                self._timer = asyncio.get_running_loop().call_later(pause, self._resume)
                return False
        return False

    def _wait(self, pause: Pause) -> bool:
        """Wait for a bell; False when it has rung already."""
        if not pause.bell.wait(self._rung):
            return False
        self._bell = pause.bell
        self._timer = asyncio.get_running_loop().call_later(pause.seconds, self._resume)
        return True

    def _rung(self) -> None:
        # who rings is in the middle of something: the script goes on when that is done
        if self._timer is not None:
            self._timer.cancel()
        self._timer = asyncio.get_running_loop().call_soon(self._resume)

    def _resume(self) -> None:
        if self._bell is not None:
            self._bell.leave()
            self._bell = None
        self._timer = None
        self._drive()

    def _end(self, end: End, transport: asyncio.Transport) -> bool:
        if end is End.HANG:
            return False  # the script stays, so nothing else is answered either
        self._script = None
        if end is End.RESET:
            self._reset()
        elif end is End.CLOSE:
            self._keep = False
            transport.close()
        else:
            transport.resume_reading()
        return end is End.KEEP

    def _reset(self) -> None:
        if self._transport is not None:
            sock = self._transport.get_extra_info("socket")
            if sock is not None:
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET_ON_CLOSE)
            self._transport.abort()

    def abort(self) -> None:
        """Drop the connection."""
        if self._transport is not None:
            self._transport.abort()


class _Refused(Exception):
    """A request that is too big to be read."""

    def __init__(self, status: int, message: Message) -> None:
        self.status = status
        self.message = message
        super().__init__(message.body()["Message"])
