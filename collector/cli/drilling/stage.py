"""A simulated fleet in fast time, polled by the real walk, plan, rounds, normaliser and wards."""

from __future__ import annotations

import asyncio
import secrets
import tomllib
from collections.abc import Mapping
from dataclasses import replace

from msgspec import structs
from pydantic import SecretStr

from collector.assess.care import Cares
from collector.assess.diagnosis import Diagnosis
from collector.assess.outages import Outages
from collector.assess.sightings import Sightings
from collector.assess.ward import Ward
from collector.assess.watch import Watch
from collector.assess.whereabouts import Whereabouts
from collector.cli.drilling.instant import Instant
from collector.model import Assessment, Inventory, Location, Seconds, Trouble, WorkOrder
from collector.model import Round as PolledRound
from collector.poll.fleet import places_of
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError
from collector.redfish.walk import Walk
from collector.settings import ControllerSettings, DesignSettings, PlaceSettings
from collector.settings.controllers import Credential
from simulators.service import dialects
from simulators.service.accounts import MONITOR, ROLE_OF
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.service.siteplan import ground
from simulators.service.tree import Tree
from simulators.site import Enclosure, Equipment, Shelf, Site, demo_site
from simulators.telemetry import SledTelemetry
from simulators.world import World

WALK_INTERVAL = 900.0
"""Seconds between two planned walks of a controller."""
_ANSWER = 0.03
"""Seconds that a healthy controller takes for an answer, about."""
DEADLINE = 60.0
"""Real seconds that a round may take; only a bug comes near."""


def small_site() -> Site:
    """Two of the demo site's racks, two sleds an enclosure: every design and dialect of it, and quick to poll."""
    site = demo_site()
    rows = []
    for row in site.rows:
        racks = [replace(rack, enclosures=tuple(map(_two_sleds, rack.enclosures))) for rack in row.racks]
        rows.append(replace(row, racks=(racks[0],)))
    return replace(site, rows=tuple(rows))


def _two_sleds(enclosure: Enclosure) -> Enclosure:
    return replace(enclosure, sleds=enclosure.sleds[:2])


class StageClock:
    """Simulated time, as the poll path asks for it. Nothing waits."""

    def __init__(self, world: World) -> None:
        self._world = world

    def now(self) -> Seconds:
        """Epoch seconds."""
        return self._world.time

    def monotonic(self) -> float:
        """The same."""
        return self._world.time

    async def sleep(self, seconds: float) -> None:
        """Return at once: simulated time passes between rounds only."""

    async def wait(self, seconds: float, call: asyncio.Event) -> None:
        """Return at once."""


class _Source:
    """The sled behind a service, without a person at it."""

    def __init__(self, world: World, name: str) -> None:
        self._world, self._name = world, name

    def telemetry(self) -> SledTelemetry:
        return self._world.telemetry(self._name)

    def acquired(self) -> float:
        return self._world.acquired

    def set_locate(self, part: str, on: bool) -> None:
        self._world.set_locate(part, on)

    def set_power(self, host: str, on: bool, *, again: float | None = None) -> None:
        self._world.set_power(host, on, again=again)

    def restart(self) -> None:
        self._world.inject("controller-rebooting", f"{self._name}/controller")


class Station:
    """One controller: its service, the client that polls it, and its ward."""

    def __init__(
        self,
        unit: Equipment,
        world: World,
        service: Service,
        settings: ControllerSettings,
        ward: Ward,
        walk_interval: Seconds = WALK_INTERVAL,
    ) -> None:
        self.unit = unit
        self.service = service
        self.ward = ward
        self.inventory: Inventory | None = None
        self._world = world
        self._clock = StageClock(world)
        transport = Instant(service, self._clock.now)
        self._client = Client(settings, transport=transport)
        self._rounds: Rounds | None = None
        self._walk_due = 0.0
        self._walk_interval = walk_interval
        self._last_walk = float("-inf")

    async def turn(self, interval: Seconds) -> list[Assessment]:
        """A walk where one is due, else a round."""
        if self._rounds is None or self._clock.now() >= self._walk_due:
            return [await self._walk()]
        started = self._clock.now()
        done = await self._rounds.run(DEADLINE)
        if done.walk_wanted:
            self._walk_due = min(self._walk_due, max(self._clock.now(), self._last_walk + 2 * interval))
        took = (_ANSWER + self._world.telemetry(self.unit.name).controller.slow) * max(1, done.round.requests)
        return [self.ward.round(structs.replace(done.round, finished=started + took), self._clock.now())]

    async def look(self) -> Assessment | None:
        """A whole round out of turn, as after something was done to it; None before the first walk."""
        if self._rounds is None:
            return None
        done = await self._rounds.run(DEADLINE, whole=True)
        return self.ward.round(done.round, self._clock.now())

    async def close(self) -> None:
        """Delete the session."""
        await self._client.aclose()

    async def _walk(self) -> Assessment:
        now = self._last_walk = self._clock.now()
        walk = Walk(self._client, clock=self._clock.now, sleep=self._clock.sleep)
        try:
            await self._client.connect(anew=True)
            walked = await walk.run()
        except ControllerError as error:
            failed = PolledRound(
                controller=self.unit.name, started=now, finished=now, outcome=error.outcome, error=error.line
            )
            return self.ward.round(failed, now)
        interpreted = interpret(walked, _location(self._world, self.unit.name))
        self.inventory = interpreted.inventory
        self._rounds = Rounds(self._client, interpreted, self._clock)
        self._walk_due = now + self._walk_interval
        return self.ward.inventory(interpreted.inventory, now)


class Stage:
    """The whole fleet. ``interval``: simulated seconds between the rounds of one controller."""

    def __init__(self, world: World, interval: Seconds, walk_interval: Seconds = WALK_INTERVAL) -> None:
        self.world = world
        self.interval = interval
        self._walk_interval = walk_interval
        plan = tomllib.loads("\n".join(ground(world.site)))
        self.sightings = Sightings()
        """What a person at a front says; empty without one."""
        self._asked = 0
        self._diagnosis = Diagnosis(
            [DesignSettings.model_validate(each).design for each in plan.get("designs", ())],
            places_of(PlaceSettings.model_validate(each) for each in plan.get("places", ())),
            sightings=self.sightings,
        )
        self._whereabouts, self._outages = Whereabouts(), Outages()
        self.cares = Cares()
        """What people declared."""
        self.rounds = 0
        """Rounds of the whole fleet so far."""
        self.troubles: dict[str, Trouble] = {}
        """Open now, by id."""
        self.orders: dict[str, WorkOrder] = {}
        """Open now, by id."""
        self.ever_ordered: dict[str, WorkOrder] = {}
        """All orders that were told since :meth:`forget`, by id."""
        password = secrets.token_hex(16)
        account = Account(MONITOR, password, ROLE_OF[MONITOR], built_in=True)
        trees: dict[tuple[object, ...], Tree] = {}
        self.stations: dict[str, Station] = {}
        for unit in world.site.equipment:
            key = (unit.design.name, unit.dialect, unit.outlets if isinstance(unit, Shelf) else ())
            if key not in trees:
                trees[key] = dialects.tree(unit)
            service = Service(unit, trees[key], _Source(world, unit.name), account)
            settings = ControllerSettings(
                name=unit.name,
                url=f"https://{unit.name}.invalid",
                credential=Credential(username=MONITOR, password=SecretStr(password)),
            )
            self.stations[unit.name] = Station(unit, world, service, settings, self._ward(unit.name), walk_interval)

    def _ward(self, name: str) -> Ward:
        watch = Watch(
            name,
            self.interval,
            (),
            self._whereabouts,
            cares=self.cares,
            outages=self._outages,
            location=_location(self.world, name),
        )
        return self._diagnosis.ward(watch, _location(self.world, name))

    async def round(self) -> None:
        """Let one interval pass and every controller have its turn at its own moment in it."""
        names = list(self.stations)
        step = self.interval / len(names)
        for name in names:
            self.world.advance(step)
            for assessment in await self.stations[name].turn(self.interval):
                self._take(assessment)
        self.rounds += 1

    async def look(self, name: str) -> None:
        """A whole round of one controller, out of turn."""
        assessment = await self.stations[name].look()
        if assessment is not None:
            self._take(assessment)

    def asked(self) -> int:
        """The number of the next request of a person."""
        self._asked += 1
        return self._asked

    async def rounds_of(self, count: int) -> None:
        """Some rounds."""
        for _ in range(count):
            await self.round()

    async def close(self) -> None:
        """End all sessions."""
        for station in self.stations.values():
            await station.close()

    def forget(self) -> None:
        """Begin to remember orders anew."""
        self.ever_ordered = dict(self.orders)

    def inventories(self) -> Mapping[str, Inventory]:
        """The newest walk of each controller that was walked."""
        return {name: s.inventory for name, s in self.stations.items() if s.inventory is not None}

    def _take(self, assessment: Assessment) -> None:
        for trouble in assessment.troubles:
            if trouble.closed is None:
                self.troubles[trouble.id] = trouble
            else:
                self.troubles.pop(trouble.id, None)
        for order in assessment.orders:
            if order.closed is None:
                self.orders[order.id] = self.ever_ordered[order.id] = order
            else:
                self.orders.pop(order.id, None)


def _location(world: World, name: str) -> Location:
    """As a fleet file would have it: what the controller itself does not know."""
    place = world.site.place(world.site.unit(name).path)
    return Location(
        site=place.site,
        row=place.row,
        rack=place.rack,
        offset=place.offset,
        offset_unit=None if place.offset is None else "EIA_310",
        enclosure=place.enclosure,
    )
