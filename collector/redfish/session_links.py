"""Where sessions are made, and where a new one is: from what a service tells, pure functions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from collector.redfish import links
from collector.redfish.bodies import decode
from collector.redfish.errors import ForeignOrigin, Malformed
from collector.redfish.resources import SERVICE_ROOT
from collector.redfish.wire import Reply

SESSIONS = "/redfish/v1/SessionService/Sessions"
"""Where sessions are made when the service root does not say (it must: Links.Sessions is required)."""


def sessions_path(root: Mapping[str, Any], origin: str, controller: str) -> str:
    """Where a service root's body says that sessions are made.

    Raises :class:`ForeignOrigin` for a link away from ``origin``: a password goes nowhere else.
    """
    told = root.get("Links")
    sessions = told.get("Sessions") if isinstance(told, dict) else None
    try:
        return links.target(sessions.get("@odata.id") if isinstance(sessions, dict) else None, origin).path
    except links.BadLink as error:
        if error.foreign:
            raise ForeignOrigin(controller, SERVICE_ROOT, f"Links.Sessions {error}") from error
        return SESSIONS


def made_at(reply: Reply, origin: str, controller: str) -> str:
    """Path of the session that ``reply`` tells to have been made: by Location, else by its body.

    Raises :class:`~collector.redfish.links.BadLink` where it can't be told.
    """
    location: object = reply.header(b"location")
    if location is None:
        try:
            location = decode(reply.body, controller, SESSIONS).get("@odata.id")
        except Malformed:
            location = None
    return links.target(location, origin).path
