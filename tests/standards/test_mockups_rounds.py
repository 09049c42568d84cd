"""The published example services through the whole reading path: client, walk, inventory, plan, a round.

No sockets: the services answer in process. What a walk must bring, and what a round must bring again.
"""

from __future__ import annotations

import math

import pytest

from collector.model import Location
from collector.poll.interpret import interpret
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import ControllerSettings
from tests.conftest import standard
from tests.mockups import Mockup, MockupTransport
from tests.normalise.walks import MAIN, TIME
from tests.standards.readings import list_readings

UNLISTED = {"public-rackmount1": {"/redfish/v1/Chassis/1U/Sensors/CPU1Power"}}
"""Sensors that no collection lists, only a DataSourceUri names: a walk may or may not go there."""


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize("name", MAIN)
async def test_a_walk_and_a_round_bring_every_number(name: str, expand: bool) -> None:
    mockup = Mockup(standard("redfish", "mockups", name), expand=expand)
    settings = ControllerSettings(name=name, url="https://192.0.2.17")
    async with Client(settings, transport=MockupTransport(mockup)) as client:
        read = interpret(await walk(client, clock=lambda: TIME), Location())
        sensors = read.inventory.layout.sensors
        covered = {place for sensor in sensors for place in (sensor.source, *sensor.also_at)}
        told = list_readings(mockup.folder)
        assert told.keys() - covered <= UNLISTED.get(name, set())
        walked = client.requests
        read.decoder.begin()
        for index, fetch in enumerate(read.fetches):
            reply = await client.get(fetch.path)
            assert reply.status == 200
            read.decoder.take(index, reply.body, TIME)
        decoded = read.decoder.finish(TIME)
        assert client.requests - walked == len(read.fetches)
    assert decoded.statuses == {}
    assert not decoded.shape_changed
    assert decoded.frame is not None
    values = zip(sensors, read.inventory.frame.values, decoded.frame.values, strict=True)
    brought = {uri for fetch in read.fetches for uri in fetch.brings}
    differing = [
        sensor.source
        for sensor, before, after in values
        if before != after
        and not (math.isnan(before) and math.isnan(after))
        and sensor.source.partition("#")[0] in brought
    ]
    assert differing == []
    assert expand is False or all(sensor.source.partition("#")[0] in brought for sensor in sensors)
