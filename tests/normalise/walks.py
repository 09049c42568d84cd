"""Walks made straight from the published example services, without a client: what their roots lead to, and no more.

Links and DataSourceUri are followed; collections count as fetched expanded where the root declares ``$expand`` and the
members' own names can be trusted, as :mod:`collector.redfish.walk` has it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from collector.redfish import links
from collector.redfish.resources import SERVICE_ROOT, Features, Fetch, Resource, Walked
from tests.conftest import standard

TIME = 1_764_000_000.0
"""When these walks ended: 2025-11-24T16:00:00Z."""

EXPAND = "?$expand=.($levels=1)"

MAIN = ("public-bladed", "public-rackmount1", "public-localstorage", "public-telemetry")
"""The example services that must be read without a flaw."""

OTHERS = (
    "public-catfish",
    "public-cooling-unit",
    "public-expansion-box",
    "public-iiot",
    "public-nvmeof-jbof",
    "public-pdu",
    "public-sasfabric",
    "public-smartnic",
)
"""The other ones that tell readings or parts."""

_UNWALKED = ("LogServices", "Registries", "JsonSchemas", "AccountService", "SessionService", "TaskService")
"""Steps of a path below which no part and no reading of the standard stands."""


def example(name: str, *, expand: bool | None = None, changes: Mapping[str, Any] | None = None) -> Walked:
    """The walk of one published service; ``changes``: bodies by path that stand in the place of its own."""
    return walk_of(bodies_of(standard("redfish", "mockups", name), changes or {}), name, expand=expand)


def bodies_of(folder: Path, changes: Mapping[str, Any]) -> dict[str, Any]:
    """The bodies that can be reached from a service's root, in the order found."""

    def load(key: str) -> Any:
        if key in changes:
            return changes[key]
        path = folder.joinpath(*key.removeprefix("/redfish/v1").split("/")[1:], "index.json")
        return json.loads(path.read_bytes()) if path.is_file() else None

    bodies: dict[str, Any] = {}
    waiting = [SERVICE_ROOT]
    seen = set(waiting)
    while waiting:
        key = waiting.pop(0)
        body = load(key)
        if not isinstance(body, dict):
            continue
        body.pop("@Redfish.Copyright", None)
        bodies[key] = body
        for link in _links(body):
            target = links.key(link)
            if target not in seen and target.startswith(SERVICE_ROOT) and not set(_UNWALKED) & set(target.split("/")):
                seen.add(target)
                waiting.append(target)
    return bodies


def walk_of(bodies: Mapping[str, Any], name: str = "example", *, expand: bool | None = None) -> Walked:
    """A walk that brought these bodies. ``expand``: whether it could expand collections; None: as the root declares."""
    root = bodies.get(SERVICE_ROOT, {})
    told = root.get("ProtocolFeaturesSupported", {}).get("ExpandQuery", {})
    able = bool(told.get("NoLinks")) if expand is None else expand
    brought_by = {key: key for key in bodies}
    for key, body in bodies.items():
        members = [links.key(link["@odata.id"]) for link in body.get("Members", []) if "@odata.id" in link]
        trusted = all(_own_name(bodies.get(member)) == member for member in members if member in bodies)
        if able and trusted:
            brought_by |= {member: key + EXPAND for member in members if member in bodies}
    return Walked(
        controller=name,
        time=TIME,
        root=dict(root),
        resources={key: Resource(key, dict(body), brought_by[key]) for key, body in bodies.items()},
        features=Features(expand_no_links=able, expand_levels=1 if able else 0),
    )


def answers(walked: Walked, fetches: Sequence[Fetch], changes: Mapping[str, Any] | None = None) -> list[bytes]:
    """What the service answers to each GET of a plan; ``changes``: bodies that are not as walked any more."""
    bodies = {key: resource.body for key, resource in walked.resources.items()} | dict(changes or {})
    told = []
    for fetch in fetches:
        body = dict(bodies[links.key(fetch.path)])
        if fetch.expanded:
            keys = [links.key(link["@odata.id"]) for link in body["Members"]]
            body["Members"] = [bodies.get(key, {"@odata.id": key}) for key in keys]
        told.append(json.dumps(body).encode())
    return told


def _own_name(body: Any) -> str:
    return links.key(body["@odata.id"]) if isinstance(body, dict) and "@odata.id" in body else ""


def _links(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, below in value.items():
            if key == "@odata.id" or key.lower() == "datasourceuri":
                if isinstance(below, str) and "://" not in below:
                    yield below
            else:
                yield from _links(below)
    elif isinstance(value, list):
        for below in value:
            yield from _links(below)
