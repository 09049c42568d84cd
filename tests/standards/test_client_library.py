"""The example services read by the standards body's own client, beside what we read of them.

``redfish`` and ``redfish_utilities.get_sensors`` (DMTF, from the Python package registry) walk each service over
loopback HTTP. Every number and word that they hand out carries the place it came from, so that the two readings of one
resource can be held against each other.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest
import redfish
import redfish_utilities

from collector.model import Health, Location, Sensor, State
from collector.normalise.inventory import Normalised, build
from collector.normalise.units import ALSO_ALLOWED, of_code
from tests.conftest import standard
from tests.mockups import serve_mockup
from tests.normalise.walks import MAIN, example

NOT_READINGS = ("PowerCapacityWatts",)
"""What the client lists among readings and we don't: a rating."""

CONTRADICTIONS: Mapping[str, Mapping[str, str]] = {
    "public-telemetry": {
        f"/redfish/v1/Chassis/{chassis}/Power#/PowerSupplies/1/{key}": "the supply is Disabled, yet tells a number"
        for chassis in ("1", "Tray_1", "Tray_2", "Tray_3")
        for key in ("LineInputVoltage", "LastPowerOutputWatts")
    },
}
"""Places where an example contradicts itself, so that two readers may differ."""

REJECTED: Mapping[str, tuple[str, ...]] = {
    "public-telemetry": ("/Thermal#/Temperatures/0/", "/Thermal#/Temperatures/1/", "/Thermal#/Fans/"),
}
"""Places with thresholds out of order, of which we use none."""
IN_STEAD: Mapping[str, Mapping[str, float]] = {"public-telemetry": {"lower_critical": 1000}}
"""What a trigger of the telemetry service (FanTriggers) sets for fans whose own thresholds are of no use."""

NUMBERS = {"public-bladed": 17, "public-rackmount1": 40, "public-localstorage": 8, "public-telemetry": 36}
"""How many numbers the client reads of each; counted, so that a comparison that finds nothing to compare fails."""

OUR_LIMITS = {
    "LowerFatal": "lower_fatal",
    "LowerCritical": "lower_critical",
    "LowerCaution": "lower_caution",
    "UpperCaution": "upper_caution",
    "UpperCritical": "upper_critical",
    "UpperFatal": "upper_fatal",
}


class Number(float):
    """A number that knows where it stands."""

    place: str


class Word(str):
    """A text that knows where it stands."""

    __slots__ = ("place",)
    place: str


def placed(value: Any, place: str) -> Any:
    """A body in which every number and text knows its place."""
    if isinstance(value, dict):
        return {key: placed(below, f"{place}/{key}") for key, below in value.items()}
    if isinstance(value, list):
        return [placed(below, f"{place}/{index}") for index, below in enumerate(value)]
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return value
    known: Any = Word(value) if isinstance(value, str) else Number(value)
    known.place = place
    return known


class Placing:
    """The client's connection, whose answers know their places."""

    def __init__(self, client: Any) -> None:
        self._client = client

    def get(self, path: str) -> Any:
        answer = self._client.get(path)
        assert answer.status == 200, path
        return SimpleNamespace(dict=placed(answer.dict, f"{str(path).rstrip('/')}#"))


def read_with_the_client(url: str) -> list[dict[str, Any]]:
    client = redfish.redfish_client(base_url=url, timeout=20)
    try:
        chassis = redfish_utilities.get_sensors(Placing(client))
    finally:
        client.close() if hasattr(client, "close") else client._session.close()
    return [reading for one in chassis for reading in one["Readings"]]


async def theirs(name: str) -> list[dict[str, Any]]:
    async with serve_mockup(standard("redfish", "mockups", name)) as url:
        return await asyncio.to_thread(read_with_the_client, url)


@cache
def ours(name: str) -> Normalised:
    return build(example(name), Location())


def by_place(inventory: Normalised) -> dict[str, tuple[Sensor, float, Health]]:
    frame = inventory.frame
    return {
        place: (sensor, value, Health(health))
        for sensor, value, health in zip(inventory.layout.sensors, frame.values, frame.healths, strict=True)
        for place in (sensor.source, *sensor.also_at)
    }


def our_place(number: Number) -> str:
    """A place as our sources write it: a Sensor's is the resource."""
    path, _, pointer = number.place.partition("#")
    return path if pointer == "/Reading" else number.place


@pytest.mark.parametrize("name", MAIN)
async def test_every_number_that_both_read_is_equal(name: str) -> None:
    sensors = by_place(ours(name))
    compared, known = 0, CONTRADICTIONS.get(name, {})
    for reading in await theirs(name):
        number = reading["Reading"]
        if not isinstance(number, Number) or number.place.endswith(NOT_READINGS):
            continue
        place = our_place(number)
        sensor, value, _ = sensors[place]
        factor = of_code(sensor.quantity, ALSO_ALLOWED.get(reading["Units"], reading["Units"]))
        if place in known:
            assert value != factor.canonical(number), f"{place} contradicts itself no more"
            continue
        assert value == pytest.approx(factor.canonical(number), rel=1e-12), place
        compared += 1
    assert compared == NUMBERS[name]


@pytest.mark.parametrize("name", MAIN)
async def test_every_health_of_a_reading_that_both_read_is_equal(name: str) -> None:
    sensors = by_place(ours(name))
    compared = 0
    for reading in await theirs(name):
        number = reading["Reading"]
        if isinstance(number, Number) and reading["Health"] is not None:
            assert sensors[our_place(number)][2].word == reading["Health"]
            compared += 1
    assert compared > 5


@pytest.mark.parametrize("name", MAIN)
async def test_every_limit_that_both_read_is_equal(name: str) -> None:
    sensors = by_place(ours(name))
    compared = 0
    for reading in await theirs(name):
        number = reading["Reading"]
        if not isinstance(number, Number) or number.place.endswith(NOT_READINGS):
            continue
        limits = sensors[our_place(number)][0].thresholds
        for key, our_key in OUR_LIMITS.items():
            told, limit = reading[key], getattr(limits, our_key)
            if told is None:
                continue
            rejected = any(part in told.place for part in REJECTED.get(name, ()))
            if rejected:
                assert limit is None or limit.value == IN_STEAD[name][our_key], told.place
            else:
                assert limit is not None, told.place
                assert limit.value == told
            compared += 1
    assert compared > 5


@pytest.mark.parametrize("name", MAIN)
async def test_every_state_that_both_read_is_equal(name: str) -> None:
    inventory = ours(name)
    statuses = {part_id.partition(":")[2]: status for part_id, status in inventory.statuses.items()}
    compared = set()
    for reading in await theirs(name):
        word = reading["Reading"]
        if not isinstance(word, Word):
            continue
        place = word.place.removesuffix("/Status/State").removesuffix("#")
        if place not in statuses:
            # Redundancy groups and sensors without a reading are no parts.
            assert any(step in place for step in ("Redundancy/", "/Sensors/", "/Temperatures/"))
            continue
        assert statuses[place].state == State(word)
        assert reading["Health"] is None or statuses[place].health.word == reading["Health"]
        compared.add(place)
    assert compared
