"""The published example services through the whole reading path: client, walk, inventory, plan, a round.

No sockets: the services answer in process. What a walk must bring, and what a round must bring again.
"""

from __future__ import annotations

import math
from collections import Counter

import pytest

from collector.model import Location
from collector.poll.interpret import interpret
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import ControllerSettings
from tests.conftest import standard
from tests.mockups import Mockup, MockupTransport
from tests.normalise.walks import MAIN, OTHERS, TIME
from tests.standards.readings import list_readings

UNLINKED = {"public-pdu": "/redfish/v1/PowerEquipment/TransferSwitches/1/Sensors/"}
"""Files of an example that nothing in it links to: no client can find them (its chassis lists the same sensors)."""


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize("name", [*MAIN, *OTHERS])
async def test_a_walk_and_a_round_bring_every_number(name: str, expand: bool) -> None:
    mockup = Mockup(standard("redfish", "mockups", name), expand=expand)
    settings = ControllerSettings(name=name, url="https://192.0.2.17")
    async with Client(settings, transport=MockupTransport(mockup)) as client:
        read = interpret(await walk(client, clock=lambda: TIME), Location())
        sensors = read.inventory.layout.sensors
        places = Counter(place for sensor in sensors for place in (sensor.source, *sensor.also_at))
        assert not [place for place, times in places.items() if times > 1], "none twice"
        told = list_readings(mockup.folder)
        missing = {place for place in told.keys() - places if not place.startswith(UNLINKED.get(name, "-"))}
        assert not missing, "none missing"
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
    for sensor, before, after in zip(sensors, read.inventory.frame.values, decoded.frame.values, strict=True):
        assert any(place.partition("#")[0] in brought for place in (sensor.source, *sensor.also_at))
        assert math.isnan(before) or not math.isnan(after)
