"""The plan of a round: few GETs, and everything brought."""

from __future__ import annotations

from typing import Any

import pytest

from collector.model import Location
from collector.normalise.inventory import Normalised, build
from collector.poll.plan import plan
from collector.redfish import links
from collector.redfish.resources import Fetch, Resource, Walked
from tests.normalise.services import (
    SLED,
    Bodies,
    chassis,
    four_blades,
    ok,
    resource,
    root,
    sensors,
    sled,
    temperature,
    thermal,
)
from tests.normalise.walks import EXPAND, MAIN, OTHERS, example, walk_of

SENSORS = f"{SLED}/Sensors"
FANS = f"{SLED}/ThermalSubsystem/Fans"
METRICS = f"{SLED}/EnvironmentMetrics"


def planned(walked: Walked) -> tuple[Normalised, tuple[Fetch, ...]]:
    inventory = build(walked, Location())
    return inventory, plan(walked, inventory)


def paths(bodies: Bodies, *, expand: bool = True) -> list[str]:
    return [fetch.path for fetch in planned(walk_of(bodies, expand=expand))[1]]


def excerpt(id_: str, reading: Any = 20) -> dict[str, Any]:
    return {"Reading": reading, "DataSourceUri": f"{SENSORS}/{id_}"}


# The published services

COUNTS = {
    # name: GETs expanding, GETs of them that are expanded, GETs without expanding
    "public-bladed": (17, 11, 28),
    "public-rackmount1": (21, 14, 56),
    "public-localstorage": (9, 7, 16),
    "public-telemetry": (15, 5, 20),
    "public-catfish": (5, 3, 5),
    "public-cooling-unit": (9, 8, 11),
    "public-expansion-box": (17, 2, 21),
    "public-iiot": (29, 0, 29),  # declares no $expand
    "public-nvmeof-jbof": (9, 7, 12),
    "public-pdu": (19, 15, 46),
    "public-sasfabric": (6, 2, 8),
    "public-smartnic": (23, 18, 61),
}


@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_how_many_gets_a_round_of_the_examples_takes(name: str) -> None:
    _, able = planned(example(name))
    _, unable = planned(example(name, expand=False))
    assert (len(able), sum(fetch.expanded for fetch in able), len(unable)) == COUNTS[name]


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_every_sensor_and_every_status_is_brought(name: str, expand: bool) -> None:
    walked = example(name, expand=expand)
    inventory, fetches = planned(walked)
    brought = [uri for fetch in fetches for uri in fetch.brings]
    for sensor in inventory.layout.sensors:
        places = {place.partition("#")[0] for place in (sensor.source, *sensor.also_at)}
        assert places & set(brought), f"{sensor.source} is not brought"
    for part in inventory.parts:
        if part.id in inventory.statuses:
            assert part.uri.partition("#")[0] in brought
    assert len(set(brought)) == len(brought), "brought twice"


@pytest.mark.parametrize("expand", [True, False])
@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_no_get_could_be_left_out(name: str, expand: bool) -> None:
    inventory, fetches = planned(example(name, expand=expand))
    statuses = {part.uri.partition("#")[0] for part in inventory.parts if part.id in inventory.statuses}
    sensors_at = [{reader.uri for reader in readers} for readers in inventory.recipe.readers]
    for fetch in fetches:
        rest = {uri for other in fetches if other is not fetch for uri in other.brings}
        needed = bool(statuses & (set(fetch.brings) - rest)) or any(not places & rest for places in sensors_at)
        assert needed, f"{fetch.path} brings nothing that the others don't"


@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_a_fetch_brings_what_its_body_holds(name: str) -> None:
    walked = example(name)
    for fetch in planned(walked)[1]:
        key = links.key(fetch.path)
        if fetch.expanded:
            members = [links.key(member["@odata.id"]) for member in walked.resources[key].body["Members"]]
            assert set(fetch.brings) <= set(members)
            assert fetch.path == key + EXPAND
        else:
            assert fetch.brings == (key,)


# What goes before what


def test_an_expanded_collection_brings_all_sensors_in_one_get() -> None:
    bodies = root() | chassis(sled()) | sensors(*(temperature(f"T{number}") for number in range(40)))
    assert paths(bodies) == [f"/redfish/v1/Chassis{EXPAND}", SENSORS + EXPAND]
    assert len(paths(bodies, expand=False)) == 41


def test_what_only_repeats_other_readings_is_not_fetched() -> None:
    bodies = root() | chassis(sled()) | sensors(temperature("A"), temperature("B"))
    bodies[METRICS] = resource(METRICS, "EnvironmentMetrics", TemperatureCelsius=excerpt("A"))
    assert METRICS not in paths(bodies)
    bodies[METRICS]["HumidityPercent"] = {"Reading": 40}
    assert METRICS in paths(bodies)


def test_a_subsystem_goes_before_sensors_one_by_one() -> None:
    bodies = root() | chassis(sled()) | sensors(temperature("A"), temperature("B"), temperature("C"))
    bodies[METRICS] = resource(METRICS, "EnvironmentMetrics", TemperatureCelsius=excerpt("A"))
    metrics = f"{SLED}/ThermalSubsystem/ThermalMetrics"
    bodies[metrics] = resource(metrics, "ThermalMetrics", TemperatureReadingsCelsius=[excerpt("A"), excerpt("B")])
    assert paths(bodies, expand=False) == [SLED, f"{SENSORS}/C", metrics]


def test_of_two_that_bring_one_sensor_its_own_place_is_fetched() -> None:
    bodies = root() | chassis(sled()) | sensors(temperature("A"))
    bodies[METRICS] = resource(METRICS, "EnvironmentMetrics", TemperatureCelsius=excerpt("A"))
    assert paths(bodies, expand=False) == [SLED, f"{SENSORS}/A"]


def test_what_statuses_need_anyway_brings_its_readings_for_nothing() -> None:
    speed = {"Id": "F1", "Name": "F1", "ReadingType": "Percent", "ReadingUnits": "%", "Reading": 45}
    bodies = four_blades() | sensors(speed)
    bodies[f"{FANS}/1"]["SpeedPercent"] = excerpt("F1", 45)
    assert FANS + EXPAND in paths(bodies)
    assert SENSORS + EXPAND not in paths(bodies)


def test_older_resources_are_fetched_where_nothing_newer_tells_the_same() -> None:
    bodies = root() | chassis(sled()) | sensors(temperature("Inlet", PhysicalContext="Intake"))
    bodies |= thermal(Temperatures=[{"Name": "Inlet", "ReadingCelsius": 20, "PhysicalContext": "Intake"}])
    assert f"{SLED}/Thermal" not in paths(bodies)
    bodies |= thermal(Temperatures=[{"Name": "Board 3", "ReadingCelsius": 20}])
    assert f"{SLED}/Thermal" in paths(bodies)


def test_parts_without_a_status_are_not_asked_for_one() -> None:
    bodies = four_blades()
    del bodies[f"{SLED}/NetworkAdapters/1"]["Status"]
    assert f"{SLED}/NetworkAdapters{EXPAND}" not in paths(bodies)


def test_parts_that_only_have_a_status_come_by_collections_where_they_can() -> None:
    host = "/redfish/v1/Systems/H1"
    bodies = four_blades()
    modules = {
        f"{host}/Memory/{number}": resource(f"{host}/Memory/{number}", "Memory", Status=ok()) for number in range(16)
    }
    listing = {"@odata.id": f"{host}/Memory", "Members": [{"@odata.id": uri} for uri in modules]}
    bodies |= {f"{host}/Memory": listing, **modules}
    able, unable = paths(bodies), paths(bodies, expand=False)
    assert f"{host}/Memory{EXPAND}" in able
    assert len(unable) - len([path for path in unable if "/Memory/" in path]) > len(able) - 1


# What the walk has proved


def test_expanding_is_used_only_where_the_walk_was_served_it() -> None:
    bodies = root() | chassis(sled()) | sensors(temperature("A"), temperature("B"))
    walked = walk_of(bodies, expand=True)
    failed = {
        uri: Resource(uri, one.body, uri) if uri.startswith(SENSORS) else one for uri, one in walked.resources.items()
    }
    told = Walked(
        controller="n1", time=0.0, root={}, resources=failed, features=walked.features
    )  # declared, yet the collection could not be had expanded
    assert [fetch.path for fetch in planned(told)[1]] == [
        f"/redfish/v1/Chassis{EXPAND}",
        f"{SENSORS}/A",
        f"{SENSORS}/B",
    ]


def test_a_member_met_before_its_collection_comes_with_it() -> None:
    bodies = root() | chassis(sled()) | sensors(temperature("A"), temperature("B"))
    walked = walk_of(bodies, expand=True)
    met = dict(walked.resources) | {f"{SENSORS}/A": Resource(f"{SENSORS}/A", bodies[f"{SENSORS}/A"], f"{SENSORS}/A")}
    told = Walked(controller="n1", time=0.0, root={}, resources=met, features=walked.features)
    assert planned(told)[1][-1] == Fetch(SENSORS + EXPAND, (f"{SENSORS}/A", f"{SENSORS}/B"), True)


def test_every_page_of_a_collection_is_a_get() -> None:
    bodies = root() | chassis(sled()) | sensors(*(temperature(f"T{number}") for number in range(4)))
    walked = walk_of(bodies, expand=True)
    second = f"{SENSORS}?$skip=2&$expand=.($levels=1)"
    pages = dict(walked.resources)
    for number in (2, 3):
        uri = f"{SENSORS}/T{number}"
        pages[uri] = Resource(uri, bodies[uri], second)
    told = Walked(controller="n1", time=0.0, root={}, resources=pages, features=walked.features)
    assert planned(told)[1][1:] == (
        Fetch(SENSORS + EXPAND, (f"{SENSORS}/T0", f"{SENSORS}/T1"), True),
        Fetch(second, (f"{SENSORS}/T2", f"{SENSORS}/T3"), True),
    )


def test_members_that_misname_themselves_are_fetched_one_by_one() -> None:
    fetches = planned(example("public-cooling-unit"))[1]
    singly = [fetch.path for fetch in fetches if "/CDU/Sensors/" in fetch.path]
    assert len(singly) <= 1
    assert not [fetch for fetch in fetches if fetch.path.startswith("/redfish/v1/Chassis/CDU/Sensors?")]


def test_paths_keep_the_spelling_that_the_service_answers_to() -> None:
    bodies = root() | chassis(sled())
    walked = walk_of(bodies, expand=False)
    spelt = dict(walked.resources) | {SLED: Resource(SLED, bodies[SLED], f"{SLED}/")}
    told = Walked(controller="n1", time=0.0, root={}, resources=spelt, features=walked.features)
    assert planned(told)[1] == (Fetch(f"{SLED}/", (SLED,)),)


def test_nothing_to_read_is_nothing_to_fetch() -> None:
    assert paths(root()) == []
