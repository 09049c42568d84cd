"""One collection, whole: all its pages, its members brought along where the service expands, each once.

``$expand`` is tried where the service root declares it and given up where it does not keep its word: refused (400,
501), too much for the service (5xx, 507), or members that come without properties which they have when asked singly
(DSP0266 lets a service leave them out; a reading that is left out is no use to us). ``$select`` beside it is tried once
a walk, on Sensors: they are most of what rounds fetch, and have thresholds that rounds do not read.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

from msgspec import Struct, field

from collector.model import DefectKind
from collector.redfish import links
from collector.redfish.errors import ControllerError, HttpStatus, Malformed, TimedOut
from collector.redfish.follow import type_name
from collector.redfish.resources import Resource
from collector.text import plain

_UNSUPPORTED = frozenset({400, 405, 501})
_SELECTED = "Reading,Status,ReadingTime"
_WORTH_SELECTING = 4
"""Members below which trying costs more than it saves."""
_TOLERATED = 2
"""Expanded requests that may fail for other reasons before it is given up for the walk."""

MAX_MEMBERS = 2_000
"""Of one collection that we take: looking at a hundred thousand would hold up every other controller."""

Fetcher = Callable[[links.Target], Awaitable[Resource]]


class Refusals(Struct):
    """What a walk has learned of the service's ``$expand``."""

    levels: int = 0
    """As declared; 0 once it is given up."""
    spelt: str = "$expand=."
    failures: int = 0
    tried: set[str] = field(default_factory=set)
    """Types of which a member was compared with itself, fetched singly."""
    select: bool = False
    """Whether ``$select`` is declared and not tried yet."""
    selects: bool = False
    """Whether it was tried and works."""


class Member(Struct, frozen=True):
    """A member that came inside the collection."""

    key: str
    resource: Resource


class Gathered(Struct):
    """A collection: its body with the members of all pages, those that came whole, and links to the rest."""

    collection: Resource
    members: list[Member] = field(default_factory=list)
    to_fetch: list[tuple[str, object]] = field(default_factory=list)
    """(pointer, link) of the members that came as links only."""
    defects: list[tuple[str, DefectKind, str]] = field(default_factory=list)
    """(pointer, kind, detail)."""
    cut: bool = False
    """Whether it lists more members than were taken."""


async def gather(fetch: Fetcher, target: links.Target, origin: str, refusals: Refusals, *, max_pages: int) -> Gathered:
    """Fetch a collection, expanded if that works, else plainly. Raises what the plain fetch raises."""
    if refusals.levels:
        gathered = await _expanded(fetch, target, origin, refusals, max_pages)
        if gathered is not None:
            return gathered
    return await _pages(fetch, target, origin, max_pages)


async def _expanded(
    fetch: Fetcher, target: links.Target, origin: str, refusals: Refusals, max_pages: int
) -> Gathered | None:
    """The collection by ``$expand``; None where it must be fetched plainly."""
    joint = "&" if "?" in target.path else "?"
    asked = links.Target(f"{target.path}{joint}{refusals.spelt}", target.key)
    try:
        gathered = await _pages(fetch, asked, origin, max_pages)
    except HttpStatus as error:
        if error.status in (404, 410):
            raise  # plainly it would be no different
        _give_up(refusals, at_once=error.status in _UNSUPPORTED)
        return None
    except (Malformed, TimedOut):
        _give_up(refusals, at_once=False)
        return None
    if gathered.cut:
        # polled expanded, it would bring megabytes a round for the few members that are there
        refusals.levels = 0
        return None
    if not await _named_rightly(fetch, gathered, target, origin, max_pages):
        return None
    if refusals.select and len(gathered.members) >= _WORTH_SELECTING:
        await _try_select(fetch, asked, gathered, refusals)
    left_out = await _left_out(fetch, gathered, origin, refusals)
    if left_out:
        refusals.levels = 0
        plain = await _pages(fetch, target, origin, max_pages)
        detail = f"$expand leaves out {', '.join(sorted(left_out)[:5])}; not used for this service"
        plain.defects.append(("/Members", DefectKind.MISSING, detail))
        return plain
    return gathered


async def _try_select(fetch: Fetcher, asked: links.Target, gathered: Gathered, refusals: Refusals) -> None:
    """Whether naming properties brings those of the members, unchanged, and fewer others."""
    if any(type_name(member.resource.body) != "Sensor" for member in gathered.members):
        return
    refusals.select = False
    try:
        page = await fetch(links.Target(f"{asked.path}&$select={_SELECTED}", asked.key))
    except ControllerError:
        return
    told = page.body.get("Members")
    before = [member.resource.body for member in gathered.members]
    if not isinstance(told, list) or len(told) != len(before) or not all(isinstance(one, dict) for one in told):
        return
    kept = ("@odata.id", *_SELECTED.split(","))
    same = all(
        one.get("@odata.id") == whole.get("@odata.id") and all((key in one) == (key in whole) for key in kept)
        for one, whole in zip(told, before, strict=True)
    )
    refusals.selects = same and sum(map(len, told)) < sum(map(len, before))


async def _named_rightly(fetch: Fetcher, gathered: Gathered, target: links.Target, origin: str, max_pages: int) -> bool:
    """Whether expanded members can be told apart by what they call themselves.

    A member inside a collection has only its own ``@odata.id``, and services get that wrong. Beneath the collection
    and each once, it is taken at its word; otherwise the collection's plain links decide.
    """
    keys = [member.key for member in gathered.members]
    if len(set(keys)) < len(keys):
        return False
    if all(key.startswith(target.key + "/") for key in keys):
        return True
    plain = await _pages(fetch, target, origin, max_pages)
    return {links.key(link) for _, link in plain.to_fetch if isinstance(link, str)} >= set(keys)


def _give_up(refusals: Refusals, *, at_once: bool) -> None:
    refusals.failures += 1
    if at_once or refusals.failures > _TOLERATED:
        refusals.levels = 0


async def _left_out(fetch: Fetcher, gathered: Gathered, origin: str, refusals: Refusals) -> set[str]:
    """Properties that the first member has singly but not in the collection; looked at for two types a walk."""
    for member in gathered.members[:1]:
        name = type_name(member.resource.body) or (type_name(gathered.collection.body) or "").removesuffix("Collection")
        if name in refusals.tried or (name != "Sensor" and refusals.tried - {"Sensor"}):
            return set()
        try:
            alone = await fetch(links.target(member.resource.body["@odata.id"], origin))
        except ControllerError:
            return set()  # the member can be had expanded only: all the more reason to
        refusals.tried.add(name)
        return {word for word in alone.body if "@" not in word} - member.resource.body.keys()
    return set()


async def _pages(fetch: Fetcher, target: links.Target, origin: str, max_pages: int) -> Gathered:
    """All pages from one on. A later page that fails leaves what came before, with a defect."""
    first = await fetch(target)
    gathered = Gathered(first)
    told: list[object] = []
    page, visited = first, {target.path}
    while True:
        told += _take_members(gathered, page, len(told), origin)
        if gathered.cut:
            break
        following = page.body.get("Members@odata.nextLink", page.body.get("@odata.nextLink"))
        if following is None:
            break
        try:
            there = links.target(following, origin)
        except links.BadLink as error:
            kind = DefectKind.FOREIGN_LINK if error.foreign else DefectKind.WRONG_TYPE
            gathered.defects.append(("/Members@odata.nextLink", kind, f"the next page's link {error}"))
            break
        if there.path in visited or len(visited) >= max_pages:
            detail = f"page {len(visited)} leads to one that was read already, {plain(there.path, 120)!r}"
            if there.path not in visited:
                detail = f"has more than {max_pages} pages; the rest was left out"
            gathered.defects.append(("/Members@odata.nextLink", DefectKind.LINK_LOOP, detail))
            break
        visited.add(there.path)
        try:
            page = await fetch(there)
        except ControllerError as error:
            kind = error.defect or DefectKind.HTTP_ERROR
            gathered.defects.append(("/Members@odata.nextLink", kind, f"{there.path}: {error.happened}"))
            break
    _check_count(gathered, first.body, told)
    if len(visited) > 1 or gathered.cut:
        body = {**first.body, "Members": told}
        if gathered.cut:
            body["Members@odata.count"] = len(told)  # that it is too big is named, and enough said
        gathered.collection = Resource(first.uri, body, first.fetched_by, first.etag)
    return gathered


def _take_members(gathered: Gathered, page: Resource, before: int, origin: str) -> list[object]:
    """Sort a page's members into whole ones and links; gives them as told."""
    members = page.body.get("Members")
    if not isinstance(members, list):
        detail = "is missing" if members is None else f"is {type(members).__name__}, not an array"
        kind = DefectKind.MISSING if members is None else DefectKind.WRONG_TYPE
        gathered.defects.append(("/Members", kind, f"Members {detail}"))
        return []
    if before + len(members) > MAX_MEMBERS:
        gathered.cut = True
        detail = f"lists more than {MAX_MEMBERS} members; the rest was left out"
        gathered.defects.append(("/Members", DefectKind.TOO_BIG, detail))
        members = members[: MAX_MEMBERS - before]
    for index, member in enumerate(members, before):
        pointer = f"/Members/{index}"
        if not isinstance(member, dict) or "@odata.id" not in member:
            kind = DefectKind.MISSING if isinstance(member, dict) else DefectKind.WRONG_TYPE
            gathered.defects.append((pointer, kind, "the member is no link"))
        elif _is_whole(member):
            _take_whole(gathered, page, pointer, member, origin)
        else:
            gathered.to_fetch.append((pointer, member["@odata.id"]))
    return list(members)


def _is_whole(member: dict[str, Any]) -> bool:
    return any("@" not in word for word in member)


def _take_whole(gathered: Gathered, page: Resource, pointer: str, member: dict[str, Any], origin: str) -> None:
    try:
        key = links.target(member["@odata.id"], origin).key
    except links.BadLink:
        gathered.to_fetch.append((pointer, member["@odata.id"]))  # the walk says what is wrong with it
        return
    etag = member.get("@odata.etag")
    resource = Resource(key, member, page.fetched_by, etag if isinstance(etag, str) else None)
    gathered.members.append(Member(key, resource))


def _check_count(gathered: Gathered, first: dict[str, Any], told: list[object]) -> None:
    """``Members@odata.count`` against what came (DSP0266: the count over all pages), and members listed twice."""
    count: object = first.get("Members@odata.count")
    where = "/Members@odata.count"
    if count is None:
        gathered.defects.append((where, DefectKind.MISSING, "Members@odata.count is missing"))
    elif type(count) is not int:
        gathered.defects.append((where, DefectKind.WRONG_TYPE, f"is {type(count).__name__}, not an integer"))
    elif count != len(told) and not gathered.cut:
        gathered.defects.append((where, DefectKind.WRONG_COUNT, f"says {count}, there are {len(told)}"))
    seen: dict[str, int] = {}
    for index, member in enumerate(told):
        own = member.get("@odata.id") if isinstance(member, dict) else None
        if isinstance(own, str) and seen.setdefault(links.key(own), index) != index:
            detail = f"is listed as member {seen[links.key(own)]} already"
            gathered.defects.append((f"/Members/{index}", DefectKind.DUPLICATE, detail))
