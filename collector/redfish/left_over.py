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

from collector.redfish.bodies import decode
from collector.redfish.errors import Malformed
from collector.redfish.wire import Reply
from collector.text import plain

_TELLING = ("UserName", "CreatedTime", "ClientOriginIPAddress")
_GONE = frozenset({404, 410})


class LeftOver(Struct, frozen=True):
    """A session of ours: where it is, and what was told of it when it was made. No secret."""

    path: str
    told: dict[str, str] = {}


class SessionNotes(Protocol):
    """Where one controller's open session is noted, so that it is found again after a kill."""

    def recall(self) -> LeftOver | None:
        """The session that an earlier process left; None for none."""

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
