"""By which way a controller's events come: its event stream, else a push to our listener, else its logs.

Sources: EventService and ServiceRoot CSDL (DSP8010); DSP0266 section 'Eventing'.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from enum import StrEnum
from typing import Any

from msgspec import Struct

from collector.redfish import links
from collector.redfish.flow import Place
from collector.redfish.log_places import LogPlace

_NO_STATES = frozenset({"Disabled", "Absent", "UnavailableOffline"})


class WayKind(StrEnum):
    """Ways, the best first."""

    STREAM = "event stream"
    PUSH = "push"
    LOGS = "logs"
    NONE = "none"


class Way(Struct, frozen=True, kw_only=True):
    """The way to go, and why no better one."""

    kind: WayKind
    path: str = ""
    """The stream to read, or the collection of subscriptions to keep one in."""
    logs: tuple[LogPlace, ...] = ()
    """Logs to read: as the way itself, or at a walk's pace to catch up on what a stream or push has missed, since
    neither is ever repeated."""
    why: tuple[str, ...] = ()
    """For each better way, why it is not taken."""


def way(
    service_root: Mapping[str, Any],
    event_service: Mapping[str, Any] | None,
    log_services: Sequence[LogPlace],
    push_address: str | None,
    place: Place,
    *,
    failed: Collection[WayKind] = (),
) -> Way:
    """The best way that a service declares and that has not ``failed``.

    ``event_service``: the body behind the root's EventService link, None where it could not be read.
    ``push_address``: URL of our own listener for this controller, None where there is none.
    """
    logs = tuple(log_services)
    why: list[str] = []
    no_events = _no_events(service_root, event_service)
    for kind in (WayKind.STREAM, WayKind.PUSH):
        path, reason = "", no_events
        if kind in failed:
            reason = "was tried and failed"
        elif event_service is not None and not no_events:
            path, reason = (
                _stream(event_service, place) if kind is WayKind.STREAM else _push(event_service, push_address, place)
            )
        if path:
            return Way(kind=kind, path=path, logs=logs, why=tuple(why))
        why.append(f"{kind}: {reason}")
    if logs:
        return Way(kind=WayKind.LOGS, logs=logs, why=tuple(why))
    return Way(kind=WayKind.NONE, why=(*why, f"{WayKind.LOGS}: no log service offers entries"))


def _no_events(service_root: Mapping[str, Any], event_service: Mapping[str, Any] | None) -> str:
    if "EventService" not in service_root:
        return "the service has no event service"
    if event_service is None:
        return "the event service could not be read"
    if event_service.get("ServiceEnabled") is False:
        return "the event service is turned off (ServiceEnabled)"
    status = event_service.get("Status")
    state = status.get("State") if isinstance(status, dict) else None
    return f"the event service's state is {state}" if isinstance(state, str) and state in _NO_STATES else ""


def _stream(event_service: Mapping[str, Any], place: Place) -> tuple[str, str]:
    link = event_service.get("ServerSentEventUri")
    if link is None:
        return "", "not offered (ServerSentEventUri)"
    try:
        return place.target(link).path, ""
    except links.BadLink as error:
        return "", f"its link {error}"


def _push(event_service: Mapping[str, Any], push_address: str | None, place: Place) -> tuple[str, str]:
    if not push_address:
        return "", "the collector has no listener for it"
    target = place.linked(event_service.get("Subscriptions"))
    return (target.path, "") if target is not None else ("", "the event service takes no subscriptions")
