"""The published example services through the whole reading path: client, walk, inventory, plan, a round.

No sockets: the services answer in process. What a walk must bring, and what a round must bring again.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from pathlib import Path

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


EXPLAINED: dict[str, dict[str, int]] = {
    # Numbers are those of redfish-notes.md section 7, words what stands there under none; the examples' times are 2019.
    "public-bladed": {},
    "public-catfish": {"thresholds out of order": 2},  # 9
    "public-cooling-unit": {  # 13, 5; its rows are North 1 and North 2
        **{"wrong identity": 1, "contradiction": 1, "wrong unit": 2},
    },
    "public-expansion-box": {},
    "public-iiot": {"duplicate": 1, "dangling link": 8, "wrong unit": 2, "unknown unit": 3},  # 15, 3, 5; no units told
    "public-localstorage": {},
    "public-nvmeof-jbof": {"wrong type": 3},  # 15
    "public-oem-examples": {},
    "public-pdu": {  # 15, 3, 18, 5, 9
        **{"wrong count": 1, "dangling link": 26, "missing": 2, "wrong unit": 8, "thresholds out of order": 2},
        "bad time": 1,
    },
    "public-rackmount1": {
        "wrong count": 1,
        "dangling link": 13,
        "contradiction": 3,
        "bad time": 2,
        "wrong unit": 1,
    },  # 15, 3, 5; two serials
    "public-sasfabric": {"wrong identity": 1},  # 13
    "public-smartnic": {"dangling link": 13, "wrong identity": 1, "contradiction": 2, "bad time": 4},  # 3, 13
    "public-telemetry": {  # 15, 12 and 22, 13, 9, 21
        **{"wrong count": 1, "unknown word": 22, "wrong identity": 3, "thresholds out of order": 16},
        "dangling link": 3,
    },
}
"""Of each service what is wrong with it, by kind; the details stand in ``test_mockups_quirks.py``."""


async def test_every_folder_that_is_a_service_is_walked_and_every_defect_explained() -> None:
    services = {path.parent.name for path in standard("redfish", "mockups").glob("*/index.json")}
    assert services == EXPLAINED.keys()
    for name, explained in EXPLAINED.items():
        mockup = Mockup(standard("redfish", "mockups", name))
        settings = ControllerSettings(name=name, url="https://192.0.2.17")
        async with Client(settings, transport=MockupTransport(mockup)) as client:
            read = interpret(await walk(client, clock=lambda: TIME), Location())
        clocks = [one for one in read.inventory.defects if one.property == "/DateTime" and "its clock is" in one.detail]
        others = (one for one in read.inventory.defects if one not in clocks)
        assert Counter(defect.kind.value for defect in others) == explained, name
        # A recorded service's clock stands still at the day of the recording, years before ours.
        stand_still = [file for file in mockup_managers(name) if "DateTime" in json.loads(file.read_bytes())]
        assert len(clocks) == bool(stand_still), name


def mockup_managers(name: str) -> list[Path]:
    """The files of a service's managers, by the standard's place for them."""
    return sorted(standard("redfish", "mockups", name).glob("Managers/*/index.json"))
