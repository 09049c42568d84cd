"""One HTTP/1.1 connection, one exchange at a time: bytes out, one bounded answer back.

This is the poll path. llhttp (by httptools) parses, the event loop does TLS; there is no queue, no stream and no task
of its own. What goes wrong is an error of :mod:`collector.redfish.errors` on the future that :meth:`Wire.send` gave.
"""

from __future__ import annotations

import asyncio
import zlib
from typing import cast

import httptools
from msgspec import Struct

from collector.redfish.errors import BrokenHttp, ControllerError, Malformed, TimedOut, TooBig, Truncated, Unreachable


class Limits(Struct, frozen=True, kw_only=True):
    """Bounds of every exchange; seconds and bytes."""

    connect_timeout: float = 10.0
    response_timeout: float = 30.0
    """From the request sent to the last byte of the answer."""
    max_head: int = 64 * 1024
    """Of a head, and of anything else that brings no byte of body: chunk extensions, trailers, interim answers."""
    max_body: int = 32 * 1024 * 1024
    """Of a body as it comes, and again as it is when decompressed."""


class Reply(Struct, frozen=True):
    """One answer, whole and decompressed."""

    status: int
    headers: list[tuple[bytes, bytes]]
    """Names in lower case, in the order received."""
    body: bytes

    def header(self, name: bytes) -> str | None:
        """The first header of that lower-case name, as text."""
        for other, value in self.headers:
            if other == name:
                return value.decode("latin-1").strip()
        return None


class ClosedWhileIdle(Exception):
    """A kept connection ended before a byte of the answer came: the server had grown tired of it. Safe to ask anew."""


class Wire(asyncio.Protocol):
    """A connection. ``ready`` while it can take a request; after any failure it is closed for good."""

    _headers: list[tuple[bytes, bytes]]
    _body: bytes | bytearray
    _raw: int
    """Bytes of the body as they came."""
    _unpack: zlib._Decompress | None

    def __init__(self, controller: str, limits: Limits) -> None:
        self._controller = controller
        self._limits = limits
        self._loop = asyncio.get_running_loop()
        self._parser = httptools.HttpResponseParser(self)
        self._transport: asyncio.Transport | None = None
        self._lost = self._loop.create_future()
        self._answer: asyncio.Future[Reply] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._failure: ControllerError | None = None
        self._resource = ""
        self._served = 0
        self._last = False  # no request after the one under way
        self._begun = False  # a byte of the answer has come
        self._barren = 0  # bytes that came since the last byte of body
        self._in_body = False
        self._until_close = False
        self._fresh_answer()

    # What the owner calls

    @property
    def ready(self) -> bool:
        """Whether it is open and nothing is under way."""
        return self._transport is not None and self._answer is None and not self._last

    @property
    def certificate(self) -> bytes | None:
        """The peer's certificate in DER; None without TLS."""
        tls = self._transport.get_extra_info("ssl_object") if self._transport is not None else None
        return None if tls is None else cast("bytes | None", tls.getpeercert(binary_form=True))

    def send(self, request: bytes, resource: str, deadline: float) -> asyncio.Future[Reply]:
        """Send a request; the future brings the answer, or fails by ``deadline`` (in the loop's time) at the latest."""
        if self._transport is None or self._answer is not None:
            raise RuntimeError("a wire carries one exchange at a time, and none once it is closed")
        self._answer = answer = self._loop.create_future()
        self._resource = resource
        self._fresh_answer()
        self._barren = 0
        self._begun = False
        self._timer = self._loop.call_at(deadline, self._expire)
        self._transport.write(request)
        return answer

    def abort(self) -> None:
        """Cut the connection now."""
        self._last = True
        if self._timer is not None:
            self._timer.cancel()
        if self._transport is not None:
            self._transport.abort()

    async def aclose(self) -> None:
        """Close, with a farewell of at most a second where nothing is under way; returns when it is closed."""
        if self._answer is None and self._transport is not None:
            self._last = True
            self._transport.close()
            await asyncio.wait((self._lost,), timeout=1.0)
        self.abort()
        if self._transport is not None:
            await asyncio.wait((self._lost,), timeout=1.0)

    # What the event loop calls

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Open."""
        self._transport = cast("asyncio.Transport", transport)

    def connection_lost(self, exc: Exception | None) -> None:
        """Closed: an answer without a length ends here, any other is cut short."""
        self._transport = None
        if not self._lost.done():
            self._lost.set_result(None)
        if self._answer is None:
            return
        reason = "the connection was closed" if exc is None else str(exc) or type(exc).__name__
        if not self._begun:
            if self._served:
                self._finish(ClosedWhileIdle(reason))
            else:
                self._finish(Unreachable(self._controller, self._resource, f"{reason} before an answer began"))
        elif self._until_close and exc is None:
            self.on_message_complete()
        else:
            self._finish(Truncated(self._controller, self._resource, f"{reason} after {self._raw} bytes of the body"))

    def data_received(self, data: bytes) -> None:
        """Parse what came; anything beyond the bounds ends the connection."""
        if self._answer is None:
            self.abort()  # nobody asked: a farewell such as 408, or the tail of an answer that was too long
            return
        self._begun = True
        before = self._raw
        try:
            self._parser.feed_data(data)
        except (httptools.HttpParserError, httptools.HttpParserUpgrade) as error:
            self._fail(self._failure or BrokenHttp(self._controller, self._resource, str(error)))
            return
        if self._raw == before:
            self._barren += len(data)
            if self._barren > self._limits.max_head:
                self._fail(self._too_big("head", self._limits.max_head))
        else:
            self._barren = 0

    # What the parser calls

    def on_message_begin(self) -> None:
        """A second answer to one request is nothing we can trust the order of."""
        if self._answer is None:
            self._last = True

    def on_header(self, name: bytes, value: bytes) -> None:
        """Keep a header; trailers are dropped."""
        if not self._in_body:
            self._headers.append((name.lower(), value))

    def on_headers_complete(self) -> None:
        """Look at how the body is framed and packed."""
        self._in_body = True
        self._until_close = True
        for name, value in self._headers:
            if name == b"content-length":
                self._until_close = False
                if int(value) > self._limits.max_body:
                    raise self._refuse(self._too_big("body", self._limits.max_body))
            elif name == b"transfer-encoding":
                self._until_close = False
            elif name == b"content-encoding" and value.lower() != b"identity":
                self._unpack = self._unpacker(value.strip().lower())

    def on_body(self, data: bytes) -> None:
        """Take a piece of the body. One piece, the usual case, is kept without a copy."""
        self._raw += len(data)
        if self._raw > self._limits.max_body:
            raise self._refuse(self._too_big("body", self._limits.max_body))
        if self._unpack is not None:
            data = self._unpacked(data)
        if not self._body:
            self._body = data
        elif isinstance(self._body, bytes):
            self._body = bytearray(self._body) + data
        else:
            self._body += data

    def on_message_complete(self) -> None:
        """Hand out the answer."""
        if self._answer is None:
            return
        status = self._parser.get_status_code()
        if status < 200:  # interim: the real answer follows
            self._fresh_answer()
            return
        if self._unpack is not None and not self._unpack.eof and self._raw:
            self._failure = Truncated(self._controller, self._resource, "the compressed body ends in its middle")
            self._fail(self._failure)
            return
        self._last = not self._parser.should_keep_alive()
        self._served += 1
        body = self._body
        self._finish(Reply(status, self._headers, body if isinstance(body, bytes) else bytes(body)))
        if self._last and self._transport is not None:
            self._transport.close()

    # Inside

    def _fresh_answer(self) -> None:
        self._headers = []
        self._body = b""
        self._raw = 0
        self._in_body = False
        self._until_close = False
        self._unpack = None

    def _unpacker(self, coding: bytes) -> zlib._Decompress:
        if coding in (b"gzip", b"x-gzip", b"deflate"):
            return zlib.decompressobj(wbits=47)  # 32 + 15: a zlib or gzip header, whichever stands there
        detail = f"Content-Encoding {coding.decode('latin-1')} was not asked for"
        raise self._refuse(Malformed(self._controller, self._resource, detail))

    def _unpacked(self, data: bytes) -> bytes:
        """Decompress a piece, never producing more than a byte beyond the bound: a bomb costs us nothing."""
        assert self._unpack is not None
        room = self._limits.max_body - len(self._body)
        try:
            if self._unpack.eof:
                raise zlib.error("data behind its end")
            plain = self._unpack.decompress(data, room + 1)
            if self._unpack.unused_data:
                raise zlib.error("data behind its end")
        except zlib.error as error:
            detail = f"the compressed body is damaged: {error}"
            raise self._refuse(Malformed(self._controller, self._resource, detail)) from error
        if len(plain) > room:
            raise self._refuse(self._too_big("decompressed body", self._limits.max_body))
        return plain

    def _too_big(self, what: str, bound: int) -> TooBig:
        return TooBig(self._controller, self._resource, f"its {what} is over {bound} bytes")

    def _refuse(self, failure: ControllerError) -> ControllerError:
        """Note why, since the parser replaces what its callbacks raise."""
        self._failure = failure
        return failure

    def _expire(self) -> None:
        detail = f"{self._raw} bytes of the body had come" if self._begun else ""
        self._fail(TimedOut(self._controller, self._resource, detail))

    def _fail(self, failure: Exception) -> None:
        self._finish(failure)
        self.abort()

    def _finish(self, result: Reply | Exception) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        answer, self._answer = self._answer, None
        if answer is None or answer.done():  # done: its task was cancelled
            return
        if isinstance(result, Reply):
            answer.set_result(result)
        else:
            self._last = True
            answer.set_exception(result)
