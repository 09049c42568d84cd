"""Small invented walks for what is followed from walk to walk: a word a part."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping
from typing import Any

from collector.model import (
    Defect,
    DefectKind,
    Frame,
    Identity,
    Inventory,
    Kind,
    Layout,
    Link,
    Location,
    Part,
    State,
    Status,
)

TOP = "/redfish/v1/Chassis"
RACK = Location(site="Quellmark", row="A", rack="R02")


def at(**more: Any) -> Location:
    """A place in the rack."""
    return Location(site=RACK.site, row=RACK.row, rack=RACK.rack, **more)


def part(
    path: str,
    kind: Kind = Kind.DRIVE,
    serial: str | None = None,
    *,
    controller: str = "c1",
    parent: str | None = None,
    name: str | None = None,
    location: Location | None = None,
    **identity: str | None,
) -> Part:
    """A part at a path below the chassis collection, or at a whole path."""
    uri = path if path.startswith("/") else f"{TOP}/{path}"
    home = None if parent is None else parent if parent.startswith("/") else f"{TOP}/{parent}"
    return Part(
        id=f"{controller}:{uri}",
        controller=controller,
        uri=uri,
        kind=kind,
        name=uri.rpartition("/")[2] if name is None else name,
        parent=None if home is None else f"{controller}:{home}",
        location=location or Location(),
        identity=Identity(serial=serial, **identity),
    )


def walk(
    *parts: Part,
    time: float = 0.0,
    controller: str = "c1",
    statuses: Mapping[str, Status] | None = None,
    links: Iterable[Link] = (),
    unread: Iterable[str] = (),
) -> Inventory:
    """A walk that found these parts and could not read some resources."""
    return Inventory(
        controller=controller,
        time=time,
        parts=parts,
        links=tuple(links),
        layout=Layout(controller, ()),
        statuses=dict(statuses or {}),
        frame=Frame(time=time, values=array("d"), healths=b""),
        defects=tuple(
            Defect(controller=controller, resource=each, property="", kind=DefectKind.HTTP_ERROR, detail="500")
            for each in unread
        ),
    )


ABSENT = Status(state=State.ABSENT)


def sled(controller: str = "c1", number: int = 1, *, serials: str = "", blades: int = 2, drives: int = 2) -> list[Part]:
    """A sled with blades with a host and drives each, all labelled; ``serials`` is what makes them unlike others."""
    mark = serials or controller.upper()
    place = at(enclosure="E1", sled=f"SLED {number}")
    parts = [
        part("Sled", Kind.SLED, f"{mark}-SL01", controller=controller, location=place, part_number="PN-S"),
        part("Sled/Ctl", Kind.CONTROLLER, f"{mark}-CT01", controller=controller, parent="Sled", location=place),
    ]
    for blade in range(1, blades + 1):
        where = at(enclosure="E1", sled=f"SLED {number}", slot=f"BLADE {blade}")
        of = f"Blade{blade}"
        serial = f"{mark}-BL{blade:02}"
        parts.append(part(of, Kind.BLADE, serial, controller=controller, parent="Sled", location=where))
        parts.append(part(f"{of}/Host", Kind.HOST, serial, controller=controller, parent=of, location=where))
        for drive in range(drives):
            bay = at(enclosure="E1", sled=f"SLED {number}", slot=f"BLADE {blade} / BAY {drive}", slot_index=drive)
            parts.append(
                part(
                    f"{of}/Drives/{drive}",
                    Kind.DRIVE,
                    f"{mark}-DR{blade}{drive}",
                    controller=controller,
                    parent=of,
                    location=bay,
                    part_number="PN-D",
                    firmware="1.0",
                )
            )
    return parts
