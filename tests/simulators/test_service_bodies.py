"""What the simulated services tell of their sleds: whole, linked both ways, and true to the telemetry."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from simulators.sensors import layout_of
from simulators.site import OLDER_MODEL
from simulators.telemetry import Quantity
from tests.simulators.service_kit import ADMIN, KINDS, NOW, Asker, asker, tree_of

COMING_AND_GOING = ("/Sessions", "/Accounts", "/Subscriptions", "/Entries")
"""What a service makes as it comes and goes, beside the tree of its design."""
EVERY = pytest.mark.parametrize(("design", "dialect"), sorted(KINDS))


def bodies(one: Asker) -> dict[str, Any]:
    """Every resource of a service, found by following links from the root."""
    found: dict[str, Any] = {}
    todo = ["/redfish/v1/"]
    while todo:
        path = todo.pop()
        if path in found:
            continue
        found[path] = one.get(path, **ADMIN)
        todo += [link.partition("#")[0] for link in links(found[path]) if link.startswith("/redfish/v1/")]
    return found


def links(body: Any) -> Iterator[str]:
    if isinstance(body, dict):
        for key, value in body.items():
            if key in ("@odata.id", "DataSourceUri", "Members@odata.nextLink", "Uri") and isinstance(value, str):
                yield value
            else:
                yield from links(value)
    elif isinstance(body, list):
        for item in body:
            yield from links(item)


def members(found: dict[str, Any], path: str) -> Iterator[str]:
    """What a collection lists on all its pages, none of them longer than the first."""
    size = len(found[path]["Members"])
    following: str | None = path
    while following is not None:
        assert len(found[following]["Members"]) <= size
        yield from (member["@odata.id"] for member in found[following]["Members"])
        following = found[following].get("Members@odata.nextLink")


def at(body: Any, pointer: str) -> Any:
    """RFC 6901."""
    for step in pointer.split("/")[1:]:
        body = body[int(step)] if isinstance(body, list) else body[step]
    return body


@EVERY
def test_every_resource_is_reached_and_every_link_leads_somewhere(design: str, dialect: str) -> None:
    found = bodies(asker(design, dialect))
    passing = {path for path in found if any(word in path for word in COMING_AND_GOING)}
    assert {word for word in COMING_AND_GOING for path in passing if word in path} >= {"/Sessions", "/Accounts"}
    pages = {path for path in found if "?$skiptoken=" in path}
    assert set(found) - passing - pages == set(tree_of(design, dialect).resources)
    assert bool(pages) == (dialect == "small-pages")
    for path, body in found.items():
        assert body["@odata.id"] == path.partition("?")[0]
        if "Members" in body:
            first = found[body["@odata.id"]]
            assert body["Members@odata.count"] == first["Members@odata.count"]
            if path == body["@odata.id"]:
                assert body["Members@odata.count"] == len(list(members(found, path)))
        elif path != "/redfish/v1/":
            assert body["Id"] == path.rpartition("/")[2]
        for link in links(body):
            target, _, pointer = link.partition("#")
            assert at(found[target], pointer)["@odata.id"] == link if pointer else target in found


@EVERY
def test_links_go_both_ways(design: str, dialect: str) -> None:
    found = bodies(asker(design, dialect))

    def ids(path: str, *names: str) -> set[str]:
        value = found[path].get("Links", {})
        for name in names:
            value = value.get(name, [])
        return {item["@odata.id"] for item in (value if isinstance(value, list) else [value])}

    chassis = {path for path in found if found[path].get("@odata.type", "").startswith("#Chassis.")}
    hosts = {path for path in found if found[path].get("@odata.type", "").startswith("#ComputerSystem.")}
    (manager,) = (path for path in found if found[path].get("@odata.type", "").startswith("#Manager."))
    assert ids(manager, "ManagerForChassis") == chassis
    assert ids(manager, "ManagerForServers") == hosts
    for path in chassis:
        assert ids(path, "ManagedBy") == {manager}
        for blade in ids(path, "Contains"):
            assert ids(blade, "ContainedBy") == {path}
            for host in ids(blade, "ComputerSystems"):
                assert ids(host, "Chassis") == {blade}
            for drive in ids(blade, "Drives"):
                assert ids(drive, "Chassis") == {blade}
    for host in hosts:
        assert len(ids(host, "CooledBy")) == KINDS[design, dialect].design.fans
        assert len(ids(host, "PoweredBy")) == 2
        (interface,) = found[found[host]["NetworkInterfaces"]["@odata.id"]]["Members"]
        assert found[interface["@odata.id"]]["Links"]["NetworkAdapter"]["@odata.id"] in found


@EVERY
def test_every_reading_is_the_telemetrys(design: str, dialect: str) -> None:
    one = asker(design, dialect)
    found = bodies(one)
    points = one.world.telemetry(one.sled.name).sensors
    specs = layout_of(one.sled).specs
    if dialect not in OLDER_MODEL:
        told = {b["Id"]: b for b in found.values() if b.get("@odata.type", "").startswith("#Sensor.")}
        assert set(told) == set(points)
        for spec in specs:
            body, value = told[spec.id], points[spec.id].value
            if spec.quantity is Quantity.ROTATION:
                assert body["SpeedRPM"] == value
                assert value is not None
                assert spec.rated
                # Redfish DSP0268 Sensor: percent is SpeedRPM over the rated speed
                assert body["Reading"] == pytest.approx(100 * value / spec.rated, abs=0.05)
            else:
                assert (body["Reading"], body["ReadingUnits"]) == (value, spec.unit)
            assert body["Name"] == spec.label
        return
    rows: dict[str, Any] = {}
    for body in found.values():
        for array in ("Temperatures", "Voltages", "Fans", "PowerControl"):
            rows |= {row["Name"]: row for row in body.get(array, [])}
    for spec in specs:
        value = points[spec.id].value
        if spec.quantity is Quantity.TEMPERATURE:
            assert rows[spec.label]["ReadingCelsius"] == value
        elif spec.quantity is Quantity.VOLTAGE:
            assert rows[spec.label]["ReadingVolts"] == value
        elif spec.quantity is Quantity.ROTATION:
            assert rows[spec.label.removesuffix(" speed")]["Reading"] == value
    assert rows["Sled input power"]["PowerConsumedWatts"] == points["FeedPower"].value
    assert rows["Blade 1 input"]["PowerConsumedWatts"] == points["Blade1Power"].value


def test_excerpts_equal_the_sensors_that_they_name() -> None:
    one = asker()
    found = bodies(one)
    seen = 0

    def check(body: Any) -> None:
        nonlocal seen
        if isinstance(body, dict):
            if "DataSourceUri" in body:
                seen += 1
                sensor = found[body["DataSourceUri"]]
                # A power limit is an excerpt of a Control, all others are of Sensors (DSP0268, EnvironmentMetrics)
                keys = ("SetPoint", "AllowableMin", "AllowableMax") if "SetPoint" in body else ("Reading",)
                assert [body[key] for key in keys] == [sensor[key] for key in keys]
                assert body.get("SpeedRPM") == sensor.get("SpeedRPM")
            for value in body.values():
                check(value)
        elif isinstance(body, list):
            for item in body:
                check(item)

    check(list(found.values()))
    assert seen > 40


@EVERY
def test_identity_and_place_are_those_of_the_labels(design: str, dialect: str) -> None:
    one = asker(design, dialect)
    sled = one.get("/redfish/v1/Chassis/Sled")
    assert sled["SerialNumber"] == one.sled.serial
    assert sled["Location"]["PartLocation"]["ServiceLabel"] == one.sled.label
    assert sled["Location"]["PartLocation"]["LocationOrdinalValue"] == one.sled.number - 1
    assert sled["HeightMm"] == one.sled.design.height
    for blade in one.sled.blades:
        body = one.get(f"/redfish/v1/Chassis/Blade{blade.number}")
        assert body["SerialNumber"] == blade.serial
        assert body["Location"]["PartLocation"]["ServiceLabel"] == blade.slot.label
        assert body["Location"]["PartLocation"]["LocationOrdinalValue"] == blade.number - 1


def test_two_sleds_of_one_design_share_a_tree_but_no_identity() -> None:
    first, second = asker(), asker()
    second.sled = next(s for s in second.world.site.sleds if s.design.name == "quad" and s.number == 2)
    second.service.sled = second.sled
    second.service._source.name = second.sled.name  # type: ignore[attr-defined]
    one, two = (a.get("/redfish/v1/Chassis/Sled") for a in (first, second))
    for key in ("SerialNumber", "UUID", "Location"):
        assert one[key] != two[key]
    assert one["Model"] == two["Model"]


@EVERY
def test_a_dark_blade_tells_nulls_and_states_not_zeros(design: str, dialect: str) -> None:
    one = asker(design, dialect, own_world=True)
    one.world.inject("blade-power-lost", f"{one.sled.name}/blade1")
    one.world.advance(2.0)
    blade, host = one.get("/redfish/v1/Chassis/Blade1"), one.get("/redfish/v1/Systems/Blade1")
    assert host["PowerState"] == "Off"
    assert blade["Status"]["Health"] == "Critical"
    if dialect not in OLDER_MODEL:
        cpu = one.get("/redfish/v1/Chassis/Blade1/Sensors/Blade1Cpu0")
        assert (cpu["Reading"], cpu["Status"]["State"]) == (None, "UnavailableOffline")
        condition = blade["Status"]["Conditions"][0]
        assert condition["Severity"] == "Critical"
        assert condition["Timestamp"].startswith("20")
    else:
        rows = {row["Name"]: row for row in one.get("/redfish/v1/Chassis/Blade1/Thermal")["Temperatures"]}
        cpu = rows["Blade 1 CPU 0 temperature"]
        assert (cpu["ReadingCelsius"], cpu["Status"]["State"]) == (None, "UnavailableOffline")


def test_a_seized_fan_and_a_failing_drive_are_told_where_they_are() -> None:
    one = asker("duo", "modern", own_world=True)
    one.world.inject("fan-seized", f"{one.sled.name}/fan2")
    one.world.inject("drive-failure-predicted", f"{one.sled.name}/blade1/drive3")
    one.world.advance(120.0)
    fan = one.get("/redfish/v1/Chassis/Sled/ThermalSubsystem/Fans/Fan2")
    assert fan["SpeedPercent"]["SpeedRPM"] == 0
    assert fan["Status"]["Health"] == "Critical"
    assert fan["Status"]["Conditions"][0]["MessageId"] == "Environmental.1.4.FanFailed"
    cooling = one.get("/redfish/v1/Chassis/Sled/ThermalSubsystem")
    assert cooling["FanRedundancy"][0]["Status"]["Health"] == "Warning"
    drive = one.get("/redfish/v1/Chassis/Blade1/Drives/Drive3")
    assert drive["FailurePredicted"] is True
    assert drive["Status"]["Conditions"][0]["MessageId"] == "StorageDevice.1.5.DrivePredictiveFailure"
    assert one.get("/redfish/v1/Chassis/Sled")["Status"]["HealthRollup"] == "Critical"


def test_conditions_keep_their_time_while_they_last() -> None:
    one = asker(own_world=True)
    fan = "/redfish/v1/Chassis/Sled/ThermalSubsystem/Fans/Fan1"
    source = one.service._source
    one.world.inject("fan-seized", f"{one.sled.name}/fan1")
    one.world.advance(60.0)
    first = one.get(fan)["Status"]["Conditions"][0]["Timestamp"]
    source.acquired = lambda: NOW + 50.0  # type: ignore[method-assign]
    one.world.advance(1.0)
    assert one.get(fan)["Status"]["Conditions"][0]["Timestamp"] == first
    assert one.get("/redfish/v1/Chassis/Sled/Sensors/Fan1Tach")["ReadingTime"] > first
    one.world.clear("fan-seized", f"{one.sled.name}/fan1")
    one.world.advance(60.0)
    assert "Conditions" not in one.get(fan)["Status"]


def test_bodies_are_strict_json_without_waste() -> None:
    reply = asker().ask("GET", "/redfish/v1/Chassis/Sled/Sensors?$expand=.")
    body = json.loads(reply.body, parse_constant=lambda word: pytest.fail(word))
    assert len(reply.body) <= len(json.dumps(body, separators=(",", ":"))) + 8
