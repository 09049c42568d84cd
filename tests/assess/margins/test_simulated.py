"""The looks on the simulated fleet, whose physics they share nothing with: quiet in health, right about faults."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pydantic import SecretStr

from collector.assess.looking import Seen
from collector.assess.looks.air import AirLook
from collector.assess.looks.power import PowerLook
from collector.assess.margins.peers import Peers
from collector.model import Inventory, Location, Sign, SignKey, Status
from collector.poll.clock import SystemClock
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.walk import Walk
from collector.settings import ControllerSettings, Credential
from simulators.service.dialects import tree
from simulators.service.inprocess import InProcess
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.site import demo_site
from simulators.world import World
from tests.simulators.service_kit import PASSWORD, USER, Sledge

LEARNING = 75
"""Minutes of health before anything befalls."""


class Played:
    """Some sleds of the demo site, their controllers read once a simulated minute."""

    def __init__(self, names: list[str]) -> None:
        self.names = names
        self.world = World(demo_site(), step=10.0)
        self.clock = _Clock(self.world)
        self.read: dict[str, tuple[Inventory, Rounds]] = {}
        self.looks: dict[str, tuple[AirLook, PowerLook]] = {}
        self.statuses: dict[str, dict[str, Status]] = {}

    async def start(self) -> None:
        peers = Peers()
        for name in self.names:
            sled = replace(self.world.site.sled(name), dialect="modern")
            service = Service(sled, tree(sled), Sledge(self.world, name), Account(USER, PASSWORD))
            settings = ControllerSettings(
                name=name,
                url="https://192.0.2.7",
                credential=Credential(username=USER, password=SecretStr(PASSWORD)),
            )
            client = Client(settings, transport=InProcess(service, self.clock.now))
            await client.connect()
            found = interpret(await Walk(client, clock=self.clock.now).run(), Location(site="Q", rack=name[:3]))
            self.read[name] = (found.inventory, Rounds(client, found, self.clock))
            self.looks[name] = (AirLook(name, peers), PowerLook(name))
            self.statuses[name] = dict(found.inventory.statuses)
            for look in self.looks[name]:
                look.inventory(found.inventory, self.clock.now())

    async def minutes(self, count: int) -> set[tuple[str, Sign]]:
        """Let rounds pass; all that was seen: the parts' last steps."""
        keys: set[SignKey] = set()
        for _ in range(count):
            self.world.advance(60.0)
            for name, (_, rounds) in self.read.items():
                done = (await rounds.run(60.0)).round
                self.statuses[name].update(done.statuses)
                seen = Seen(
                    time=self.clock.now(),
                    frame=done.frame,
                    statuses=self.statuses[name],
                    idle=frozenset(),
                    outcome=done.outcome,
                )
                for look in self.looks[name]:
                    look.round(seen)
                    keys |= set(look.present)
        return {(f"{part.partition(':')[0]}/{part.rpartition('/')[2]}", sign) for part, sign, _ in keys}


class _Clock(SystemClock):
    def __init__(self, world: World) -> None:
        self.world = world

    def now(self) -> float:
        return self.world.time


@pytest.mark.slow
async def test_a_closing_filter_a_covered_blade_and_a_loose_heat_sink_are_seen_within_five_minutes() -> None:
    played = Played(["r03-e1-s1", "r02-e1-s1", "r03-e1-s2"])
    await played.start()
    assert await played.minutes(LEARNING) == set()
    played.world.inject("inlet-blocked", "r03-e1-s1", fraction=0.4)
    played.world.inject("inlet-blocked", "r02-e1-s1/blade1", fraction=0.75)
    played.world.inject("heat-sink-loose", "r03-e1-s2/blade2/cpu0")
    seen = await played.minutes(5)
    assert {("r03-e1-s1/Sled", Sign.SHORT_OF_AIR), ("r03-e1-s1/Sled", Sign.WORKS_HARD)} <= seen
    assert ("r02-e1-s1/Blade1", Sign.SHORT_OF_AIR) in seen
    assert ("r02-e1-s1/Blade2", Sign.SHORT_OF_AIR) not in seen
    assert {one for one in seen if one[0].startswith("r03-e1-s2/")} == {("r03-e1-s2/Cpu0", Sign.HOT)}


@pytest.mark.slow
async def test_power_and_coolant_faults_are_seen_within_five_minutes() -> None:
    played = Played(["r02-e1-s2", "r03-e3-s1", "r03-e1-s3"])
    await played.start()
    assert await played.minutes(LEARNING) == set()
    played.world.inject("power-board", "r02-e1-s2")
    played.world.inject("pump-weak", "r03-e3-s1/pump")
    played.world.inject("blade-power-lost", "r03-e1-s3/blade2")
    played.world.set_power("r03-e1-s3/blade3/host", False)
    seen = await played.minutes(5)
    assert ("r02-e1-s2/Blade1", Sign.LOW_VOLTAGE) in seen
    assert ("r02-e1-s2/Sled", Sign.UNBALANCED) in seen
    assert any(sign is Sign.LITTLE_FLOW and part.startswith("r03-e3-s1/") for part, sign in seen)
    assert {one for one in seen if one[0].startswith("r03-e1-s3/")} == {("r03-e1-s3/Blade2", Sign.NO_POWER)}
