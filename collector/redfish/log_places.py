"""Which logs a service has: those of its managers, systems and chassis (LogServices links; DSP8010)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct

from collector.model import Defect
from collector.redfish import links
from collector.redfish.flow import Ask, Flow, Place
from collector.redfish.follow import type_name
from collector.redfish.resources import Walked

MAX_LOGS = 12
"""Logs of one controller that are read."""
_OWNERS = ("Manager", "ComputerSystem", "Chassis")
_GONE = frozenset({404, 410})


class LogPlace(Struct, frozen=True):
    """A log that can be read."""

    entries: str
    """Path of its LogEntryCollection."""
    service: str
    """Key of its LogService."""
    max_records: int | None = None


class LogsFound(Struct, frozen=True):
    """The logs of one controller."""

    places: tuple[LogPlace, ...] = ()
    defects: tuple[Defect, ...] = ()


def find_logs(bodies: Iterable[Mapping[str, Any]], place: Place) -> Flow[LogsFound]:
    """The logs that the walked ``bodies`` lead to, each once; a log that is off or has no entries is left out."""
    defects: list[Defect] = []
    services: dict[str, links.Target] = {}
    inline: dict[str, Mapping[str, Any]] = {}
    for collection in _collections(bodies, place).values():
        ask = Ask("GET", collection.path)
        answer = yield ask
        if not answer.good:
            if answer.status not in _GONE:  # a link to nothing is told of every other resource; of logs, it is usual
                defects.append(place.failure(ask, answer))
            continue
        members = answer.body.get("Members")
        for member in members[:MAX_LOGS] if isinstance(members, list) else ():
            target = place.linked(member)
            if target is not None:
                services.setdefault(target.key, target)
                if "Entries" in member:
                    inline[target.key] = member
    found: dict[str, LogPlace] = {}
    for key, target in list(services.items())[:MAX_LOGS]:
        body = inline.get(key)
        if body is None:
            ask = Ask("GET", target.path)
            answer = yield ask
            if not answer.good:
                defects.append(place.failure(ask, answer))
                continue
            body = answer.body
        log = log_place(body, place, target.path)
        if log is not None:
            found.setdefault(links.key(log.entries), log)
    return LogsFound(tuple(found.values()), tuple(defects))


def _collections(bodies: Iterable[Mapping[str, Any]], place: Place) -> dict[str, links.Target]:
    """By key, managers' first: theirs is the log that tells of the hardware."""
    found: dict[str, dict[str, links.Target]] = {name: {} for name in _OWNERS}
    for body in bodies:
        name = type_name(dict(body)) if "LogServices" in body else None
        target = place.linked(body["LogServices"]) if name in found else None
        if name in found and target is not None:
            found[name][target.key] = target
    merged: dict[str, links.Target] = {}
    for targets in found.values():
        merged |= {key: target for key, target in targets.items() if key not in merged}
    return dict(list(merged.items())[:MAX_LOGS])


def log_place(body: Mapping[str, Any], place: Place, resource: str) -> LogPlace | None:
    """The log of a LogService body; None where it is turned off or has no entries."""
    target = place.linked(body.get("Entries"))
    status = body.get("Status")
    state = status.get("State") if isinstance(status, dict) else None
    if target is None or body.get("ServiceEnabled") is False or state in ("Disabled", "Absent", "UnavailableOffline"):
        return None
    records = body.get("MaxNumberOfRecords")
    whole = isinstance(records, int) and not isinstance(records, bool) and records > 0
    return LogPlace(target.path, links.key(resource), records if whole else None)


def log_owners(walked: Walked) -> Iterable[Mapping[str, Any]]:
    """Of the resources that have logs, the little that is needed to find them."""
    for resource in walked.resources.values():
        told = resource.body.get("LogServices")
        if told is not None and type_name(resource.body) is not None:
            yield {"@odata.type": resource.body["@odata.type"], "LogServices": told}
