"""Readings of the published example services (DMTF DSP2043): every number once, none added, values equal."""

from __future__ import annotations

import json
import math
from collections import Counter
from functools import cache

import pytest

from collector.model import Inventory, Location, Sensor
from collector.normalise.inventory import build
from tests.conftest import standard
from tests.normalise.walks import MAIN, OTHERS, TIME, example
from tests.standards.readings import Told, list_readings

SERVICES = MAIN + OTHERS

UNLINKED = {"public-pdu": "/redfish/v1/PowerEquipment/TransferSwitches/1/Sensors/"}
"""Files of an example that nothing in it links to: no client can find them (its chassis lists the same sensors)."""


@cache
def read(name: str) -> tuple[Inventory, dict[str, Told]]:
    return build(example(name), Location()), list_readings(standard("redfish", "mockups", name))


def places_of(sensor: Sensor) -> tuple[str, ...]:
    return (sensor.source, *sensor.also_at)


@pytest.mark.parametrize("name", SERVICES)
def test_every_number_is_some_sensors_and_no_sensor_has_another(name: str) -> None:
    inventory, told = read(name)
    covered = {place for sensor in inventory.layout.sensors for place in places_of(sensor)}
    missing = {place for place in told.keys() - covered if not place.startswith(UNLINKED.get(name, "-"))}
    assert not missing, f"numbers that no sensor covers: {sorted(missing)}"
    silent = {place for place in covered - told.keys() if not is_silent(name, place)}
    assert not silent, f"places that tell no number: {sorted(silent)}"


def is_silent(name: str, place: str) -> bool:
    """Whether the file has that place, without a number: a sensor that tells nothing now."""
    uri, _, pointer = place.partition("#")
    path = standard("redfish", "mockups", name).joinpath(*uri.split("/")[3:], "index.json")
    holder = json.loads(path.read_bytes())
    for step in pointer.split("/")[1:-1]:
        holder = holder[int(step)] if isinstance(holder, list) else holder[step]
    key = pointer.rpartition("/")[2] or "Reading"
    return holder.get(key) is None


@pytest.mark.parametrize("name", SERVICES)
def test_no_place_belongs_to_two_sensors(name: str) -> None:
    inventory, _ = read(name)
    places = Counter(place for sensor in inventory.layout.sensors for place in places_of(sensor))
    assert [place for place, times in places.items() if times > 1] == []


@pytest.mark.parametrize("name", SERVICES)
def test_values_are_those_told_in_the_unit_named(name: str) -> None:
    inventory, told = read(name)
    wrong = []
    for sensor, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True):
        here = told.get(sensor.source)
        if here is None or not here.present or not here.inside:
            if not math.isnan(value):
                wrong.append((sensor.source, value, here))
        elif not math.isclose(value, here.value * here.factor, rel_tol=1e-12):
            wrong.append((sensor.source, value, here))
    assert wrong == []


@pytest.mark.parametrize("name", SERVICES)
def test_sensors_are_told_apart_within_their_part(name: str) -> None:
    inventory, _ = read(name)
    keys = Counter(sensor.key for sensor in inventory.layout.sensors)
    assert [key for key, times in keys.items() if times > 1] == []
    parts = {part.id for part in inventory.parts}
    assert all(sensor.part in parts for sensor in inventory.layout.sensors)


@pytest.mark.parametrize("name", SERVICES)
def test_a_walk_read_twice_is_the_same_inventory(name: str) -> None:
    one, other = build(example(name), Location()), build(example(name), Location())
    assert (one.parts, one.links, one.layout, one.statuses, one.defects) == (
        other.parts,
        other.links,
        other.layout,
        other.statuses,
        other.defects,
    )
    assert one.frame.time == TIME
    assert one.frame.values.tobytes() == other.frame.values.tobytes()
