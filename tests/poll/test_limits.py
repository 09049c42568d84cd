"""A power limit that is changed at the controller is noticed by the rounds, which ask for a walk: that reads it."""

from __future__ import annotations

from pydantic import SecretStr

from collector.model import Location, SettingKind
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import ControllerSettings, Credential
from simulators.service import dialects
from simulators.service.inprocess import InProcess
from simulators.service.service import Service
from simulators.service.sessions import Account
from tests.poll.doubles import QuickClock
from tests.simulators.service_kit import NOW, PASSWORD, USER, Sledge, sled_of, still_world

METRICS, CONTROL = "/redfish/v1/Chassis/Sled/EnvironmentMetrics", "/redfish/v1/Chassis/Sled/Controls/PowerLimit"


async def test_a_limit_that_is_changed_asks_for_a_walk_once_in_ten_rounds() -> None:
    sled = sled_of("quad", "modern")
    tree = dialects.tree(sled)
    service = Service(sled, tree, Sledge(still_world(), sled.name), Account(USER, PASSWORD))
    clock = QuickClock(NOW)
    credential = Credential(username=USER, password=SecretStr(PASSWORD))
    settings = ControllerSettings(name="bmc", url="https://192.0.2.7", credential=credential)
    async with Client(settings, transport=InProcess(service, clock.now)) as client:

        async def limit_walked() -> float | None:
            nonlocal read
            read = interpret(await walk(client, clock=clock.now), Location())
            return next(one.value for one in read.inventory.settings if one.kind is SettingKind.POWER_LIMIT)

        async def wanted(rounds: Rounds, count: int) -> list[bool]:
            found = []
            for _ in range(count):
                clock.time += 30.0
                found.append((await rounds.run(60.0)).walk_wanted)
            return found

        read = interpret(await walk(client, clock=clock.now), Location())
        before = await limit_walked()
        rounds = Rounds(client, read, clock)
        assert not any(await wanted(rounds, 24))
        for path, holder in ((METRICS, "PowerLimitWatts"), (CONTROL, "")):
            body = tree.resources[path].body
            (body[holder] if holder else body)["SetPoint"] = 2000
        tree._answers.clear()
        assert any(await wanted(rounds, 24))
        assert (before, await limit_walked()) == (3420.0, 2000.0)
        assert not any(await wanted(Rounds(client, read, clock), 24))
