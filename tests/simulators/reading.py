"""Reads a service in this process as the collector does: a walk, its plan, and a round."""

from __future__ import annotations

import math
from typing import NamedTuple

from pydantic import SecretStr

from collector.model import Defect, Inventory, Location, Round, Sensor
from collector.poll.clock import SystemClock
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.resources import Fetch, Walked
from collector.redfish.walk import Walk
from collector.settings import ControllerSettings, Credential
from simulators.service.inprocess import InProcess
from simulators.service.service import Service
from tests.simulators.service_kit import NOW, PASSWORD, USER


class Still(SystemClock):
    """Time as the services of these tests have it."""

    def now(self) -> float:
        return NOW


class Read(NamedTuple):
    """What the collector made of one service."""

    walked: Walked
    inventory: Inventory
    fetches: tuple[Fetch, ...]
    round: Round
    """The last one."""
    requests: tuple[int, ...]
    """Of each round."""
    bytes_received: tuple[int, ...]
    """Of each round."""

    @property
    def defects(self) -> tuple[Defect, ...]:
        """Of the walk and of the round."""
        return (*self.inventory.defects, *self.round.defects)

    def sensors(self) -> dict[str, Sensor]:
        """By source."""
        return {sensor.source: sensor for sensor in self.inventory.layout.sensors}

    def values(self) -> dict[str, float | None]:
        """The round's readings, by the sensor's source; None where none was told."""
        assert self.round.frame is not None
        sensors = self.inventory.layout.sensors
        return {
            sensor.source: None if math.isnan(value) else value
            for sensor, value in zip(sensors, self.round.frame.values, strict=True)
        }


async def read(service: Service, rounds: int = 1) -> Read:
    """Walk a service, plan, and do so many rounds."""
    settings = ControllerSettings(
        name=service.name,
        url="https://192.0.2.7",
        credential=Credential(username=USER, password=SecretStr(PASSWORD)),
    )
    clock = Still()
    async with Client(settings, transport=InProcess(service, clock.now)) as client:
        walked = await Walk(client, clock=clock.now).run()
        interpreted = interpret(walked, Location())
        following = Rounds(client, interpreted, clock)
        done = [await following.run(60.0) for _ in range(rounds)]
    assert [one.failure for one in done] == [None] * rounds
    told = [one.round for one in done]
    return Read(
        walked,
        interpreted.inventory,
        interpreted.fetches,
        told[-1],
        tuple(one.requests for one in told),
        tuple(one.bytes_received for one in told),
    )
