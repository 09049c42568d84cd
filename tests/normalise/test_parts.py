"""Which resources and rows are parts, and which are one and the same."""

from __future__ import annotations

import pytest

from collector.model import DefectKind, Kind, Status
from tests.normalise.services import (
    CHASSIS,
    SLED,
    SYSTEMS,
    Bodies,
    chassis,
    collection,
    four_blades,
    link,
    ok,
    power,
    read,
    resource,
    root,
    sled,
    thermal,
    uri_of,
)

FANS = f"{SLED}/ThermalSubsystem/Fans"


def kinds(bodies: Bodies) -> dict[str, Kind]:
    return {part.uri: part.kind for part in read(bodies).parts}


def fan(id_: str, **more: object) -> Bodies:
    uri = f"{FANS}/{id_}"
    return {uri: resource(uri, "Fan", Name=f"Fan {id_}", Status=ok(), **more)}


def test_a_sled_its_blades_and_what_they_share() -> None:
    found = list(kinds(four_blades()).values())
    expected = {Kind.SLED: 1, Kind.BLADE: 4, Kind.HOST: 4, Kind.FAN: 2, Kind.POWER_SUPPLY: 1}
    expected |= {Kind.NETWORK_ADAPTER: 1, Kind.CONTROLLER: 1}
    assert {kind: found.count(kind) for kind in found} == expected


def test_rows_of_the_older_resources_are_parts() -> None:
    bodies = (
        root() | chassis(sled()) | thermal(Fans=[{"Name": "A"}, {"Name": "B"}]) | power(PowerSupplies=[{"Name": "P"}])
    )
    found = kinds(bodies)
    assert found[f"{SLED}/Thermal#/Fans/1"] is Kind.FAN
    assert found[f"{SLED}/Power#/PowerSupplies/0"] is Kind.POWER_SUPPLY


@pytest.mark.parametrize(
    ("row", "newer"),
    [
        ({"Name": "System Fan", "SerialNumber": "S7"}, {"SerialNumber": "S7"}),
        ({"Name": "fan_1"}, {}),
        ({"Name": "Left"}, {"Location": {"PartLocation": {"ServiceLabel": "LEFT"}}}),
        ({"Name": "whatever"}, {}),  # the only one on both sides
    ],
)
def test_a_row_is_the_newer_resource_of_the_same_part(row: dict[str, object], newer: dict[str, object]) -> None:
    reading = {"Reading": 9000, "ReadingUnits": "RPM"}
    bodies = root() | chassis(sled()) | fan("1", **newer) | thermal(Fans=[row | reading])
    inventory = read(bodies)
    assert [part.uri for part in inventory.parts if part.kind is Kind.FAN] == [f"{FANS}/1"]
    assert [uri_of(sensor.part) for sensor in inventory.layout.sensors] == [f"{FANS}/1"]


def test_rows_that_cannot_be_told_apart_make_no_second_fans() -> None:
    bodies = root() | chassis(sled()) | fan("1") | fan("2") | fan("3")
    bodies |= thermal(Fans=[{"Name": "Front", "Reading": 1, "ReadingUnits": "RPM"}, {"Name": "Rear"}])
    inventory = read(bodies)
    assert sum(part.kind is Kind.FAN for part in inventory.parts) == 3
    front = next(sensor for sensor in inventory.layout.sensors if sensor.sensor == "Front speed")
    assert uri_of(front.part) == SLED  # its reading is not lost, and not given to a fan at random


def test_more_rows_than_newer_resources_are_parts_of_their_own() -> None:
    bodies = (
        root()
        | chassis(sled())
        | fan("1")
        | thermal(Fans=[{"Name": "Fan 1"}, {"Name": "Fan 2", "Status": ok("Critical")}])
    )
    inventory = read(bodies)
    fans = [part.uri for part in inventory.parts if part.kind is Kind.FAN]
    assert fans == [f"{SLED}/Thermal#/Fans/1", f"{FANS}/1"]
    assert inventory.statuses[f"n1:{fans[0]}"].health.word == "Critical"


def test_two_serial_numbers_for_one_part_are_named() -> None:
    bodies = (
        root() | chassis(sled()) | fan("1", SerialNumber="S7") | thermal(Fans=[{"Name": "Fan 1", "SerialNumber": "S8"}])
    )
    (defect,) = read(bodies).defects
    assert (defect.kind, defect.property) == (DefectKind.CONTRADICTION, "/Fans/0/SerialNumber")


def drive(uri: str, **more: object) -> Bodies:
    told = {"Name": "Drive", "SerialNumber": "D1", "Model": "M", "Status": ok()}
    return {uri: resource(uri, "Drive", **(told | more))}


def test_one_drive_at_two_uris_is_one_part() -> None:
    host = f"{SYSTEMS}/H1"
    storage = f"{host}/Storage/1"
    inside = drive(f"{SLED}/Drives/A")
    bodies = root() | chassis(sled(Drives=link(f"{SLED}/Drives"))) | drive(f"{storage}/Drives/A") | inside
    bodies |= {f"{SLED}/Drives": collection(f"{SLED}/Drives", f"{SLED}/Drives/A")}
    bodies |= {host: resource(host, "ComputerSystem"), storage: resource(storage, "Storage", Status=ok())}
    inventory = read(bodies)
    (found,) = [part for part in inventory.parts if part.kind is Kind.DRIVE]
    assert (found.uri, uri_of(found.parent)) == (f"{SLED}/Drives/A", SLED)


def test_drives_without_serial_numbers_stay_apart() -> None:
    bodies = root() | chassis(sled()) | drive(f"{SLED}/Drives/A", SerialNumber=None)
    bodies |= drive(f"{SYSTEMS}/H1/Storage/1/Drives/A", SerialNumber=None)
    assert list(kinds(bodies).values()).count(Kind.DRIVE) == 2


def test_a_storage_without_controllers_is_the_controller() -> None:
    uri = f"{SYSTEMS}/H1/Storage/1"
    bodies = root() | {uri: resource(uri, "Storage", Status=ok("Warning"))}
    assert kinds(bodies) == {uri: Kind.STORAGE_CONTROLLER}
    bodies[uri]["StorageControllers"] = [{"MemberId": "0", "Name": "C", "Status": ok()}]
    assert kinds(bodies) == {uri: Kind.OTHER, f"{uri}#/StorageControllers/0": Kind.STORAGE_CONTROLLER}


def test_a_simple_storage_that_is_a_storage_as_well_makes_no_second_drives() -> None:
    simple, storage = f"{SYSTEMS}/H1/SimpleStorage/1", f"{SYSTEMS}/H1/Storage/1"
    rows = [{"Name": "Bay 1", "Status": ok("Warning")}]
    bodies = root() | {simple: resource(simple, "SimpleStorage", Devices=rows, Status=ok())}
    assert kinds(bodies)[f"{simple}#/Devices/0"] is Kind.DRIVE
    bodies[storage] = resource(storage, "Storage")
    bodies[simple]["Links"] = {"Storage": link(storage)}
    assert Kind.DRIVE not in kinds(bodies).values()


@pytest.mark.parametrize(
    ("told", "kind", "defect"),
    [
        ("Sled", Kind.SLED, None),
        ("Blade", Kind.BLADE, None),
        ("Shelf", Kind.ENCLOSURE, None),
        ("Tray", Kind.OTHER, DefectKind.UNKNOWN_WORD),
        (None, Kind.OTHER, DefectKind.MISSING),
        (7, Kind.OTHER, DefectKind.WRONG_TYPE),
    ],
)
def test_what_a_chassis_is(told: object, kind: Kind, defect: DefectKind | None) -> None:
    inventory = read(root() | chassis(sled(ChassisType=told)))
    assert [part.kind for part in inventory.parts] == [kind]
    assert [one.kind for one in inventory.defects] == ([] if defect is None else [defect])


def test_a_body_that_forgets_its_type_is_known_by_its_place() -> None:
    body = sled()
    del body["@odata.type"]
    assert kinds(root() | chassis(body)) == {SLED: Kind.SLED}


def test_identity_size_and_swap_are_kept_as_told_and_bounded() -> None:
    body = sled(
        Manufacturer="Quellwerk ",
        Model="\u202eSL-4",
        SerialNumber="S" * 999,
        AssetTag="",
        SKU=5,
        HeightMm=44.45,
        WidthMm="wide",
        HotPluggable=True,
    )
    (part,) = read(root() | chassis(body)).parts
    assert part.identity.manufacturer == "Quellwerk"
    assert part.identity.model == "\ufffdSL-4"
    assert part.identity.serial is not None
    assert len(part.identity.serial) == 200
    assert (part.identity.asset_tag, part.identity.sku) == (None, None)
    assert (part.size.height, part.size.width, part.hot_swap) == (44.45, None, True)


def test_parts_of_one_name_are_told_apart_by_label_else_by_id() -> None:
    bodies = four_blades()
    names = {part.uri: part.name for part in read(bodies).parts}
    assert [names[f"{SLED}B{number}"] for number in (1, 2, 3, 4)] == ["Blade 1", "Blade 2", "Blade 3", "Blade 4"]
    for number in (1, 2):
        del bodies[f"{SLED}B{number}"]["Location"]
    names = {part.uri: part.name for part in read(bodies).parts}
    assert names[f"{SLED}B1"] == "Blade SledB1"


def test_only_parts_that_are_told_of_have_a_status() -> None:
    body = sled()
    del body["Status"]
    assert read(root() | chassis(body)).statuses == {}
    assert read(root() | chassis(body | {"PowerState": None})).statuses == {f"n1:{SLED}": Status()}


def test_an_empty_service_has_an_empty_inventory() -> None:
    inventory = read(root() | {CHASSIS: collection(CHASSIS)})
    assert (inventory.parts, inventory.layout.sensors, inventory.links, inventory.defects) == ((), (), (), ())
