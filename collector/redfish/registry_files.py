"""Getting message registries: from the service itself, only those that are wanted; or from files that the user has.

Sources: MessageRegistryFile CSDL (DSP8010): Location[].Uri is on the service; PublicationUri is not and is never
followed; ArchiveUri leads to an archive and is not read.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any

from msgspec import Struct

from collector.model import Defect, DefectKind
from collector.redfish import links
from collector.redfish.bodies import decode
from collector.redfish.errors import Malformed
from collector.redfish.flow import Ask, Flow, Place
from collector.redfish.registries import Registry, parse_registry, split_name

MAX_FILES = 200
"""Registry files of one service that we look at."""
MAX_LOCATIONS = 64


class Fetched(Struct, frozen=True):
    """What a service gave."""

    registries: tuple[Registry, ...] = ()
    defects: tuple[Defect, ...] = ()


def location(body: Mapping[str, Any], place: Place, resource: str) -> tuple[str, tuple[Defect, ...]]:
    """Path of the registry that a MessageRegistryFile tells of, best in English; "" where the service itself has none.

    English first, then ``default``, then whatever comes first: a foreign text says more than an id.
    """
    listed = body.get("Location")
    if not isinstance(listed, list):
        return "", (place.defect(resource, "/Location", DefectKind.MISSING, "it does not say where the registry is"),)
    offered: list[tuple[int, int, str]] = []
    defects: list[Defect] = []
    for at, entry in enumerate(listed[:MAX_LOCATIONS]):
        uri = entry.get("Uri") if isinstance(entry, dict) else None
        if uri is None:
            continue  # in an archive, or published elsewhere only: the standard allows it
        try:
            offered.append((_rank(entry.get("Language")), at, place.target(uri).path))
        except links.BadLink as error:
            kind = DefectKind.FOREIGN_LINK if error.foreign else DefectKind.DANGLING_LINK
            defects.append(place.defect(resource, f"/Location/{at}/Uri", kind, f"the link {error}"))
    return (min(offered)[2] if offered else ""), tuple(defects)


def _rank(language: object) -> int:
    told = language.lower() if isinstance(language, str) else ""
    if told == "en":
        return 0
    return 1 if told.startswith("en-") else 2 if told == "default" else 3


def fetch_registries(
    registries: str, place: Place, wanted: Collection[str], *, max_requests: int = 40
) -> Flow[Fetched]:
    """Gets the registries with the ``wanted`` prefixes from the collection at ``registries``, all versions of them.

    Members whose name shows that they are others are not asked for: a registry takes a slow controller long.
    """
    defects: list[Defect] = []
    found: list[Registry] = []
    budget = max_requests

    def get(path: str) -> Flow[dict[str, Any] | None]:
        nonlocal budget
        budget -= 1
        ask = Ask("GET", path)
        answer = yield ask
        if answer.good:
            return answer.body
        defects.append(place.failure(ask, answer))
        return None

    for path, member in (yield from _members(registries, place, get)).items():
        if budget < 2:
            defects.append(place.defect(registries, "", DefectKind.TOO_BIG, f"more than {max_requests} GETs"))
            break
        if not _may_be(path, member, wanted):
            continue
        if "Location" not in member:
            member = (yield from get(path)) or {}
            if not member or not _may_be(path, member, wanted):
                continue
        uri, complaints = location(member, place, path)
        defects += complaints
        body = (yield from get(uri)) if uri else None
        if body is not None:
            registry, complaints = parse_registry(body, place, uri)
            defects += complaints
            if registry is not None and registry.prefix in wanted:
                found.append(registry)
    return Fetched(tuple(found), tuple(defects))


def _members(
    registries: str, place: Place, get: Callable[[str], Flow[dict[str, Any] | None]]
) -> Flow[dict[str, dict[str, Any]]]:
    """The collection's members by path, over its pages."""
    members: dict[str, dict[str, Any]] = {}
    page: str | None = registries
    asked: set[str] = set()
    while page is not None and page not in asked and len(members) < MAX_FILES and len(asked) < 10:
        asked.add(page)
        body: dict[str, Any] = (yield from get(page)) or {}
        listed = body.get("Members")
        for entry in listed[:MAX_FILES] if isinstance(listed, list) else ():
            target = place.linked(entry)
            if target is not None:
                members.setdefault(target.path, entry)
        following = place.linked({"@odata.id": body.get("Members@odata.nextLink")})
        page = following.path if following is not None else None
    return members


def _may_be(path: str, member: Mapping[str, Any], wanted: Collection[str]) -> bool:
    """Whether a member can be one of the wanted, by its Registry property, else by its name; unknown names may be."""
    told = member.get("Registry")
    name = told if isinstance(told, str) else path.rstrip("/").rpartition("/")[2]
    prefix, version = split_name(name)
    return prefix in wanted or (not isinstance(told, str) and not version)


def from_files(files: Iterable[tuple[str, bytes]], place: Place, *, most: int = MAX_FILES) -> Fetched:
    """Registries from (name, bytes) of files; privilege and attribute registries among them are passed over.

    ``place`` names whose defects they are; the user's own folder is no controller, so its name may be "". ``most``:
    files that are looked at.
    """
    found: list[Registry] = []
    defects: list[Defect] = []
    for at, (name, data) in enumerate(files):
        if at >= most:
            defects.append(place.defect(name, "", DefectKind.TOO_BIG, f"more than {most} files"))
            break
        try:
            body = decode(data, place.controller, name)
        except Malformed as error:
            defects.append(place.defect(name, "", error.defect or DefectKind.NOT_JSON, error.happened))
            continue
        kind = body.get("@odata.type")
        if isinstance(kind, str) and not kind.startswith("#MessageRegistry."):
            continue
        registry, complaints = parse_registry(body, place, name)
        defects += complaints
        if registry is not None:
            found.append(registry)
    return Fetched(tuple(found), tuple(defects))
