"""Where everything stands in a service, and what both dialects say of a part in the same words."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any, NamedTuple

from simulators.designs import Item
from simulators.report import has_lamp
from simulators.sensors import layout_of
from simulators.service import live
from simulators.service.query import Body
from simulators.site import Sled
from simulators.telemetry import Quantity, SensorSpec

CHASSIS = "/redfish/v1/Chassis"
SYSTEMS = "/redfish/v1/Systems"
MANAGERS = "/redfish/v1/Managers"
SLED = f"{CHASSIS}/Sled"
ADAPTER = f"{SLED}/NetworkAdapters/Net"
MANAGER = f"{MANAGERS}/Controller"


def blade(number: int) -> str:
    """The chassis of a blade."""
    return f"{CHASSIS}/Blade{number}"


def host(number: int) -> str:
    """The computer system on a blade."""
    return f"{SYSTEMS}/Blade{number}"


def processor(number: int, index: int) -> str:
    """A processor of a blade."""
    return f"{host(number)}/Processors/Cpu{index}"


def memory(number: int, index: int) -> str:
    """A memory module of a blade."""
    return f"{host(number)}/Memory/Dimm{index}"


def storage(number: int) -> str:
    """The storage of a blade."""
    return f"{host(number)}/Storage/Local"


class Plan:
    """A sled design as its services tell of it: its parts, sensors and names, in order."""

    top = SLED
    """The chassis that the service is about."""

    def __init__(self, sled: Sled) -> None:
        """``sled``: any one of the design and dialect."""
        self.design = sled.design
        self.specs = layout_of(sled).specs
        self._sled = sled
        self.by_id = {spec.id: spec for spec in self.specs}

    @property
    def managed_by(self) -> Item:
        """What the controller is."""
        return self.design.controller

    @cached_property
    def blades(self) -> tuple[int, ...]:
        """Numbers of the blades."""
        return tuple(slot.number for slot in self.design.slots)

    @cached_property
    def blade_paths(self) -> list[str]:
        """Chassis of all blades."""
        return [blade(n) for n in self.blades]

    @cached_property
    def host_paths(self) -> list[str]:
        """Computer systems of all blades."""
        return [host(n) for n in self.blades]

    @cached_property
    def fan_parts(self) -> tuple[str, ...]:
        """Fans as parts."""
        return tuple(f"fan{k}" for k in range(1, self.design.fans + 1))

    @cached_property
    def supply_parts(self) -> tuple[str, ...]:
        """Power supplies as parts."""
        return tuple(f"psu{k}" for k in range(1, len(self.design.power_supplies) + 1))

    def lamp(self, part: str) -> bool:
        """Whether a part carries a locate lamp."""
        return has_lamp(self._sled, self._sled.parts[live.full(self._sled, part)])

    def in_chassis(self, part: str) -> list[SensorSpec]:
        """Sensors that the chassis of a part (empty: the sled's; ``blade2``) lists: its own and its contents'."""
        if part:
            return [spec for spec in self.specs if spec.part.startswith(f"/{part}")]
        return [spec for spec in self.specs if not spec.part.startswith("/blade")]

    def of(self, part: str, quantity: Quantity, context: str | None = None) -> str | None:
        """Id of the first sensor of a part that measures this; None where there is none."""
        path = f"/{part}" if part else ""
        return next(
            (
                spec.id
                for spec in self.specs
                if spec.part == path and spec.quantity is quantity and context in (None, spec.context)
            ),
            None,
        )


COOLANT = f"{SLED}/ThermalSubsystem/CoolantConnectors/Water"
"""A sled's quick connects, in the newer model."""


class Own(NamedTuple):
    """Where a dialect puts what the other puts elsewhere."""

    fan: Callable[[int], str]
    """A shared fan, from 1."""
    supply: Callable[[int], str]
    """A shared converter, from 1."""
    drive: Callable[[int, int], str]
    """A drive: number of its blade, from 1, and its own, from 0."""
    coolant: str = SLED
    """The quick connects; the sled where nothing tells of them."""


def owner(part: str, own: Own) -> str:
    """The resource that tells of a part of the sled."""
    if part == "":
        return SLED
    if part == "controller":
        return MANAGER
    if part == "adapter":
        return ADAPTER
    if part == "coolant":
        return own.coolant
    if part.startswith("fan"):
        return own.fan(int(part[3:]))
    if part.startswith("psu"):
        return own.supply(int(part[3:]))
    top, _, rest = part.partition("/")
    number = int(top.removeprefix("blade"))
    if not rest:
        return blade(number)
    for stem, make in (("cpu", processor), ("dimm", memory), ("drive", own.drive)):
        if rest.startswith(stem):
            return make(number, int(rest.removeprefix(stem)))
    raise ValueError(f"no resource tells of a part like {part!r}")


def nameplate(item: Item) -> Body:
    """What stands on a part, without its serial number."""
    return {"Manufacturer": item.make, "Model": item.model, "PartNumber": item.part_number}


def plate(item: Item, part: str) -> Body:
    """The same of what stands there now: at times another model than the design has."""
    return {
        "Manufacturer": item.make,
        "Model": live.board(part, item, "model"),
        "PartNumber": live.board(part, item, "part_number"),
    }


def slot(label: str, ordinal: int, kind: str, *, front: bool = False) -> Body:
    """A ``PartLocation``; ``kind`` is the standard's LocationType, ``front`` whether it is reached from there."""
    told: Body = {"ServiceLabel": label, "LocationType": kind, "LocationOrdinalValue": ordinal}
    return {**told, "Reference": "Front"} if front else told


def sled_slot() -> Body:
    """The ``PartLocation`` of the sled itself, which every controller reads off its backplane."""
    return {
        "ServiceLabel": live.sled_label(),
        "LocationType": "Slot",
        "LocationOrdinalValue": live.sled_ordinal(),
    }


def context(blade_label: str | None = None) -> Any:
    """``PartLocationContext``: the labels of what contains a part, widest first."""
    return live.sled_label("" if blade_label is None else f"/{blade_label}")
