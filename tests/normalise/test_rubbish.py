"""Services mutilated at random: no exception, a sound inventory, no column out of place."""

from __future__ import annotations

import copy
import json
import math
import random
from functools import cache
from typing import Any

import pytest

from collector.model import Location
from collector.normalise.inventory import build
from collector.normalise.polled import Decoder
from collector.poll.plan import plan
from collector.redfish.resources import SERVICE_ROOT, Features, Resource, Walked
from tests.normalise.services import NAME, chassis, ok, read, root, sled, thermal
from tests.normalise.walks import TIME, answers, example, walk_of

SERVICES = ("public-bladed", "public-rackmount1", "public-localstorage", "public-telemetry")

JUNK: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1e308, math.nan, math.inf, 10**400, "", "x" * 300, "NaN", "12", "Enabled", "OK"),
    *([], {}, [None], [[]], [{}], {"a": 1}, "\u202e\x1b[31m", "2025-11-24T15:00:00Z", "/redfish/v1/../../x", "%zz"),
    *({"@odata.id": told} for told in (5, "", "/", "#", "http://192.0.2.1/x", "/redfish/v1/Chassis", "//x", "\x00")),
    {"@odata.id": "/redfish/v1/Chassis/1U/Thermal#/Fans/99"},
    {"Reading": "5", "DataSourceUri": "/redfish/v1/Chassis/1U/Sensors/CPU1Temp"},
    {"Reading": [], "DataSourceUri": 7},
    {"State": 5, "Health": []},
    {"State": "Bogus", "Health": "Bad", "Conditions": [1, {"Message": 5}, {"Severity": "Critical", "Message": "m"}]},
)


@cache
def bodies_of(name: str) -> dict[str, Resource]:
    return example(name).resources


def places(value: Any, steps: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [steps] if steps else []
    if isinstance(value, dict | list):
        for step, below in value.items() if isinstance(value, dict) else enumerate(value):
            found += places(below, (*steps, step))
    return found


def mutilated(body: Any, chance: random.Random) -> Any:
    told = copy.deepcopy(body)
    steps = chance.choice(places(told) or [("x",)])
    holder = told
    for step in steps[:-1]:
        holder = holder[step]
    if chance.random() < 0.25 and steps[-1] in (holder if isinstance(holder, dict) else range(len(holder))):
        del holder[steps[-1]]
    elif isinstance(holder, dict | list):
        holder[steps[-1]] = copy.deepcopy(chance.choice(JUNK))
    return told


@pytest.mark.parametrize("seed", range(60))
def test_a_mutilated_service_is_read_as_far_as_it_goes(seed: int) -> None:
    chance = random.Random(seed)
    resources = dict(bodies_of(SERVICES[seed % len(SERVICES)]))
    for _ in range(chance.choice([1, 5, 40])):
        uri = chance.choice(list(resources))
        body = mutilated(resources[uri].body, chance)
        resources[uri] = Resource(uri, body, resources[uri].fetched_by)
    walked = Walked(
        controller="n1", time=TIME, root=resources[SERVICE_ROOT].body, resources=resources, features=Features()
    )
    inventory = build(walked, Location(rack="R02"))
    ids = {part.id for part in inventory.parts}
    assert len(ids) == len(inventory.parts)
    assert all(part.parent is None or part.parent in ids for part in inventory.parts)
    assert all(one.part in ids and one.on in ids for one in inventory.links)
    assert inventory.statuses.keys() <= ids
    assert len({sensor.key for sensor in inventory.layout.sensors}) == len(inventory.layout.sensors)
    assert len(inventory.frame.values) == len(inventory.frame.healths) == len(inventory.layout.sensors)
    assert not [value for value in inventory.frame.values if math.isinf(value)]
    assert all(defect.detail.isprintable() and len(defect.detail) <= 300 for defect in inventory.defects)
    fetches = plan(walked, inventory)
    decoder = Decoder(inventory, fetches)
    sound = {
        uri: one.body | {"Members": members_of(one.body)} if "Members" in one.body else one.body
        for uri, one in resources.items()
    }
    for body in answers(walked, fetches, sound):
        decoder.begin()
        decoder.take(chance.randrange(len(fetches)), body, TIME)  # even of another GET
        decoder.finish(TIME)
        decoder.begin()
        spoilt = mutilated(json.loads(body), chance)
        decoder.take(chance.randrange(len(fetches)), json.dumps(spoilt).encode(), TIME)
        decoder.take(chance.randrange(len(fetches)), body[: chance.randrange(len(body))], TIME)
        decoded = decoder.finish(TIME)
        assert decoded.statuses.keys() <= inventory.statuses.keys()


def members_of(body: dict[str, Any]) -> list[Any]:
    """Members that the test's own service can follow."""
    told = body["Members"] if isinstance(body["Members"], list) else []
    return [member for member in told if isinstance(member, dict) and isinstance(member.get("@odata.id"), str)]


EXCERPT = {"Reading": 5, "DataSourceUri": "/redfish/v1/Chassis/Sled/Sensors/None"}


@pytest.mark.parametrize(
    "rows",
    [
        [{"Name": "A", "ReadingCelsius": 20}, {"Name": "B", "ReadingCelsius": EXCERPT}],
        [{"Name": "A", "ReadingCelsius": EXCERPT}, {"Name": "B", "ReadingCelsius": 20}],
        [{"Name": "A", "ReadingCelsius": 20, "Status": EXCERPT}, {"Name": "B", "ReadingCelsius": 20, "Status": ok()}],
        [{"Name": "A", "ReadingCelsius": 20, "Status": {"Health": EXCERPT}}, {"Name": "B", "ReadingCelsius": 20}],
        [{"Name": EXCERPT, "ReadingCelsius": 20}, {"Name": "B", "ReadingCelsius": 20}],
        [{"Name": "A", "ReadingCelsius": 20}, {"Name": "B", "ReadingCelsius": [EXCERPT]}],
    ],
)
def test_one_property_that_is_a_number_here_and_an_object_there(rows: list[dict[str, Any]]) -> None:
    """Found by the campaign of mutated services: no type fits such a body, yet rounds read what the walk read."""
    bodies = root() | chassis(sled()) | thermal(Temperatures=rows)
    inventory, walked = read(bodies), walk_of(bodies, NAME)
    fetches = plan(walked, inventory)
    decoder = Decoder(inventory, fetches)
    decoder.begin()
    for index, body in enumerate(answers(walked, fetches)):
        decoder.take(index, body, TIME)
    frame = decoder.finish(TIME).frame
    assert frame is not None
    assert frame.values.tobytes() == inventory.frame.values.tobytes()
    assert len(inventory.layout.sensors) >= 2
