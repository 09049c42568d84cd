"""Bodies of an invented sled, small enough to read in a test: four blades, shared fans, supplies and controller."""

from __future__ import annotations

from typing import Any

from collector.model import Location
from collector.normalise.inventory import Normalised, build
from tests.normalise.walks import walk_of

ROOT = "/redfish/v1/"
CHASSIS = "/redfish/v1/Chassis"
SLED = f"{CHASSIS}/Sled"
SYSTEMS = "/redfish/v1/Systems"
BMC = "/redfish/v1/Managers/BMC"
NAME = "n1"

Bodies = dict[str, dict[str, Any]]


def link(uri: str) -> dict[str, str]:
    return {"@odata.id": uri}


def resource(uri: str, type_: str, **more: Any) -> dict[str, Any]:
    return {"@odata.id": uri, "@odata.type": f"#{type_}.v1_0_0.{type_}", "Id": uri.rpartition("/")[2], **more}


def collection(uri: str, *members: str) -> dict[str, Any]:
    return {
        "@odata.id": uri,
        "@odata.type": "#XCollection.XCollection",
        "Members@odata.count": len(members),
        "Members": [link(member) for member in members],
    }


def ok(health: str = "OK", state: str = "Enabled", **more: Any) -> dict[str, Any]:
    return {"State": state, "Health": health, **more}


def root(**more: Any) -> Bodies:
    return {ROOT: resource(ROOT, "ServiceRoot", Chassis=link(CHASSIS), Systems=link(SYSTEMS), **more)}


def chassis(*bodies: dict[str, Any]) -> Bodies:
    """The chassis collection and its members, each by its own name."""
    uris = [body["@odata.id"] for body in bodies]
    return {CHASSIS: collection(CHASSIS, *uris), **dict(zip(uris, bodies, strict=True))}


def sled(**more: Any) -> dict[str, Any]:
    return resource(SLED, "Chassis", **({"ChassisType": "Sled", "Name": "Sled 1", "Status": ok()} | more))


def blade(number: int, **more: Any) -> dict[str, Any]:
    label = {"PartLocation": {"ServiceLabel": f"Blade {number}", "LocationOrdinalValue": number - 1}}
    told = {"ChassisType": "Blade", "Name": "Blade", "Status": ok(), "Location": label}
    told["Links"] = {"ContainedBy": link(SLED)}
    return resource(f"{SLED}B{number}", "Chassis", **(told | more))


def sensors(*bodies: dict[str, Any], of: str = SLED) -> Bodies:
    """Sensor resources with their collection; each body needs Id."""
    listing = f"{of}/Sensors"
    uris = [f"{listing}/{body['Id']}" for body in bodies]
    told = {uri: resource(uri, "Sensor", **body) for uri, body in zip(uris, bodies, strict=True)}
    return {listing: collection(listing, *uris), **told}


def temperature(id_: str, reading: Any = 20, **more: Any) -> dict[str, Any]:
    told = {"Id": id_, "Name": id_, "ReadingType": "Temperature", "ReadingUnits": "Cel", "Reading": reading}
    return told | {"Status": ok()} | more


def thermal(of: str = SLED, **arrays: list[dict[str, Any]]) -> Bodies:
    """An older Thermal resource; rows get their names and MemberIds."""
    uri = f"{of}/Thermal"
    told = {
        array: [
            {"@odata.id": f"{uri}#/{array}/{index}", "MemberId": str(index), "Status": ok(), **row}
            for index, row in enumerate(rows)
        ]
        for array, rows in arrays.items()
    }
    return {uri: resource(uri, "Thermal", **told)}


def power(of: str = SLED, **arrays: list[dict[str, Any]]) -> Bodies:
    """The same for Power."""
    (told,) = thermal(of, **arrays).values()
    uri = f"{of}/Power"
    rows = {
        array: [row | {"@odata.id": f"{uri}#/{array}/{index}"} for index, row in enumerate(told[array])]
        for array in arrays
    }
    return {uri: resource(uri, "Power", **rows)}


def four_blades(*, hosts: bool = True) -> Bodies:
    """A sled of four blades, with what they share; the links between them are not told."""
    bodies = root() | chassis(sled(), *(blade(number) for number in (1, 2, 3, 4)))
    fans = f"{SLED}/ThermalSubsystem/Fans"
    supplies = f"{SLED}/PowerSubsystem/PowerSupplies"
    adapters = f"{SLED}/NetworkAdapters"
    for listing, type_, names in (
        (fans, "Fan", ("1", "2")),
        (supplies, "PowerSupply", ("1",)),
        (adapters, "NetworkAdapter", ("1",)),
    ):
        bodies[listing] = collection(listing, *(f"{listing}/{name}" for name in names))
        for name in names:
            bodies[f"{listing}/{name}"] = resource(f"{listing}/{name}", type_, Name=f"{type_} {name}", Status=ok())
    in_sled = {"ManagerInChassis": link(SLED)}
    bodies[BMC] = resource(BMC, "Manager", ManagerType="BMC", Name="BMC", Status=ok(), Links=in_sled)
    if hosts:
        for number in (1, 2, 3, 4):
            uri = f"{SYSTEMS}/H{number}"
            home = {"Chassis": [link(f"{SLED}B{number}")]}
            bodies[uri] = resource(uri, "ComputerSystem", Name="Host", Status=ok(), PowerState="On", Links=home)
    return bodies


def read(bodies: Bodies, location: Location | None = None, *, expand: bool = False) -> Normalised:
    return build(walk_of(bodies, NAME, expand=expand), location or Location())


def uri_of(id_: str | None) -> str | None:
    """A part's uri, from its id."""
    return None if id_ is None else id_.partition(":")[2]
