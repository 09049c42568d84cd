"""Parts that are swapped and pulled: what their controllers tell of them then."""

from __future__ import annotations

import pytest

from simulators.faults import FaultError, parse
from tests.simulators.service_kit import SITE, Asker, asker

BOTH_DIALECTS = pytest.mark.parametrize("dialect", ["modern", "classic"])


def drive(one: Asker) -> dict[str, object]:
    """The first drive of the first blade, wherever the dialect has it."""
    storage = one.get("/redfish/v1/Systems/Blade1/Storage/Local")
    told: dict[str, object] = one.get(storage["Drives"][0]["@odata.id"])
    return told


@BOTH_DIALECTS
def test_a_swapped_drive_tells_another_serial_number_and_the_same_one_each_time(dialect: str) -> None:
    one = asker(dialect=dialect, own_world=True)
    path = f"{one.sled.name}/blade1/drive0"
    before = drive(one)
    one.world.inject("part-swapped", path)
    after = drive(one)
    assert after["SerialNumber"] not in (before["SerialNumber"], None)
    own = {"SerialNumber": None, "PredictedMediaLifeLeftPercent": 100.0}
    assert {**before, **own} == {**after, "SerialNumber": None}, "a new one: nothing of its life is used up"
    one.world.advance(5.0)
    assert drive(one)["SerialNumber"] == after["SerialNumber"]
    one.world.inject("part-swapped", path, serial="CARRIED-1")
    assert drive(one)["SerialNumber"] == "CARRIED-1"
    one.world.inject("part-swapped", path, serial=20314477.0)
    assert drive(one)["SerialNumber"] == "20314477", "digits are written down as a number"
    one.world.clear("part-swapped", path)
    assert drive(one)["SerialNumber"] == before["SerialNumber"]


@BOTH_DIALECTS
def test_a_swapped_blade_brings_its_own_parts_and_its_hosts_name(dialect: str) -> None:
    one = asker(dialect=dialect, own_world=True)
    targets = ["/redfish/v1/Chassis/Blade1", "/redfish/v1/Systems/Blade1"]
    others = ["/redfish/v1/Chassis/Blade2", "/redfish/v1/Chassis/Sled"]
    before = [one.get(target) for target in targets]
    rest = [one.get(target)["SerialNumber"] for target in others]
    was = drive(one)["SerialNumber"]
    one.world.inject("part-swapped", f"{one.sled.name}/blade1")
    after = [one.get(target) for target in targets]
    assert after[0]["SerialNumber"] == after[1]["SerialNumber"] != before[0]["SerialNumber"]
    assert all(new["UUID"] != old["UUID"] for new, old in zip(after, before, strict=True))
    assert drive(one)["SerialNumber"] != was
    assert [one.get(target)["SerialNumber"] for target in others] == rest


@BOTH_DIALECTS
def test_a_pulled_drives_place_is_listed_as_empty(dialect: str) -> None:
    """DSP8010 Resource.State: Absent, "This function or device is not currently present or detected"."""
    one = asker(dialect=dialect, own_world=True)
    one.world.inject("part-pulled", f"{one.sled.name}/blade1/drive0")
    told = drive(one)
    assert told["Status"]["State"] == "Absent"  # type: ignore[index]
    assert told["SerialNumber"] is None
    assert told.get("FirmwareVersion", told.get("Revision")) is None
    telemetry = one.world.telemetry(one.sled.name)
    sensors = [point for point in telemetry.sensors.values() if point.spec.part.endswith("blade1/drive0")]
    assert sensors
    assert all(point.value is None and point.state == "Absent" for point in sensors)
    assert telemetry.parts[f"{one.sled.name}/blade1/drive1"].state == "Enabled"


@BOTH_DIALECTS
def test_a_pulled_blade_takes_everything_on_it_along_and_nobody_calls_that_a_failure(dialect: str) -> None:
    one = asker(dialect=dialect, own_world=True)
    name = one.sled.name
    one.world.inject("part-pulled", f"{name}/blade1")
    one.world.advance(5.0)
    parts = one.world.telemetry(name).parts
    for path, point in parts.items():
        inside = path == f"{name}/blade1" or path.startswith(f"{name}/blade1/")
        assert (point.state == "Absent") is inside, path
        assert point.health == "OK", path
    assert one.world.truth(name).blade_power[0] == 0.0


@BOTH_DIALECTS
def test_a_pulled_fan_turns_no_more(dialect: str) -> None:
    one = asker(dialect=dialect, own_world=True)
    one.world.inject("part-pulled", f"{one.sled.name}/fan2")
    one.world.advance(5.0)
    telemetry = one.world.telemetry(one.sled.name)
    assert telemetry.sensors["Fan2Tach"].value is None
    assert telemetry.parts[f"{one.sled.name}/fan2"].state == "Absent"
    assert telemetry.sensors["Fan1Tach"].value


def test_how_they_are_written_down() -> None:
    name = SITE.sleds[0].name
    assert parse(f"part-swapped@{name}/blade1/drive0:serial=AB12+5", SITE).arguments == {"serial": "AB12"}
    with pytest.raises(FaultError, match="part-pulled cannot befall"):
        parse(f"part-pulled@{name}/controller", SITE)
