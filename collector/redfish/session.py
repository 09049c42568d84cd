"""How one controller's requests are authenticated: log in once, reuse, log in again when it is lost, log out.

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
from typing import Any, Protocol

from collector.model import Defect, DefectKind
from collector.redfish import links
from collector.redfish.bodies import decode
from collector.redfish.channel import Headers
from collector.redfish.errors import ControllerError, HttpStatus, LoginRefused, Malformed
from collector.redfish.left_over import Intent, LeftOver, Removal, SessionNotes, find_lost, left_over, remove
from collector.redfish.messages import status_error
from collector.redfish.resources import SERVICE_ROOT
from collector.redfish.session_links import SESSIONS, made_at, sessions_path
from collector.redfish.wire import Reply
from collector.settings import ControllerSettings, Credential

log = logging.getLogger(__name__)

ALWAYS: Headers = ((b"Accept", b"application/json"), (b"OData-Version", b"4.0"))
"""Headers of every request."""
JSON: tuple[bytes, bytes] = (b"Content-Type", b"application/json")
REDIRECTS = frozenset({301, 302, 303, 307, 308})
_NO_SESSIONS_HERE = frozenset({404, 405, 410, 501})
_TABLE_FULL = frozenset({"SessionLimitExceeded", "CreateLimitReachedForResource"})
"""Message keys of the Base registry, DSP8011."""
_MAKE_ROOM = "end sessions that nobody uses, or shorten its SessionTimeout"


class Way(Enum):
    """How requests are authenticated right now."""

    NOT_YET = "not logged in"
    NONE = "none"
    """The fleet file gives no credentials."""
    SESSION = "session"
    BASIC = "basic"
    """The service has no sessions, or no room for one more."""


class Send(Protocol):
    """How requests go out while none is authenticated yet."""

    async def __call__(self, method: str, path: str, headers: Headers, body: bytes = b"") -> Reply:
        """One request as it is, counted; raises a :class:`ControllerError` for what befell the connection."""
        ...


Following = Callable[[str, Reply, Callable[[str], Awaitable[Reply]]], Awaitable[Reply]]
"""Where the redirects lead that a GET of a path was answered with."""


class Session:
    """The login of one controller. ``send`` and ``following``: how it reaches the service."""

    def __init__(
        self, settings: ControllerSettings, send: Send, following: Following, notes: SessionNotes | None
    ) -> None:
        self.way = Way.NOT_YET
        self.headers: Headers = ALWAYS
        """Of every request, as it is authenticated now."""
        self.generation = 0
        """Logins so far."""
        self.refusal: LoginRefused | None = None
        """Of a password that is not to be tried again yet."""
        self.table_full = False
        self._settings = settings
        self._send = send
        self._following = following
        self._token: str | None = None
        self._session: LeftOver | None = None
        """The open session."""
        self._notes = notes
        self._left = notes.recall() if notes is not None else None
        """A session that is not used any more and may still be there."""
        self._lost = notes.intent() if notes is not None else None
        """When a session may have been made of which nobody knows."""
        self._basic_refused = False
        """Whether basic authentication failed for that: it is not tried twice, since it counts as a login."""
        self._sessions_at = SESSIONS
        """Where its sessions are made."""
        self._login: asyncio.Task[None] | None = None
        self._closed = False

    @property
    def crowded(self) -> Defect | None:
        """The defect of a session table that had no room for us; None where we have a session or need none."""
        if not self.table_full:
            return None
        return Defect(
            controller=self._settings.name,
            resource=self._sessions_at,
            property="",
            kind=DefectKind.HTTP_ERROR,
            detail=f"the session table is full, so every request logs in by itself; {_MAKE_ROOM}",
        )

    async def close(self) -> None:
        """Delete the session; the caller bounds the time. Nothing logs in again."""
        self._closed = True
        if self._login is not None and not self._login.done():
            await asyncio.wait((self._login,))
        await self._delete_session()

    def cancel(self) -> None:
        """Give up a login that is under way."""
        if self._login is not None:
            self._login.cancel()

    async def log_in(self) -> None:
        """Log in once, however many wait for it; the login itself outlives a caller that is cancelled."""
        if self._closed:
            raise RuntimeError("the client is closed")
        if self._login is None or self._login.done():
            self._login = asyncio.create_task(self._logged_in(), name=f"login {self._settings.name}")
            self._login.add_done_callback(_look_at)
        await asyncio.shield(self._login)

    async def _logged_in(self) -> None:
        await self._delete_session()
        self.headers, self._token, self.table_full = ALWAYS, None, False
        self.way = Way.NOT_YET
        credential = self._settings.credential
        if credential is None:
            self.way = Way.NONE
        elif not await self._open_session(credential):
            self._authenticate(Way.BASIC, *_basic(credential))
        self.generation += 1

    def _authenticate(self, way: Way, name: bytes, value: bytes) -> None:
        self.way = way
        self.headers = (*ALWAYS, (name, value))

    async def _open_session(self, credential: Credential) -> bool:
        """Make a session; False where the service has none to give, for now or ever."""
        path = self._sessions_at = await self._sessions_path()
        if self._left is not None and not self._basic_refused:
            await self._remove_left_over((*ALWAYS, _basic(credential)))
        username, password = credential.username, credential.password.get_secret_value()
        body = json.dumps({"UserName": username, "Password": password}).encode()
        intent = self._intend()
        try:
            reply = await self._send("POST", path, (*ALWAYS, JSON), body)
        except ControllerError:
            self._lost = self._lost or intent  # it may have been made all the same
            raise
        if reply.status in (200, 201, 204):
            token = reply.header(b"x-auth-token")
            if not token or not token.isascii() or not token.isprintable():
                raise Malformed(self._settings.name, path, "a session without a usable X-Auth-Token")
            self._token = token
            made = self._session_path(reply)
            self._session = None if made is None else left_over(made, reply, username, self._settings.name)
            self._authenticate(Way.SESSION, b"X-Auth-Token", token.encode("ascii"))
            self._note(self._session)
            if self._left is not None and self._left.path != made:  # without basic authentication, this is the way
                await self._remove_left_over(self.headers)
            self._left = None
            await self._remove_lost(path, intent)
            return True
        self._outcome_known()
        if reply.status in _NO_SESSIONS_HERE:
            return False
        error = self.status_error(path, reply)
        if _TABLE_FULL.intersection(error.keys):
            log.warning("%s: its session table is full; using basic authentication for now", self._settings.name)
            self.table_full = True
            return False
        if reply.status in (400, 401, 403):
            raise self.refused(path, reply)
        raise error

    async def _sessions_path(self) -> str:
        """From the service root, which needs no login."""
        reply = await self._send("GET", SERVICE_ROOT, ALWAYS)
        if reply.status in REDIRECTS:
            reply = await self._following(SERVICE_ROOT, reply, lambda at: self._send("GET", at, ALWAYS))
        if reply.status in (401, 403):
            return SESSIONS  # against the standard; perhaps it lets us log in nevertheless
        if reply.status != 200:
            raise self.status_error(SERVICE_ROOT, reply)
        root = decode(reply.body, self._settings.name, SERVICE_ROOT)
        return sessions_path(root, self._settings.url, self._settings.name)

    def _session_path(self, reply: Reply) -> str | None:
        try:
            return made_at(reply, self._settings.url, self._settings.name)
        except links.BadLink as error:
            log.warning(
                "%s: can't tell where its session is (Location %s); it will time out", self._settings.name, error
            )
            return None

    async def _delete_session(self) -> None:
        session, self._session = self._session, None
        if session is None or self._token is None:
            return
        try:
            reply = await self._send("DELETE", session.path, self.headers)
        except ControllerError as error:
            self._left = session
            log.warning("%s; its session ends at the next login, or when the service's time-out does", error)
            return
        if reply.status >= 400 and reply.status not in (401, 404, 410):  # those: it is gone already
            self._left = session
            failure = self.status_error(session.path, reply)
            log.warning("%s; its session ends at the next login, or when the service's time-out does", failure)
            return
        self._note(None)

    async def _remove_left_over(self, headers: Headers) -> None:
        """Delete what an earlier session left, before there are two of them; what fails here is not the login's."""
        assert self._left is not None
        left = self._left
        removal = await remove(left, self._settings.name, lambda method, path: self._send(method, path, headers))
        if removal is Removal.GONE:
            self._left = None
            if self._session is None:  # else the note is of the new one already
                self._note(None)
            return
        self._basic_refused = self._basic_refused or removal is Removal.NOT_LET
        log.info("%s: the earlier session %s can't be deleted now: %s", self._settings.name, left.path, removal.value)

    def _intend(self) -> Intent | None:
        """Note that a session is about to be made."""
        if self._notes is None:
            return None
        return self._notes.intend()

    def _outcome_known(self) -> None:
        """The service has answered, and made none."""
        self._note(self._left)

    async def _remove_lost(self, sessions: str, intent: Intent | None) -> None:
        """Delete the session that a kill, or a lost answer, left without a note; what fails here is not the login's."""
        lost, self._lost = self._lost, None
        if lost is None or intent is None or self._session is None:
            return
        try:
            found = await find_lost(lost, self._session, intent, sessions, self._body)
        except ControllerError as error:
            log.info("%s: can't look for a session that an earlier login may have left: %s", self._settings.name, error)
            return
        if found is not None:
            removal = await remove(
                found, self._settings.name, lambda method, path: self._send(method, path, self.headers)
            )
            log.info("%s: %s, left by an earlier login: %s", self._settings.name, found.path, removal.value)

    async def _body(self, path: str) -> dict[str, Any]:
        reply = await self._send("GET", path, self.headers)
        if reply.status != 200:
            raise self.status_error(path, reply)
        return decode(reply.body, self._settings.name, path)

    def _note(self, session: LeftOver | None) -> None:
        if self._notes is not None:
            self._notes.note(session)

    # Errors

    def refused(self, path: str, reply: Reply) -> LoginRefused:
        """The password was refused: remember that."""
        self.refusal = self.login_refused(path, reply)
        return self.refusal

    def login_refused(self, path: str, reply: Reply) -> LoginRefused:
        """The error of a request that no login helped."""
        detail = self.status_error(path, reply).detail
        if self.table_full:
            detail += f"; its session table is full and it takes no basic authentication: {_MAKE_ROOM}"
        if self._settings.credential is None:
            detail += "; the fleet file gives no credentials for it"
        return LoginRefused(self._settings.name, path, detail)

    def status_error(self, path: str, reply: Reply) -> HttpStatus:
        """The error of an answer, without secrets."""
        return status_error(self._settings.name, path, reply, secrets=self._secrets())

    def _secrets(self) -> tuple[str, str]:
        credential = self._settings.credential
        return (credential.password.get_secret_value() if credential is not None else "", self._token or "")

    def without_secrets(self, text: str) -> str:
        """What a service told, with password and token crossed out."""
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
