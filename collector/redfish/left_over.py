"""A session that nobody uses any more: of a process that was killed, or that could not be deleted at its time.

A service keeps such a session until its time-out, and its table is short. So the path of the open session is noted
outside the process, and what a service still has of it is deleted before the next login. The path alone is no proof
that it is ours, since a controller numbers its sessions anew after a reboot: what Session (DSP8010) tells of it must
agree with what was told when it was made, as far as both tell it.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from enum import Enum
from typing import Any, Protocol

from msgspec import Struct

from collector.model import Seconds
from collector.redfish import links
from collector.redfish.bodies import decode
from collector.redfish.errors import Malformed
from collector.redfish.times import moment
from collector.redfish.wire import Reply
from collector.text import plain

_TELLING = ("UserName", "CreatedTime", "ClientOriginIPAddress")
_GONE = frozenset({404, 410})
TOLERANCE = 5.0
"""Seconds: CreatedTime counts whole ones, and a slow service takes some between a request and its work."""
MAX_SESSIONS = 64
"""Members of a Sessions collection that are looked at; in a longer one nothing is deleted."""


class LeftOver(Struct, frozen=True):
    """A session of ours: where it is, and what was told of it when it was made. No secret."""

    path: str
    told: dict[str, str] = {}


class Intent(Struct, frozen=True):
    """That a session was about to be made, at a time of ours."""

    time: Seconds


class SessionNotes(Protocol):
    """Where one controller's open session is noted, so that it is found again after a kill."""

    def recall(self) -> LeftOver | None:
        """The session that an earlier process left; None for none."""

    def intent(self) -> Intent | None:
        """The intent of which an earlier process noted no outcome; None for none."""

    def intend(self) -> Intent:
        """A session is about to be made. What is noted next is what came of it."""

    def note(self, session: LeftOver | None) -> None:
        """This session is open now; None when it is deleted."""


class Removal(Enum):
    """What became of an attempt."""

    GONE = "gone"
    """It is deleted, or was not there any more, or is not ours."""
    NOT_LET = "not let"
    """The service does not let us, authenticated as we were."""
    FAILED = "failed"


def left_over(path: str, reply: Reply, username: str, controller: str) -> LeftOver:
    """The note of a session that ``reply`` tells to have been made."""
    try:
        body: Mapping[str, Any] = decode(reply.body, controller, path) if reply.body else {}
    except Malformed:
        body = {}
    return LeftOver(path, {"UserName": username, **_told(body)})


def _told(body: Mapping[str, Any]) -> dict[str, str]:
    return {name: plain(body[name]) for name in _TELLING if isinstance(body.get(name), str)}


def is_it(session: LeftOver, body: Mapping[str, Any]) -> bool:
    """Whether the body that stands at its path now tells of the same session."""
    now = _told(body)
    return all(now[name] == session.told[name] for name in now.keys() & session.told.keys())


async def remove(session: LeftOver, controller: str, send: Callable[[str, str], Awaitable[Reply]]) -> Removal:
    """Look at it and delete it if it is still ours; ``send`` takes a method and a path, and authenticates."""
    reply = await send("GET", session.path)
    if reply.status in (401, 403):
        return Removal.NOT_LET
    if reply.status in _GONE:
        return Removal.GONE
    if reply.status != 200:
        return Removal.FAILED
    try:
        body = decode(reply.body, controller, session.path)
    except Malformed:
        return Removal.FAILED
    if not is_it(session, body):
        return Removal.GONE
    status = (await send("DELETE", session.path)).status
    if status in (401, 403):
        return Removal.NOT_LET
    return Removal.GONE if status < 300 or status in _GONE else Removal.FAILED


async def find_lost(
    lost: Intent, ours: LeftOver, intent: Intent, sessions: str, get: Callable[[str], Awaitable[Mapping[str, Any]]]
) -> LeftOver | None:
    """The session that came of an intent whose outcome nobody noted; None where that can't be told for certain.

    ``ours``: the session that came of ``intent`` and is open now; ``sessions``: path of the collection; ``get`` gives
    the body at a path, or raises a :class:`~collector.redfish.errors.ControllerError`, which is let through.
    """
    own = _marks(await get(ours.path))
    listed = await get(sessions)
    members = listed.get("Members")
    paged = any("nextLink" in name for name in listed)
    if own is None or paged or not isinstance(members, list) or len(members) > MAX_SESSIONS:
        return None
    user, address, made = own
    expected = made - (intent.time - lost.time)
    found: list[LeftOver] = []
    for member in members:
        path = member.get("@odata.id") if isinstance(member, dict) else None
        if not isinstance(path, str):
            return None
        if links.key(path) == links.key(ours.path):
            continue
        body = await get(path)
        told = _marks(body)
        if told is None:
            return None  # it may be the one, or not
        if told[:2] == (user, address) and abs(told[2] - expected) <= TOLERANCE:
            found.append(LeftOver(path, _told(body)))
    return found[0] if len(found) == 1 else None


def _marks(body: Mapping[str, Any]) -> tuple[str, str, Seconds] | None:
    """User, address and time of a session; None where one of them is not told."""
    told, made = _told(body), moment(body.get("CreatedTime"))
    if made is None or not all(told.get(name) for name in _TELLING):
        return None
    return told["UserName"], told["ClientOriginIPAddress"], made
