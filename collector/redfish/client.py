"""One controller's session: log in once, reuse, log in again when it is lost, log out on the way out.

DSP0266 sections 'Redfish session login authentication' and 'HTTP Basic authentication'. At most one session a
controller is open at any time: a lost one is deleted before the next is made, also one that a killed process left (see
:mod:`collector.redfish.left_over`), and a login that its caller no longer waits for is let finish, so that what it made
can be deleted.
"""

from __future__ import annotations

import asyncio
import base64
import json
import logging
from collections.abc import Awaitable, Callable
from enum import Enum
from types import TracebackType
from typing import Protocol, Self, TypeVar

import httpx
from msgspec import structs

from collector.model import Defect, DefectKind
from collector.redfish import links, sse
from collector.redfish.bodies import decode
from collector.redfish.channel import Headers, channel_through
from collector.redfish.errors import ControllerError, ForeignOrigin, HttpStatus, LoginRefused, Malformed
from collector.redfish.event_stream import IDLE, EventStream, Pieces, refusal
from collector.redfish.flow import Answer, Ask, answered
from collector.redfish.left_over import LeftOver, Removal, SessionNotes, left_over, remove
from collector.redfish.messages import status_error
from collector.redfish.resources import SERVICE_ROOT
from collector.redfish.session_links import SESSIONS, made_at, sessions_path
from collector.redfish.wire import Limits, Reply
from collector.settings import ControllerSettings, Credential

log = logging.getLogger(__name__)

_NO_SESSIONS_HERE = frozenset({404, 405, 410, 501})
_TABLE_FULL = frozenset({"SessionLimitExceeded", "CreateLimitReachedForResource"})
"""Message keys of the Base registry, DSP8011."""
_MAKE_ROOM = "end sessions that nobody uses, or shorten its SessionTimeout"
_REDIRECTS = frozenset({301, 302, 303, 307, 308})
_MAX_REDIRECTS = 3
_JSON: tuple[bytes, bytes] = (b"Content-Type", b"application/json")
_ALWAYS: Headers = ((b"Accept", b"application/json"), (b"OData-Version", b"4.0"))


class _Answered(Protocol):
    @property
    def status(self) -> int: ...


A = TypeVar("A", bound=_Answered)


class Way(Enum):
    """How requests are authenticated right now."""

    NOT_YET = "not logged in"
    NONE = "none"
    """The fleet file gives no credentials."""
    SESSION = "session"
    BASIC = "basic"
    """The service has no sessions, or no room for one more."""


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
        self.way = Way.NOT_YET
        self._channel = channel_through(transport, settings, in_flight=in_flight, limits=limits or Limits())
        self._close_timeout = close_timeout
        self._headers: Headers = _ALWAYS
        self._token: str | None = None
        self._session: LeftOver | None = None
        """The open session."""
        self._notes = notes
        self._left = notes.recall() if notes is not None else None
        """A session that is not used any more and may still be there."""
        self._basic_refused = False
        """Whether basic authentication failed for that: it is not tried twice, since it counts as a login."""
        self._table_full = False
        self._sessions_at = SESSIONS
        """Where its sessions are made."""
        self._refusal: LoginRefused | None = None
        self._login: asyncio.Task[None] | None = None
        self._generation = 0
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
        self._refusal = None
        if anew and self._table_full:
            self.way = Way.NOT_YET
        if self.way is Way.NOT_YET:
            await self._log_in()

    @property
    def crowded(self) -> Defect | None:
        """The defect of a session table that had no room for us; None where we have a session or need none."""
        if not self._table_full:
            return None
        return Defect(
            controller=self.settings.name,
            resource=self._sessions_at,
            property="",
            kind=DefectKind.HTTP_ERROR,
            detail=f"the session table is full, so every request logs in by itself; {_MAKE_ROOM}",
        )

    async def get(self, path: str, etag: str | None = None, *, timeout: float | None = None) -> Reply:
        """GET a path of this service, with query; 200, or 304 where ``etag`` still holds. Logs in where needed.

        Raises a :class:`ControllerError`: :class:`HttpStatus` for any other status, :class:`LoginRefused` where a new
        login did not help against a 401, :class:`ForeignOrigin` for a redirect that leads away.
        """
        reply = await self._authenticated(path, lambda: self._get(path, etag, timeout))
        if reply.status in _REDIRECTS:
            reply = await self._following(
                path, reply, lambda at: self._authenticated(at, lambda: self._get(at, etag, timeout))
            )
        if reply.status == 200 or (reply.status == 304 and etag is not None):
            return reply
        raise self._status_error(path, reply)

    async def exchange(self, ask: Ask, *, timeout: float | None = None) -> Answer:
        """One request of a flow, any status as an answer; logs in where needed, like :meth:`get`.

        Raises a :class:`ControllerError` for what befell the connection or the login.
        """
        reply = await self._authenticated(ask.path, lambda: self._asked(ask, ask.path, timeout))
        if reply.status in _REDIRECTS and ask.method == "GET":
            reply = await self._following(
                ask.path, reply, lambda at: self._authenticated(at, lambda: self._asked(ask, at, timeout))
            )
        answer = answered(ask, reply, self.settings.name)
        return structs.replace(answer, text=self._without_secrets(answer.text)) if answer.text else answer

    async def stream(
        self, path: str, parser: sse.Stream, *, timeout: float | None = None, idle: float = IDLE
    ) -> EventStream:
        """Open an event stream, on a connection of its own beside the requests; the caller closes it.

        ``parser.last_id`` is sent as Last-Event-ID; ``timeout``: seconds for the head; ``idle``: of silence later.
        Raises :class:`HttpStatus` for any status but 200, :class:`Malformed` for what is no event stream.
        """
        answer = await self._authenticated(path, lambda: self._open(path, parser.last_id, timeout))
        if isinstance(answer, Reply):
            raise self._status_error(path, answer)
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
                if self._login is not None and not self._login.done():
                    await asyncio.wait((self._login,))
                await self._delete_session()
        except TimeoutError:
            log.warning(
                "%s: no time to delete its session; it ends when the service's time-out does", self.settings.name
            )
        finally:
            if self._login is not None:
                self._login.cancel()
            await self._channel.aclose()

    # One GET

    async def _following(self, path: str, reply: Reply, get: Callable[[str], Awaitable[Reply]]) -> Reply:
        """The redirects that a GET of ``path`` was answered with, as long as they stay on this origin."""
        for _ in range(_MAX_REDIRECTS):
            reply = await get(self._redirected(path, reply))
            if reply.status not in _REDIRECTS:
                return reply
        raise Malformed(self.settings.name, path, f"more than {_MAX_REDIRECTS} redirects")

    async def _authenticated(self, path: str, send: Callable[[], Awaitable[A]]) -> A:
        """One request; a 401 is answered with one new login and one more try."""
        if self._refusal is not None:
            raise LoginRefused(self.settings.name, path, self._refusal.detail)
        if self.way is Way.NOT_YET:
            await self._log_in()
        generation = self._generation
        answer = await send()
        if answer.status != 401:
            return answer
        if self.way is Way.SESSION or generation != self._generation:
            if generation == self._generation:
                await self._log_in()
            answer = await send()
            if answer.status != 401:
                return answer
        reply = answer if isinstance(answer, Reply) else Reply(401, [], b"")
        if self.way is Way.BASIC:  # this was the login
            self.way = Way.NOT_YET
            raise self._refused(path, reply)
        raise self._login_refused(path, reply)

    async def _get(self, path: str, etag: str | None, timeout: float | None) -> Reply:
        headers = self._headers if etag is None else (*self._headers, (b"If-None-Match", etag.encode("latin-1")))
        self.requests += 1
        reply = await self._channel.get(path, headers, timeout=timeout)
        self.bytes_received += len(reply.body)
        return reply

    async def _asked(self, ask: Ask, path: str, timeout: float | None) -> Reply:
        if ask.method == "GET":
            return await self._get(path, ask.etag or None, timeout)
        headers = self._headers if ask.body is None else (*self._headers, _JSON)
        body = b"" if ask.body is None else json.dumps(ask.body).encode()
        return await self._send(ask.method, path, headers, body, timeout)

    async def _open(self, path: str, last_id: str, timeout: float | None) -> Reply | Pieces:
        """The answer to the GET of a stream: whole where it is a refusal, else as it comes."""
        headers = [(name, value) for name, value in self._headers if name != b"Accept"]
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

    # Login and logout

    async def _log_in(self) -> None:
        """Log in once, however many wait for it; the login itself outlives a caller that is cancelled."""
        if self._closed:
            raise RuntimeError("the client is closed")
        if self._login is None or self._login.done():
            self._login = asyncio.create_task(self._logged_in(), name=f"login {self.settings.name}")
            self._login.add_done_callback(_look_at)
        await asyncio.shield(self._login)

    async def _logged_in(self) -> None:
        await self._delete_session()
        self._headers, self._token, self._table_full = _ALWAYS, None, False
        self.way = Way.NOT_YET
        credential = self.settings.credential
        if credential is None:
            self.way = Way.NONE
        elif not await self._open_session(credential):
            self._authenticate(Way.BASIC, *_basic(credential))
        self._generation += 1

    def _authenticate(self, way: Way, name: bytes, value: bytes) -> None:
        self.way = way
        self._headers = (*_ALWAYS, (name, value))

    async def _open_session(self, credential: Credential) -> bool:
        """Make a session; False where the service has none to give, for now or ever."""
        path = self._sessions_at = await self._sessions_path()
        if self._left is not None and not self._basic_refused:
            await self._remove_left_over((*_ALWAYS, _basic(credential)))
        username, password = credential.username, credential.password.get_secret_value()
        body = json.dumps({"UserName": username, "Password": password}).encode()
        reply = await self._send("POST", path, (*_ALWAYS, _JSON), body)
        if reply.status in (200, 201, 204):
            token = reply.header(b"x-auth-token")
            if not token or not token.isascii() or not token.isprintable():
                raise Malformed(self.settings.name, path, "a session without a usable X-Auth-Token")
            self._token = token
            made = self._session_path(reply)
            self._session = None if made is None else left_over(made, reply, username, self.settings.name)
            self._authenticate(Way.SESSION, b"X-Auth-Token", token.encode("ascii"))
            self._note(self._session)
            if self._left is not None and self._left.path != made:  # without basic authentication, this is the way
                await self._remove_left_over(self._headers)
            self._left = None
            return True
        if reply.status in _NO_SESSIONS_HERE:
            return False
        error = self._status_error(path, reply)
        if _TABLE_FULL.intersection(error.keys):
            log.warning("%s: its session table is full; using basic authentication for now", self.settings.name)
            self._table_full = True
            return False
        if reply.status in (400, 401, 403):
            raise self._refused(path, reply)
        raise error

    async def _sessions_path(self) -> str:
        """From the service root, which needs no login."""
        reply = await self._send("GET", SERVICE_ROOT, _ALWAYS)
        if reply.status in _REDIRECTS:
            reply = await self._following(SERVICE_ROOT, reply, lambda at: self._send("GET", at, _ALWAYS))
        if reply.status in (401, 403):
            return SESSIONS  # against the standard; perhaps it lets us log in nevertheless
        if reply.status != 200:
            raise self._status_error(SERVICE_ROOT, reply)
        root = decode(reply.body, self.settings.name, SERVICE_ROOT)
        return sessions_path(root, self.settings.url, self.settings.name)

    def _session_path(self, reply: Reply) -> str | None:
        try:
            return made_at(reply, self.settings.url, self.settings.name)
        except links.BadLink as error:
            log.warning(
                "%s: can't tell where its session is (Location %s); it will time out", self.settings.name, error
            )
            return None

    async def _delete_session(self) -> None:
        session, self._session = self._session, None
        if session is None or self._token is None:
            return
        try:
            reply = await self._send("DELETE", session.path, self._headers)
        except ControllerError as error:
            self._left = session
            log.warning("%s; its session ends at the next login, or when the service's time-out does", error)
            return
        if reply.status >= 400 and reply.status not in (401, 404, 410):  # those: it is gone already
            self._left = session
            failure = self._status_error(session.path, reply)
            log.warning("%s; its session ends at the next login, or when the service's time-out does", failure)
            return
        self._note(None)

    async def _remove_left_over(self, headers: Headers) -> None:
        """Delete what an earlier session left, before there are two of them; what fails here is not the login's."""
        assert self._left is not None
        left = self._left
        removal = await remove(left, self.settings.name, lambda method, path: self._send(method, path, headers))
        if removal is Removal.GONE:
            self._left = None
            if self._session is None:  # else the note is of the new one already
                self._note(None)
            return
        self._basic_refused = self._basic_refused or removal is Removal.NOT_LET
        log.info("%s: the earlier session %s can't be deleted now: %s", self.settings.name, left.path, removal.value)

    def _note(self, session: LeftOver | None) -> None:
        if self._notes is not None:
            self._notes.note(session)

    # Errors

    def _refused(self, path: str, reply: Reply) -> LoginRefused:
        """The password was refused: remember that."""
        self._refusal = self._login_refused(path, reply)
        return self._refusal

    def _login_refused(self, path: str, reply: Reply) -> LoginRefused:
        detail = self._status_error(path, reply).detail
        if self._table_full:
            detail += f"; its session table is full and it takes no basic authentication: {_MAKE_ROOM}"
        if self.settings.credential is None:
            detail += "; the fleet file gives no credentials for it"
        return LoginRefused(self.settings.name, path, detail)

    def _status_error(self, path: str, reply: Reply) -> HttpStatus:
        return status_error(self.settings.name, path, reply, secrets=self._secrets())

    def _secrets(self) -> tuple[str, str]:
        credential = self.settings.credential
        return (credential.password.get_secret_value() if credential is not None else "", self._token or "")

    def _without_secrets(self, text: str) -> str:
        for secret in self._secrets():
            text = text.replace(secret, "***") if secret else text
        return text


def _basic(credential: Credential) -> tuple[bytes, bytes]:
    pair = f"{credential.username}:{credential.password.get_secret_value()}"
    return b"Authorization", b"Basic " + base64.b64encode(pair.encode())


def _look_at(login: asyncio.Task[None]) -> None:
    """Take note of a login's error where its caller has gone; a refusal is kept by the client itself."""
    if not login.cancelled():
        login.exception()
