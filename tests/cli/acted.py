"""One simulated sled, one collector that carries out what people ask for, in this process and on a clock of its own."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import SecretStr

from collector.assess import asking
from collector.assess.care import Cares
from collector.assess.watch import Watch
from collector.cli.deeds import Deeds
from collector.cli.errands import Errands
from collector.cli.holding import Holding
from collector.model import Kind, Lit, Location, Part, PowerWish, Request, Update
from collector.poll.hands import Hands
from collector.poll.interpret import interpret
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import (
    ActionSettings,
    CollectorSettings,
    ControllerSettings,
    Credential,
    Settings,
    StoreSettings,
)
from collector.store.reader import Reader
from collector.store.requests import ask
from collector.store.writer import Writer
from simulators.serve import with_dialect
from simulators.service import dialects
from simulators.service.inprocess import InProcess
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.site import Sled, scaled_site
from simulators.telemetry import SledTelemetry
from simulators.world import World

NOON = 1_764_072_000.0
PASSWORD = "open sesame"
WHO = "Tamsin Orrel"


class Pace:
    """Time that passes when somebody sleeps, and the world with it."""

    def __init__(self, world: World) -> None:
        self.time = NOON
        self._world = world

    def now(self) -> float:
        return self.time

    def monotonic(self) -> float:
        return self.time

    async def sleep(self, seconds: float) -> None:
        self.pass_by(seconds)
        await asyncio.sleep(0)

    async def wait(self, seconds: float, call: asyncio.Event) -> None:
        await self.sleep(seconds)

    def pass_by(self, seconds: float) -> None:
        self.time += seconds
        self._world.advance(seconds)


class Source:
    """The sled behind the service."""

    def __init__(self, world: World, name: str, pace: Pace) -> None:
        self.world, self.name, self._pace = world, name, pace
        self.deaf = False
        """Whether lamps and power stay as they are, whatever is asked."""

    def telemetry(self) -> SledTelemetry:
        return self.world.telemetry(self.name)

    def acquired(self) -> float:
        return self._pace.time

    def set_locate(self, part: str, on: bool) -> None:
        if not self.deaf:
            self.world.set_locate(part, on)

    def set_power(self, host: str, on: bool, *, again: float | None = None) -> None:
        if not self.deaf:
            self.world.set_power(host, on, again=again)

    def restart(self) -> None:
        self.world.inject("controller-rebooting", f"{self.name}/controller")


@dataclass
class Kept:
    """As much of a keeper as hands need."""

    settings: ControllerSettings
    client: Client
    looks: int = 0

    def look(self) -> None:
        self.looks += 1


@dataclass
class Site:
    """All of it."""

    state: Path
    sled: Sled
    service: Service
    source: Source
    pace: Pace
    keeper: Kept
    watch: Watch
    deeds: Deeds
    errands: Errands
    holding: Holding
    reader: Reader
    told: list[Update] = field(default_factory=list)

    async def walk(self) -> None:
        """Let the collector learn what is there now."""
        walked = await walk(self.keeper.client, clock=self.pace.now, sleep=self.pace.sleep)
        self.watch.inventory(interpret(walked, Location()).inventory, self.pace.time)

    def part(self, kind: Kind, number: int = 1) -> Part:
        """The nth part of a kind."""
        return [part for part in self.watch.tree.parts if part.kind is kind][number - 1]

    def lamp(self, part: str = "") -> bool | None:
        """Whether the lamp is lit that a person would see, by path below the sled."""
        told = self.source.telemetry().parts
        return told[f"{self.sled.name}/{part}" if part else self.sled.name].locate

    def host(self, number: int) -> str | None:
        """The power state of a host."""
        return self.source.telemetry().parts[f"{self.sled.name}/blade{number}/host"].power_state

    def ask(self, request: Request) -> int:
        return ask(self.state, request)

    def locate(self, part: Part, *, on: bool = True, minutes: float | None = None, who: str = WHO) -> Request:
        return asking.locate(
            self.watch.tree,
            self.watch.statuses,
            part.id,
            who=who,
            why="to find it",
            now=self.pace.time,
            on=on,
            minutes=minutes,
        )

    def power(self, part: Part, how: PowerWish, confirm: str) -> Request:
        return asking.power(self.watch.tree, part.id, how, confirm=confirm, who=WHO, why="it hangs", now=self.pace.time)

    async def done(self, number: int) -> Request:
        """What came of a request, once something has."""
        await self.errands.once()
        await self.errands.finish()
        found = self.reader.asked.request(number)
        assert found is not None
        return found

    def lit(self) -> list[Lit]:
        return self.reader.asked.held(Lit)


@asynccontextmanager
async def acting(
    state: Path,
    dialect: str = "modern",
    *,
    actions: Mapping[str, Any] | None = None,
    role: str = "Operator",
    action_role: str | None = None,
    power: bool | None = None,
    walked: bool = True,
    world: World | None = None,
    time: float = NOON,
) -> AsyncIterator[Site]:
    """A site whose collector is logged in with an account of this role, and with another one for actions."""
    state.mkdir(parents=True, exist_ok=True)
    world = World(with_dialect(scaled_site(1), dialect)) if world is None else world
    pace = Pace(world)
    pace.time = time
    sled = world.site.sleds[0]
    source = Source(world, sled.name, pace)
    service = Service(
        sled,
        dialects.tree(sled),
        source,
        Account("monitor", PASSWORD, role, built_in=True),
        admin=Account("admin", PASSWORD, action_role or "Administrator", built_in=True),
    )
    transport = InProcess(service, clock=pace.now, sleep=pace.sleep)
    told: list[Update] = []

    async def tell(update: Update) -> None:
        told.append(update)

    controller = ControllerSettings(
        name="c1",
        url="http://c1.test",
        credential=Credential(username="monitor", password=SecretStr(PASSWORD)),
        action_credential=None if action_role is None else Credential(username="admin", password=SecretStr(PASSWORD)),
        power=power,
    )
    settings = Settings(
        path=state / "fleet.toml",
        collector=CollectorSettings(),
        store=StoreSettings(),
        mqtt=None,
        mqtt_password=None,
        controllers=(controller,),
        actions=ActionSettings(**dict(actions or {})),
    )
    async with (
        Writer(state, settings.store, now=pace.now) as writer,
        Client(controller, transport=transport) as client,
    ):
        writer.controllers([controller])
        with Reader(state) as reader:
            holding = Holding(reader.asked.held(Lit))
            watch, keeper = Watch("c1", 30.0), Kept(controller, client)
            hands = Hands([keeper], pace, lambda _: InProcess(service, pace.now, pace.sleep))  # type: ignore[list-item]
            deeds = Deeds(state, settings, {"c1": watch}, hands, holding)
            errands = Errands(state, writer, Cares(), {"c1": watch}, tell, pace.now, deeds=deeds, holding=holding)
            site = Site(state, sled, service, source, pace, keeper, watch, deeds, errands, holding, reader, told)
            if walked:
                await site.walk()
            yield site
