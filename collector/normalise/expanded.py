"""Which GETs of expanded collections bring which resources, as a walk has proved."""

from __future__ import annotations

from collections.abc import Mapping

from collector.redfish import links
from collector.redfish.resources import Resource


def expanded_gets(resources: Mapping[str, Resource]) -> dict[str, tuple[str, ...]]:
    """Path with query of each expanded GET that a walk was served -> the resources in it, in the order told.

    A collection of several pages has several. A member that the walk had met before it came to the collection was not
    taken from there, but is in it.
    """
    found: dict[str, list[str]] = {}
    asked = {links.key(path) for path in {resource.fetched_by for resource in resources.values()} if "?" in path}
    for uri, resource in resources.items():
        members = resource.body.get("Members") if uri in asked else None
        if not isinstance(members, list):
            continue
        keys = [key for key in dict.fromkeys(named(member) for member in members) if key in resources]
        by = {key: resources[key].fetched_by for key in keys}
        paths = {path for key, path in by.items() if "?" in path and links.key(path) == uri != key}
        for key in keys:
            if by[key] in paths:
                found.setdefault(by[key], []).append(key)
            elif len(paths) == 1 and named(resources[key].body) == key:
                found.setdefault(next(iter(paths)), []).append(key)
    return {path: tuple(keys) for path, keys in found.items()}


def named(body: object) -> str:
    """The resource that a body, or a link, says it is; "" where it does not say."""
    told = body.get("@odata.id") if isinstance(body, dict) else None
    return links.key(told) if isinstance(told, str) else ""
