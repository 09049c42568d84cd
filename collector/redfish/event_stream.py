"""An answer that does not end: the open event stream of one controller, on a connection of its own.

Only its head has a deadline; after that, silence is bounded instead. What came and nobody has read yet is bounded too:
beyond :data:`HELD` the connection is not read on, so that a service which talks faster than we listen waits for us.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from types import TracebackType
from typing import Protocol, Self, cast

import httptools
import httpx

from collector.redfish.errors import (
    BrokenHttp,
    ControllerError,
    HttpStatus,
    Malformed,
    TimedOut,
    TooBig,
    Truncated,
    Unreachable,
)
from collector.redfish.sse import ServerEvent, Stream
from collector.redfish.wire import Limits

HELD = 256 * 1024
"""Bytes of one stream that wait to be read."""
IDLE = 600.0
"""Seconds of silence after which a stream is given up. The standard sets no pace for keep-alive comments; a dead peer
is found out by the system's own probes long before."""
_REFUSAL = 64 * 1024
"""Bytes that we take of the body of an answer that is no stream."""
_REFUSAL_SECONDS = 5.0


class Pieces(Protocol):
    """A body as it comes."""

    status: int
    headers: list[tuple[bytes, bytes]]

    async def read(self, idle: float) -> bytes:
        """What has come; waits up to ``idle`` seconds for something. b"" at its end."""

    async def aclose(self) -> None:
        """Cut the connection."""


class EventStream:
    """Server-sent events as they come: ``async for event in stream``, which ends when the service ends it.

    Raises :class:`Truncated` where the connection breaks, :class:`TimedOut` after ``idle`` seconds of silence.
    ``on_bytes`` is told how many bytes came.
    """

    def __init__(self, pieces: Pieces, parser: Stream, idle: float, on_bytes: Callable[[int], None]) -> None:
        self.parser = parser
        self._pieces = pieces
        self._idle = idle
        self._on_bytes = on_bytes
        self._events: deque[ServerEvent] = deque()

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        await self.aclose()

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> ServerEvent:
        while not self._events:
            piece = await self._pieces.read(self._idle)
            if not piece:
                raise StopAsyncIteration
            self._on_bytes(len(piece))
            self._events.extend(self.parser.feed(piece))
        return self._events.popleft()

    async def aclose(self) -> None:
        """Cut the connection. Harmless when repeated."""
        await self._pieces.aclose()


async def refusal(pieces: Pieces) -> bytes:
    """The body of an answer that is no stream, as far as it comes soon and is of a size; closes it."""
    body = bytearray()
    # What befalls the rest of a refusal does not matter: its status has come.
    with suppress(ControllerError, TimeoutError):
        async with asyncio.timeout(_REFUSAL_SECONDS):
            while len(body) < _REFUSAL and (piece := await pieces.read(_REFUSAL_SECONDS)):
                body += piece
    await pieces.aclose()
    return bytes(body[:_REFUSAL])


class StreamWire(asyncio.Protocol):
    """One connection that carries one request and an answer of any length."""

    def __init__(self, controller: str, limits: Limits) -> None:
        self.status = 0
        self.headers: list[tuple[bytes, bytes]] = []
        self._controller = controller
        self._limits = limits
        self._resource = ""
        self._parser = httptools.HttpResponseParser(self)
        self._transport: asyncio.Transport | None = None
        loop = asyncio.get_running_loop()
        self._lost: asyncio.Future[None] = loop.create_future()
        self._waiter: asyncio.Future[None] | None = None
        self._told: list[tuple[bytes, bytes]] = []
        self._held: list[bytes] = []
        self._size = 0
        self._barren = 0
        self._in_body = False
        self._framed = False
        """Whether the head says where the body ends."""
        self._over = False
        self._failure: ControllerError | None = None

    @property
    def certificate(self) -> bytes | None:
        """The peer's certificate in DER; None without TLS."""
        tls = self._transport.get_extra_info("ssl_object") if self._transport is not None else None
        return None if tls is None else cast("bytes | None", tls.getpeercert(binary_form=True))

    @property
    def open(self) -> bool:
        """Whether the connection stands."""
        return self._transport is not None

    async def begin(self, request: bytes, resource: str, deadline: float) -> None:
        """Send the request and wait for the head, until ``deadline`` in the loop's time."""
        self._resource = resource
        if self._transport is not None:
            self._transport.write(request)
        try:
            async with asyncio.timeout_at(deadline):
                while not self._in_body and not self._over and self._failure is None:
                    await self._change()
        except TimeoutError as error:
            raise TimedOut(self._controller, resource, "waiting for the head of the answer") from error
        if self._failure is not None:
            raise self._failure

    async def read(self, idle: float) -> bytes:
        """What has come; see :class:`Pieces`."""
        try:
            async with asyncio.timeout(idle):
                while not self._held and not self._over and self._failure is None:
                    await self._change()
        except TimeoutError as error:
            raise TimedOut(self._controller, self._resource, f"nothing came for {idle:g} s") from error
        if self._held:
            piece = b"".join(self._held)
            if self._size > HELD and self._transport is not None:
                self._transport.resume_reading()
            self._held, self._size = [], 0
            return piece
        if self._failure is not None:
            raise self._failure
        return b""

    def abort(self) -> None:
        """Cut the connection now."""
        if self._transport is not None:
            self._transport.abort()

    async def aclose(self) -> None:
        """Cut the connection; returns when it is."""
        self.abort()
        if self._transport is not None:
            await asyncio.wait((self._lost,), timeout=1.0)

    # What the event loop calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Open."""
        self._transport = cast("asyncio.Transport", transport)

    def connection_lost(self, exc: Exception | None) -> None:
        """Closed: an end where the body had none of its own, a break otherwise."""
        self._transport = None
        if not self._lost.done():
            self._lost.set_result(None)
        reason = "the connection was closed" if exc is None else str(exc) or type(exc).__name__
        if self._over or self._failure is not None:
            pass
        elif not self._in_body:
            self._failure = Unreachable(self._controller, self._resource, f"{reason} before an answer began")
        elif self._framed or exc is not None:
            self._failure = Truncated(self._controller, self._resource, reason)
        else:
            self._over = True
        self._wake()

    def data_received(self, data: bytes) -> None:
        """Parse what came; what brings no byte of body is bounded."""
        if self._over or self._failure is not None:
            return
        before = self._size
        try:
            self._parser.feed_data(data)
        except (httptools.HttpParserError, httptools.HttpParserUpgrade) as error:
            self._fail(self._failure or BrokenHttp(self._controller, self._resource, str(error)))
            return
        self._barren = self._barren + len(data) if self._size == before else 0
        if self._barren > self._limits.max_head:
            self._fail(TooBig(self._controller, self._resource, f"its head is over {self._limits.max_head} bytes"))
        elif self._size > HELD and self._transport is not None:
            self._transport.pause_reading()
        self._wake()

    # What the parser calls

    def on_header(self, name: bytes, value: bytes) -> None:
        """Keep a header; trailers are dropped."""
        if not self._in_body:
            self._told.append((name.lower(), value))

    def on_headers_complete(self) -> None:
        """The head is whole; an interim one is forgotten."""
        status = self._parser.get_status_code()
        if status < 200:
            self._told = []
            return
        self.status, self.headers, self._in_body = status, self._told, True
        self._framed = any(name in (b"content-length", b"transfer-encoding") for name, _ in self._told)
        for name, value in self._told:
            if name == b"content-encoding" and value.strip().lower() != b"identity":
                told = value.decode("latin-1")
                self._failure = Malformed(
                    self._controller, self._resource, f"Content-Encoding {told} was not asked for"
                )
                raise self._failure

    def on_body(self, data: bytes) -> None:
        """Hold a piece until it is read."""
        self._held.append(data)
        self._size += len(data)

    def on_message_complete(self) -> None:
        """The end of the answer."""
        if self._in_body:
            self._over = True
            if self._transport is not None:
                self._transport.close()

    # Inside

    async def _change(self) -> None:
        self._waiter = asyncio.get_running_loop().create_future()
        try:
            await self._waiter
        finally:
            self._waiter = None

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    def _fail(self, failure: ControllerError) -> None:
        self._failure = failure
        self._wake()
        self.abort()


class HttpxPieces:
    """The body of an answer that came through a foreign httpx transport."""

    def __init__(
        self,
        response: httpx.Response,
        controller: str,
        resource: str,
        translate: Callable[[httpx.HTTPError, str, str], ControllerError],
    ) -> None:
        self.status = response.status_code
        self.headers = [(name.lower(), value) for name, value in response.headers.raw]
        self._response = response
        self._controller = controller
        self._resource = resource
        self._translate = translate
        self._pieces: AsyncIterator[bytes] = response.aiter_bytes()

    async def read(self, idle: float) -> bytes:
        """What has come; see :class:`Pieces`."""
        try:
            async with asyncio.timeout(idle):
                return await anext(self._pieces, b"")
        except TimeoutError as error:
            raise TimedOut(self._controller, self._resource, f"nothing came for {idle:g} s") from error
        except httpx.HTTPError as error:
            raise self._translate(error, self._controller, self._resource) from error

    async def aclose(self) -> None:
        """Let go of the connection."""
        await self._response.aclose()


def no_stream(error: ControllerError) -> bool:
    """Whether an error says that there is no stream to be had, rather than that one broke or has to wait."""
    if isinstance(error, HttpStatus):
        return not error.temporary
    return isinstance(error, Malformed) and not isinstance(error, (Truncated, BrokenHttp))
