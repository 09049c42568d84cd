"""The walk: from the service root to every resource that matters, whatever stands in the way.

Level by level along the table of :mod:`collector.redfish.follow`, collections expanded where the service can. What is
wrong becomes a named defect and the walk goes on; only a failing service root, a connection that is gone, or the
caller's deadline end it. Everything that a service could make endless is bounded by :class:`WalkLimits`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable
from typing import Any

from msgspec import Struct

from collector.model import Defect, DefectKind, Seconds
from collector.redfish import links, service_clock
from collector.redfish.bodies import decode
from collector.redfish.client import Client
from collector.redfish.collection import MAX_MEMBERS, Gathered, Refusals, gather
from collector.redfish.errors import (
    ControllerError,
    HttpStatus,
    LoginRefused,
    TimedOut,
    Truncated,
    Unreachable,
    Untrusted,
)
from collector.redfish.follow import Found, Misshapen, links_of, sources_of, type_name
from collector.redfish.messages import seconds_to_wait
from collector.redfish.resources import SERVICE_ROOT, ClockRead, Features, Resource, Walked
from collector.redfish.shortened import shortened
from collector.redfish.wire import Reply
from collector.text import plain

_LOST = (Unreachable, TimedOut, Untrusted, LoginRefused)
_PATIENCE = 3
"""Failures of the connection, in a row, after which we ask the service root whether the controller is still there."""

_AT_A_TIME = 100
"""Members of a collection that are looked at without a pause."""


class WalkLimits(Struct, frozen=True, kw_only=True):
    """Bounds of one walk."""

    resources: int = 20_000
    bytes: int = 512 * 1024 * 1024
    hops: int = 24
    """Links from the service root."""
    pages: int = 1_000
    """Of one collection."""
    defects: int = 2_000
    misses: int = 50
    """Origins of numbers that may lead nowhere before no more of them are looked for."""
    missing_members: int = 50
    """Members of one collection, in a row, that may not be there before the rest of them are left alone."""
    wait: float = 10.0
    """Seconds to wait once, near the end, for resources that asked for patience."""


class Place(Struct, frozen=True):
    """A link still to be followed, and where it stands."""

    target: links.Target
    collection: bool
    hops: int
    source: str
    pointer: str
    origin: bool = False
    member: bool = False
    """Whether it is listed by the collection that is its source."""


async def walk(
    client: Client,
    *,
    clock: Callable[[], Seconds],
    limits: WalkLimits | None = None,
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> Walked:
    """Walk one controller. ``clock`` tells epoch seconds; the caller bounds the time, by cancelling.

    Raises the :class:`ControllerError` that befell the service root, or that of the connection when it is gone.
    """
    return await Walk(client, clock=clock, limits=limits, sleep=sleep).run()


class Walk:
    """One walk under way. ``passing`` counts resources lost to what may pass: time-outs, 503, a connection cut."""

    def __init__(
        self,
        client: Client,
        *,
        clock: Callable[[], Seconds],
        limits: WalkLimits | None = None,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.passing = 0
        self._client = client
        self._controller = client.settings.name
        self._origin = client.settings.url
        self._clock = clock
        self._sleep = sleep
        self._limits = limits or WalkLimits()
        self._resources: dict[str, Resource] = {}
        self._defects: dict[tuple[str, str, DefectKind], Defect] = {}
        self._seen: set[str] = set()
        self._crossing: dict[str, Place] = {}
        """Links across the tree, kept back until everything has come down the tree that will."""
        self._misses = 0
        self._missing: dict[str, int] = {}
        """By collection: its members that were not there, in a row."""
        self._later: list[Place] = []
        self._wait = 1.0
        self._second_time = False
        self._lost_in_a_row = 0
        self._gone: ControllerError | None = None
        self._full = False
        self._bytes = 0
        self._etags = False
        self._clocks: dict[str, ClockRead] = {}
        """What managers told of the time, by their names."""
        self._refusals = Refusals()

    async def run(self) -> Walked:
        """Walk; see :func:`walk`."""
        requests, received = self._client.requests, self._client.bytes_received
        asked = self._clock()
        reply = await self._client.get(SERVICE_ROOT)
        by_header = service_clock.by_header(reply, asked, self._clock())
        root = self._decoded(reply, SERVICE_ROOT)
        declared = declared_features(root)
        self._refusals.levels = declared.expand_levels if declared.expand_no_links else 0
        self._refusals.select = declared.select
        self._refusals.spelt = "$expand=.($levels=1)" if _says_levels(root) else "$expand=."
        self._seen.add(SERVICE_ROOT)
        await self._follow(self._keep(Resource(SERVICE_ROOT, root, SERVICE_ROOT, reply.header(b"etag")), hops=0))
        if self._later:
            await self._sleep(min(self._limits.wait, self._wait))
            again, self._later, self._second_time = self._later, [], True
            await self._follow(again)
        if self._lost_in_a_row:
            await self._client.get(SERVICE_ROOT)  # what was lost last: one resource, or the controller?
        expands = self._refusals.levels > 0
        return Walked(
            controller=self._controller,
            time=self._clock(),
            root=root,
            resources=self._resources,
            features=Features(
                expand_no_links=expands,
                expand_levels=self._refusals.levels,
                select=declared.select,
                select_members=expands and self._refusals.selects,
                etags=self._etags,
            ),
            defects=tuple(self._defects.values()),
            requests=self._client.requests - requests,
            bytes_received=self._client.bytes_received - received,
            clock=service_clock.service_clock(root, self._clocks, by_header),
        )

    # Level by level

    async def _follow(self, level: list[Place]) -> None:
        """Visit all places and all that they lead to. As many at once as the client has connections.

        Down the tree first, and collections before single links: what an expanded collection brings need not be
        fetched again, and can be polled with it later.
        """
        while (level := sorted(level, key=lambda place: not place.collection) or self._across()) and self._gone is None:
            found: list[list[Place]] = [[] for _ in level]
            waiting = iter(enumerate(level))

            async def visit_some(waiting: Iterable[tuple[int, Place]], found: list[list[Place]]) -> None:
                for index, place in waiting:
                    if self._gone is not None:
                        return
                    found[index] = await self._visit(place)

            async with asyncio.TaskGroup() as group:
                for _ in range(min(self._client.in_flight, len(level))):
                    group.create_task(visit_some(waiting, found))
            level = [place for places in found for place in places]
        if self._gone is not None:
            raise self._gone

    def _across(self) -> list[Place]:
        crossing, self._crossing = self._crossing, {}
        places = [place for key, place in crossing.items() if key not in self._seen]
        self._seen.update(place.target.key for place in places)
        return places

    async def _visit(self, place: Place) -> list[Place]:
        """Fetch one place, unless a collection has brought it by now; a failure is recorded, never raised."""
        if place.target.key in self._resources:
            return []
        if place.origin and self._misses >= self._limits.misses:
            return []  # normalise.fold names every one of them
        if place.member and self._missing.get(place.source, 0) >= self._limits.missing_members:
            detail = f"{self._limits.missing_members} members in a row are not there; the rest were left alone"
            self._note(place.source, "/Members", DefectKind.TOO_BIG, detail)
            return []
        try:
            if place.collection:
                return await self._visit_collection(place)
            resource = await self._fetch(place.target)
        except ControllerError as error:
            self._failed(place, error)
            if self._lost_in_a_row >= _PATIENCE and self._gone is None:
                await self._look_whether_gone(error)
            return []
        self._lost_in_a_row = 0
        self._missing.pop(place.source, None)
        return self._keep(resource, place.hops)

    async def _visit_collection(self, place: Place) -> list[Place]:
        gathered: Gathered = await gather(
            self._fetch, place.target, self._origin, self._refusals, max_pages=self._limits.pages
        )
        self._lost_in_a_row = 0
        for pointer, kind, detail in gathered.defects:
            self._note(place.target.key, pointer, kind, detail)
        places = self._keep(gathered.collection, place.hops)
        for count, member in enumerate(gathered.members, 1):
            if count % _AT_A_TIME == 0:
                await asyncio.sleep(0)  # other controllers have their turn
            self._seen.add(member.key)
            places += self._keep(member.resource, place.hops + 1)
        for count, (pointer, link) in enumerate(gathered.to_fetch, 1):
            if count % _AT_A_TIME == 0:
                await asyncio.sleep(0)
            places += self._place(Found(pointer, link), place.hops + 1, place.target.key, member=True)
        return places

    async def _fetch(self, target: links.Target) -> Resource:
        asked = self._clock()
        reply = await self._client.get(target.path)
        answered = self._clock()
        etag = reply.header(b"etag")
        self._etags = self._etags or etag is not None
        body = self._decoded(reply, target.path)
        for name, read in service_clock.in_resource(target.key, body, asked, answered):
            self._clocks.setdefault(name, read)
        return Resource(target.key, body, target.path, etag)

    def _decoded(self, reply: Reply, path: str) -> dict[str, Any]:
        self._bytes += len(reply.body)
        if self._bytes > self._limits.bytes:
            self._stop(f"the walk brought more than {self._limits.bytes} bytes")
        return decode(shortened(reply.body, MAX_MEMBERS + 1), self._controller, path)

    # What was found

    def _keep(self, resource: Resource, hops: int) -> list[Place]:
        """Store a resource and say where it leads; of two with one name the first stays."""
        if self._full or resource.uri in self._resources:
            return []
        if len(self._resources) >= self._limits.resources:
            self._stop(f"the service has more than {self._limits.resources} resources")
            return []
        self._resources[resource.uri] = resource
        self._check_identity(resource)
        places: list[Place] = []
        for found in links_of(resource.body):
            if isinstance(found, Misshapen):
                self._note(resource.uri, found.pointer, found.kind, found.detail)
            else:
                places += self._place(found, hops + 1, resource.uri)
        for found in sources_of(resource.body):
            self._place(found, hops + 1, resource.uri)  # always across the tree
        return places

    def _place(self, found: Found, hops: int, source: str, *, member: bool = False) -> list[Place]:
        """Where a link leads, unless we have been there or must not go."""
        pointer = found.pointer
        try:
            target = links.target(found.link, self._origin)
        except links.BadLink as error:
            kind = DefectKind.FOREIGN_LINK if error.foreign else DefectKind.WRONG_TYPE
            self._note(source, pointer, kind, f"the link {plain(str(found.link), 120)!r} {error}")
            return []
        if target.key in self._seen or self._full:
            return []
        if hops > self._limits.hops:
            self._note(source, pointer, DefectKind.TOO_DEEP, f"is more than {self._limits.hops} links from the root")
            return []
        place = Place(target, found.collection, hops, source, pointer, found.origin, member)
        if found.cross:
            self._crossing.setdefault(target.key, place)
            return []
        self._seen.add(target.key)
        return [place]

    def _check_identity(self, resource: Resource) -> None:
        own = resource.body.get("@odata.id")
        if own is None:
            self._note(resource.uri, "/@odata.id", DefectKind.MISSING, "the resource does not name itself")
        elif not isinstance(own, str):
            self._note(resource.uri, "/@odata.id", DefectKind.WRONG_TYPE, f"is {type(own).__name__}, not a string")
        elif links.key(own) != resource.uri:
            self._note(resource.uri, "/@odata.id", DefectKind.WRONG_IDENTITY, f"calls itself {plain(own, 120)!r}")
        if type_name(resource.body) is None:
            self._note(resource.uri, "/@odata.type", DefectKind.MISSING, "the resource does not say its type")

    # What went wrong

    async def _look_whether_gone(self, error: ControllerError) -> None:
        """Some services break the connection over single resources; one whose root fails as well is gone."""
        if isinstance(error, LoginRefused):
            self._gone = error  # never try logins by the dozen
            return
        try:
            await self._client.get(SERVICE_ROOT)
        except ControllerError as failure:
            self._gone = failure
        else:
            self._lost_in_a_row = 0

    def _failed(self, place: Place, error: ControllerError) -> None:
        """Put off what may pass, note what stays."""
        lost = isinstance(error, _LOST)
        self._lost_in_a_row = self._lost_in_a_row + 1 if lost else 0
        if lost or isinstance(error, Truncated) or (isinstance(error, HttpStatus) and error.temporary):
            if not self._second_time:
                self._later.append(place)
                if isinstance(error, HttpStatus):
                    self._wait = max(self._wait, seconds_to_wait(error.retry_after, self._clock()) or 0.0)
                return
            self.passing += 1
        kind = error.defect or DefectKind.HTTP_ERROR
        # A link to nothing is the fault of where it stands; all else is told of the resource that we could not have.
        astray = kind in (DefectKind.DANGLING_LINK, DefectKind.FOREIGN_LINK)
        if place.origin and kind is DefectKind.DANGLING_LINK:
            self._misses += 1
        if place.member and kind is DefectKind.DANGLING_LINK:
            self._missing[place.source] = self._missing.get(place.source, 0) + 1
        at = (place.source, place.pointer) if astray else (place.target.key, "")
        self._note(*at, kind, f"{place.target.path}: {error.happened}")

    def _stop(self, why: str) -> None:
        if not self._full:
            self._full = True
            self._note(SERVICE_ROOT, "", DefectKind.TOO_BIG, f"{why}; the rest was left out")

    def _note(self, resource: str, pointer: str, kind: DefectKind, detail: str) -> None:
        if len(self._defects) < self._limits.defects:
            self._defects.setdefault(
                (resource, pointer, kind),
                Defect(controller=self._controller, resource=resource, property=pointer, kind=kind, detail=detail),
            )


def declared_features(root: dict[str, Any]) -> Features:
    """What ``ProtocolFeaturesSupported`` of a service root declares; anything misspelt counts as not supported."""
    told = root.get("ProtocolFeaturesSupported")
    told = told if isinstance(told, dict) else {}
    expand = told.get("ExpandQuery")
    expand = expand if isinstance(expand, dict) else {}
    able = expand.get("NoLinks") is True
    most = expand.get("MaxLevels")
    levels = most if expand.get("Levels") is True and type(most) is int and most > 0 else 1
    return Features(
        expand_no_links=able, expand_levels=levels if able else 0, select=told.get("SelectQuery") is True, etags=False
    )


def _says_levels(root: dict[str, Any]) -> bool:
    told = root.get("ProtocolFeaturesSupported")
    expand = told.get("ExpandQuery") if isinstance(told, dict) else None
    return isinstance(expand, dict) and expand.get("Levels") is True
