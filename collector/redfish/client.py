"""GETs and other requests to one controller, authenticated by its :mod:`collector.redfish.session`.

Redirects are followed on this origin only; everything sent and received is counted.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable
from types import TracebackType
from typing import Protocol, Self, TypeVar

import httpx
from msgspec import structs

from collector.model import Defect
from collector.redfish import links, sse
from collector.redfish.channel import Headers, channel_through
from collector.redfish.errors import ForeignOrigin, LoginRefused, Malformed
from collector.redfish.event_stream import IDLE, EventStream, Pieces, refusal
from collector.redfish.flow import Answer, Ask, answered
from collector.redfish.left_over import SessionNotes
from collector.redfish.session import JSON, REDIRECTS, Session, Way
from collector.redfish.wire import Limits, Reply
from collector.settings import ControllerSettings

log = logging.getLogger(__name__)

_MAX_REDIRECTS = 3


class _Answered(Protocol):
    @property
    def status(self) -> int: ...


A = TypeVar("A", bound=_Answered)


class Client:
    """GETs from one controller, authenticated. Use as an async context manager, or call :meth:`aclose`.

    ``transport``: any httpx transport in place of the network. ``requests`` and ``bytes_received`` count everything
    that was sent and the bytes of body that came, logins included. ``notes``: where its open session is noted.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        *,
        in_flight: int = 1,
        transport: httpx.AsyncBaseTransport | None = None,
        limits: Limits | None = None,
        close_timeout: float = 5.0,
        notes: SessionNotes | None = None,
    ) -> None:
        self.settings = settings
        self.in_flight = in_flight
        self.requests = 0
        self.bytes_received = 0
        self._channel = channel_through(transport, settings, in_flight=in_flight, limits=limits or Limits())
        self._close_timeout = close_timeout
        self._session = Session(settings, self._send, self._following, notes)
        self._closed = False

    def __repr__(self) -> str:
        return f"Client({self.settings.name!r}, {self.way.value})"

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        await self.aclose()

    async def connect(self, *, anew: bool = False) -> None:
        """Log in unless that is done. ``anew`` tries for a session again where the table was full.

        A refused login is remembered, and every GET fails with it without asking the service, until this is called
        again: nothing but the caller's schedule decides how often a password is tried.
        """
        session = self._session
        session.refusal = None
        if anew and session.table_full:
            session.way = Way.NOT_YET
        if session.way is Way.NOT_YET:
            await session.log_in()

    @property
    def way(self) -> Way:
        """How requests are authenticated right now."""
        return self._session.way

    @property
    def logins(self) -> int:
        """How often it has logged in: another number, another session."""
        return self._session.generation

    @property
    def certificate(self) -> bytes | None:
        """What the controller presented when a connection was made last, in DER; None without TLS."""
        return self._channel.certificate

    @property
    def crowded(self) -> Defect | None:
        """The defect of a session table that had no room for us; None where we have a session or need none."""
        return self._session.crowded

    async def get(self, path: str, etag: str | None = None, *, timeout: float | None = None) -> Reply:
        """GET a path of this service, with query; 200, or 304 where ``etag`` still holds. Logs in where needed.

        Raises a :class:`ControllerError`: :class:`HttpStatus` for any other status, :class:`LoginRefused` where a new
        login did not help against a 401, :class:`ForeignOrigin` for a redirect that leads away.
        """
        reply = await self._authenticated(path, lambda: self._get(path, etag, timeout))
        if reply.status in REDIRECTS:
            reply = await self._following(
                path, reply, lambda at: self._authenticated(at, lambda: self._get(at, etag, timeout))
            )
        if reply.status == 200 or (reply.status == 304 and etag is not None):
            return reply
        raise self._session.status_error(path, reply)

    async def exchange(self, ask: Ask, *, timeout: float | None = None) -> Answer:
        """One request of a flow, any status as an answer; logs in where needed, like :meth:`get`.

        Raises a :class:`ControllerError` for what befell the connection or the login.
        """
        reply = await self._authenticated(ask.path, lambda: self._asked(ask, ask.path, timeout))
        if reply.status in REDIRECTS and ask.method == "GET":
            reply = await self._following(
                ask.path, reply, lambda at: self._authenticated(at, lambda: self._asked(ask, at, timeout))
            )
        answer = answered(ask, reply, self.settings.name)
        return structs.replace(answer, text=self._session.without_secrets(answer.text)) if answer.text else answer

    async def stream(
        self, path: str, parser: sse.Stream, *, timeout: float | None = None, idle: float = IDLE
    ) -> EventStream:
        """Open an event stream, on a connection of its own beside the requests; the caller closes it.

        ``parser.last_id`` is sent as Last-Event-ID; ``timeout``: seconds for the head; ``idle``: of silence later.
        Raises :class:`HttpStatus` for any status but 200, :class:`Malformed` for what is no event stream.
        """
        answer = await self._authenticated(path, lambda: self._open(path, parser.last_id, timeout))
        if isinstance(answer, Reply):
            raise self._session.status_error(path, answer)
        kind = next((value.decode("latin-1") for name, value in answer.headers if name == b"content-type"), "")
        if why := sse.refused(answer.status, kind):
            await answer.aclose()
            raise Malformed(self.settings.name, path, why)
        return EventStream(answer, parser, idle, self._count)

    async def aclose(self) -> None:
        """Delete the session, within a few seconds, and close the connections. Harmless when repeated."""
        if self._closed:
            return
        self._closed = True
        try:
            async with asyncio.timeout(self._close_timeout):
                await self._session.close()
        except TimeoutError:
            log.warning(
                "%s: no time to delete its session; it ends when the service's time-out does", self.settings.name
            )
        finally:
            self._session.cancel()
            await self._channel.aclose()

    # One GET

    async def _following(self, path: str, reply: Reply, get: Callable[[str], Awaitable[Reply]]) -> Reply:
        """The redirects that a GET of ``path`` was answered with, as long as they stay on this origin."""
        for _ in range(_MAX_REDIRECTS):
            reply = await get(self._redirected(path, reply))
            if reply.status not in REDIRECTS:
                return reply
        raise Malformed(self.settings.name, path, f"more than {_MAX_REDIRECTS} redirects")

    async def _authenticated(self, path: str, send: Callable[[], Awaitable[A]]) -> A:
        """One request; a 401 is answered with one new login and one more try."""
        session = self._session
        if session.refusal is not None:
            raise LoginRefused(self.settings.name, path, session.refusal.detail)
        if session.way is Way.NOT_YET:
            await session.log_in()
        generation = session.generation
        answer = await send()
        if answer.status != 401:
            return answer
        if session.way is Way.SESSION or generation != session.generation:
            if generation == session.generation:
                await session.log_in()
            answer = await send()
            if answer.status != 401:
                return answer
        reply = answer if isinstance(answer, Reply) else Reply(401, [], b"")
        if session.way is Way.BASIC:  # this was the login
            session.way = Way.NOT_YET
            raise session.refused(path, reply)
        raise session.login_refused(path, reply)

    async def _get(self, path: str, etag: str | None, timeout: float | None) -> Reply:
        headers = (
            self._session.headers
            if etag is None
            else (*self._session.headers, (b"If-None-Match", etag.encode("latin-1")))
        )
        self.requests += 1
        reply = await self._channel.get(path, headers, timeout=timeout)
        self.bytes_received += len(reply.body)
        return reply

    async def _asked(self, ask: Ask, path: str, timeout: float | None) -> Reply:
        if ask.method == "GET":
            return await self._get(path, ask.etag or None, timeout)
        headers = self._session.headers if ask.body is None else (*self._session.headers, JSON)
        if ask.if_match:
            headers = (*headers, (b"If-Match", ask.if_match.encode("latin-1")))
        body = b"" if ask.body is None else json.dumps(ask.body).encode()
        return await self._send(ask.method, path, headers, body, timeout)

    async def _open(self, path: str, last_id: str, timeout: float | None) -> Reply | Pieces:
        """The answer to the GET of a stream: whole where it is a refusal, else as it comes."""
        headers = [(name, value) for name, value in self._session.headers if name != b"Accept"]
        # JSON as well, for refusals, and because there are services that look for nothing else.
        headers += [(b"Accept", b"text/event-stream, application/json;q=0.5"), (b"Cache-Control", b"no-cache")]
        if last_id and last_id.isprintable():
            headers.append((b"Last-Event-ID", last_id.encode("utf-8")))
        self.requests += 1
        pieces = await self._channel.stream(path, headers, timeout=timeout)
        if pieces.status == 200:
            return pieces
        body = await refusal(pieces)
        self._count(len(body))
        return Reply(pieces.status, pieces.headers, body)

    def _count(self, received: int) -> None:
        self.bytes_received += received

    async def _send(
        self, method: str, path: str, headers: Headers, body: bytes = b"", timeout: float | None = None
    ) -> Reply:
        self.requests += 1
        reply = await self._channel.request(method, path, headers, body, timeout=timeout)
        self.bytes_received += len(reply.body)
        return reply

    def _redirected(self, asked: str, reply: Reply) -> str:
        location = reply.header(b"location")
        try:
            return links.target(location, self.settings.url).path
        except links.BadLink as error:
            kind = ForeignOrigin if error.foreign else Malformed
            raise kind(self.settings.name, asked, f"redirect to {location!r} {error}") from error
