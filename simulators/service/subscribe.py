"""The body of a new subscription, read and checked (DSP0266, "Eventing")."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from ipaddress import ip_address
from typing import Any, NamedTuple, get_args
from urllib.parse import urlsplit

import msgspec

from simulators.service.annex import read
from simulators.service.eventwords import VERSIONS
from simulators.service.http import Reply, Request
from simulators.service.messages import Message, error
from simulators.service.subscriptions import Filter, Policy

POLICIES = frozenset(get_args(Policy))
_TYPES: dict[str, type | tuple[type, ...]] = {
    "Destination": str,
    "Protocol": str,
    "Context": (str, type(None)),
    "SubscriptionType": str,
    "EventFormatType": str,
    "DeliveryRetryPolicy": str,
    "SubordinateResources": bool,
    "IncludeOriginOfCondition": bool,
    "VerifyCertificate": bool,
    "Name": str,
}
_WORDS: dict[str, tuple[Any, ...]] = {
    "Protocol": ("Redfish",),
    "SubscriptionType": ("RedfishEvent",),
    "EventFormatType": ("Event", "MetricReport"),
    "DeliveryRetryPolicy": tuple(sorted(POLICIES)),
    "IncludeOriginOfCondition": (False,),
    # a simulator has no authority to hold its clients' certificates to
    "VerifyCertificate": (False,),
    "RegistryPrefixes": tuple(VERSIONS),
    "Severities": ("OK", "Warning", "Critical"),
    "EventTypes": ("Alert", "Other", "ResourceAdded", "ResourceRemoved", "ResourceUpdated", "StatusChange"),
}
_LISTS = ("RegistryPrefixes", "MessageIds", "ResourceTypes", "Severities", "EventTypes")
_HEADER = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")


class Wanted(NamedTuple):
    """What a client asks for."""

    destination: str
    context: str | None
    filter: Filter
    policy: Policy
    headers: tuple[tuple[str, str], ...]
    reports: bool


def subscription(
    request: Request, known: Callable[[str], bool], takes: Collection[str], *, far: bool = False, reports: bool = False
) -> Wanted | Reply:
    """Read a POST to the subscriptions; an error reply that names all that is wrong.

    ``known`` tells whether a resource is there; ``takes`` has the properties of this dialect's schema; ``far``: a
    destination that is not this machine will do (nothing is ever sent there); ``reports``: metric reports are told too.
    """
    told = read(request)
    if isinstance(told, Reply):
        return told
    problems = [Message("PropertyMissing", (name,), name) for name in ("Destination", "Protocol") if name not in told]
    for name, value in told.items():
        if name not in takes:
            problems.append(Message("PropertyUnknown", (name,), name))
        elif name == "HttpHeaders":
            problems += _check_headers(value)
        elif name == "OriginResources":
            problems += _check_origins(value, known)
        elif name in _LISTS:
            problems += _check_list(name, value)
        elif name == "EventFormatType" and value == "MetricReport" and not reports:
            problems.append(Message("PropertyValueNotInList", (value, name), name))
        else:
            problems += _check(name, value, _TYPES[name])
    if isinstance(told.get("Destination"), str):
        problems += _check_destination(told["Destination"], far)
    if problems:
        return error(400, *problems)
    headers = tuple((name, value) for one in told.get("HttpHeaders") or () for name, value in one.items())
    return Wanted(
        destination=told["Destination"],
        context=told.get("Context"),
        filter=Filter(
            prefixes=tuple(told.get("RegistryPrefixes", ())),
            messages=tuple(told.get("MessageIds", ())),
            origins=tuple(one["@odata.id"] for one in told.get("OriginResources", ())),
            below=told.get("SubordinateResources", False),
            types=tuple(one.partition(".")[0] for one in told.get("ResourceTypes", ())),
            severities=tuple(told.get("Severities", ())),
        ),
        policy=told.get("DeliveryRetryPolicy", "TerminateAfterRetries"),
        headers=headers,
        reports=told.get("EventFormatType") == "MetricReport",
    )


def _check(name: str, value: Any, type_: type | tuple[type, ...]) -> list[Message]:
    if not isinstance(value, type_):
        return [Message("PropertyValueTypeError", (_text(value), name), name)]
    words = _WORDS.get(name)
    if words is not None and value not in words:
        return [Message("PropertyValueNotInList", (_text(value), name), name)]
    return []


def _check_list(name: str, value: Any) -> list[Message]:
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        return [Message("PropertyValueTypeError", (_text(value), name), name)]
    words = _WORDS.get(name)
    strange = [one for one in value if words is not None and one not in words]
    if name == "MessageIds":
        strange = [one for one in value if one.count(".") not in (1, 3) or one.partition(".")[0] not in VERSIONS]
    return [Message("PropertyValueNotInList", (one, name), name) for one in strange]


def _check_origins(value: Any, known: Callable[[str], bool]) -> list[Message]:
    name = "OriginResources"
    if not isinstance(value, list):
        return [Message("PropertyValueTypeError", (_text(value), name), name)]
    for one in value:
        if not isinstance(one, dict) or not isinstance(one.get("@odata.id"), str):
            return [Message("PropertyValueTypeError", (_text(one), name), name)]
        if not known(one["@odata.id"]):
            return [Message("ResourceMissingAtURI", (one["@odata.id"],), name)]
    return []


def _check_headers(value: Any) -> list[Message]:
    name = "HttpHeaders"
    if not isinstance(value, list):
        return [Message("PropertyValueTypeError", ("the value", name), name)]
    for one in value:
        good = isinstance(one, dict) and all(
            _HEADER.fullmatch(key) and isinstance(text, str) and text.isprintable() for key, text in one.items()
        )
        if not good:
            # not said again: it may be a secret
            return [Message("PropertyValueFormatError", ("the value", name), name)]
    return []


def _check_destination(url: str, far: bool) -> list[Message]:
    name = "Destination"
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return [Message("PropertyValueFormatError", (url, name), name)]
    if parts.scheme not in ("http", "https") or not parts.hostname or port == 0 or not url.isprintable():
        return [Message("PropertyValueFormatError", (url, name), name)]
    # these services are simulated, and what they are told to call must not be anyone else
    return [] if far or is_loopback(parts.hostname) else [Message("CouldNotEstablishConnection", (url,), name)]


def is_loopback(host: str) -> bool:
    """Whether a host is this machine itself, by a name or address that can be no other."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _text(value: Any) -> str:
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()[:200]
