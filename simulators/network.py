"""The site's networks and cables: a data switch and a management switch a rack, their ports, and what joins the parts.

No controller tells of these things themselves, so their paths begin with ``~``: ``~r01-data`` is the data switch of
rack r01, ``~r01-data/port7`` one of its ports; a cable is named from both its ends,
``~r01-e1-s2/adapter/port1|r01-data/port3``. Sleds see the far ends by LLDP (IEEE 802.1AB) on the ports of their
adapters and controllers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal
from zlib import crc32

from simulators.items import Item
from simulators.parts import Equipment, Part, PartKind, Shelf, Sled, serial
from simulators.telemetry import Neighbour

Role = Literal["data", "management", "inside"]

DATA_SWITCH = Item(make="Yorvim", model="YV-S64", part_number="YV-S64100")
MANAGEMENT_SWITCH = Item(make="Yorvim", model="YV-M32", part_number="YV-M32001")
DATA_CABLE = Item(make="Brennik", model="DAC 2 m", part_number="BK-D200")
MANAGEMENT_CABLE = Item(make="Brennik", model="Patch 1.5 m", part_number="BK-P150")
DRIVE_CABLE = Item(make="Brennik", model="Bay lead", part_number="BK-BL08")
BLADE_CABLE = Item(make="Brennik", model="Slot lead", part_number="BK-SL02")


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint(Part):
    """A thing that joins others: a switch, a switch's port, a cable."""

    role: Role
    """Which network it is of; ``inside``: within a sled."""
    ends: tuple[str, ...]
    """Paths of what hangs on it in sleds and shelves: ports of adapters, controllers, drives, blades."""


class Network:
    """All switches, ports and cables of a site."""

    def __init__(self, racks: Iterable[tuple[str, tuple[Sled, ...], Shelf | None]]) -> None:
        """``racks``: of each its name, its sleds from the bottom, its power shelf."""
        self.parts: dict[str, Joint] = {}
        """By path: switches before their ports, then cables."""
        self._seen: dict[str, dict[str, Neighbour]] = {}
        for rack, sleds, shelf in racks:
            self._rack(rack, sleds, shelf)

    def neighbours(self, unit: str) -> dict[str, Neighbour]:
        """What the ports of a sled or shelf see at the other end, by the path of the port (or controller)."""
        return self._seen.get(unit, {})

    def cable(self, end: str) -> Joint:
        """The cable at a port of an adapter, a controller, a drive or a blade; KeyError where there is none."""
        for part in self.parts.values():
            if part.kind is PartKind.CABLE and part.ends == (end,):
                return part
        raise KeyError(f"no cable ends at {end!r}")

    def _rack(self, rack: str, sleds: tuple[Sled, ...], shelf: Shelf | None) -> None:
        data = [f"{sled.name}/adapter/port{k}" for sled in sleds for k in range(1, sled.design.adapter.ports + 1)]
        units: list[Equipment] = [*sleds, *([shelf] if shelf else [])]
        managed = [f"{unit.name}/controller" for unit in units]
        self._switch(f"{rack}-data", "DATA", "data", data, DATA_SWITCH, DATA_CABLE)
        self._switch(f"{rack}-mgmt", "MGMT", "management", managed, MANAGEMENT_SWITCH, MANAGEMENT_CABLE)
        for sled in sleds:
            for blade in sled.blades:
                self._cable(blade.path, sled.name, "inside", BLADE_CABLE)
                for i in range(len(blade.design.bays)):
                    self._cable(f"{blade.path}/drive{i}", blade.path, "inside", DRIVE_CABLE)

    def _switch(self, name: str, label: str, role: Role, ends: list[str], item: Item, cable: Item) -> None:
        top = f"~{name}"
        self._add(top, PartKind.SWITCH, None, label, 0, item, role, tuple(ends))
        for i, end in enumerate(ends, 1):
            self._add(f"{top}/port{i}", PartKind.PORT, top, f"PORT {i}", i - 1, item, role, (end,))
            self._seen.setdefault(end.partition("/")[0], {})[end] = Neighbour(chassis_id(name), f"1/{i}", name)
        for i, end in enumerate(ends, 1):
            self._cable(end, f"{name}/port{i}", role, cable)

    def _cable(self, near: str, far: str, role: Role, item: Item) -> None:
        self._add(f"~{near}|{far}", PartKind.CABLE, None, "CABLE", 0, item, role, (near,))

    def _add(
        self,
        path: str,
        kind: PartKind,
        parent: str | None,
        label: str,
        index: int,
        item: Item,
        role: Role,
        ends: tuple[str, ...],
    ) -> None:
        number = serial("NW", path)
        self.parts[path] = Joint(
            path=path,
            kind=kind,
            parent=parent,
            label=label,
            index=index,
            item=item,
            serial=number,
            role=role,
            ends=ends,
        )


def chassis_id(switch: str) -> str:
    """What a switch calls itself in LLDP: a locally administered address (IEEE 802) of its own."""
    return "02:5A:" + ":".join(f"{octet:02X}" for octet in crc32(switch.encode()).to_bytes(4, "big"))
