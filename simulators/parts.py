"""Sleds and power shelves with every part in them, each with a stable path.

A sled's path is its name, which is also its controller's name, e.g. ``r02-e1-s3``; parts stand below it:
``r02-e1-s3/blade2/drive0``. A rack's power shelf is named so too: ``r02-ps/psu4``.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TypeAlias

from simulators.designs import BladeDesign, Item, ShelfDesign, SledDesign, Slot

Dialect: TypeAlias = str
"""How a controller speaks the standard; :mod:`simulators.service.dialects` has them all.

For instance ``modern``: Sensor, ThermalSubsystem, PowerSubsystem, EnvironmentMetrics; ``classic``: Thermal and Power.
"""
OLDER_MODEL: frozenset[Dialect] = frozenset({"classic", "slow"})
"""Dialects without the newer model, whose controllers don't look at what they have no word for."""


class PartKind(StrEnum):
    """Kinds of parts in the invented fleet."""

    SLED = "sled"
    BLADE = "blade"
    HOST = "host"
    PROCESSOR = "processor"
    MEMORY = "memory"
    DRIVE = "drive"
    FAN = "fan"
    POWER_SUPPLY = "power supply"
    NETWORK_ADAPTER = "network adapter"
    CONTROLLER = "controller"
    COOLANT_CONNECTOR = "coolant connector"
    LEAK_DETECTOR = "leak detector"
    FILTER = "filter"
    PUMP = "pump"
    SHELF = "power shelf"
    CIRCUIT = "circuit"
    OUTLET = "outlet"
    SWITCH = "switch"
    PORT = "port"
    CABLE = "cable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of a sled, the sled itself included: what stands on its stickers."""

    path: str
    kind: PartKind
    parent: str | None
    """Path of the part that contains it; None for the sled."""
    label: str
    """As on the sticker, e.g. ``DRIVE 0``."""
    index: int
    """Position among its like in its parent, from 0."""
    item: Item
    """Nameplate: make, model, part number, firmware as delivered; a narrower type for most kinds."""
    serial: str


@dataclass(frozen=True, kw_only=True)
class Blade:
    """A blade in its slot."""

    path: str
    number: int
    slot: Slot
    design: BladeDesign
    serial: str

    @property
    def host(self) -> str:
        """Path of the computer system on it."""
        return f"{self.path}/host"


@dataclass(frozen=True, kw_only=True)
class Sled:
    """A sled, its controller's name and dialect."""

    name: str
    label: str
    number: int
    """In its enclosure, from 1, counted upwards."""
    offset: int
    """Rack units above the bottom of the rack."""
    design: SledDesign
    dialect: Dialect
    serial: str
    blades: tuple[Blade, ...]

    @property
    def path(self) -> str:
        """The sled as a part: its name."""
        return self.name

    @cached_property
    def parts(self) -> dict[str, Part]:
        """Every part by path, the sled first, containers before what they contain."""
        return {part.path: part for part in _parts(self)}


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """A rack's power shelf: rectifiers onto the busbar that its sleds draw from, and a controller of its own."""

    name: str
    label: str
    number: int
    """In its rack, from 1."""
    offset: int
    """Rack units above the bottom of the rack."""
    design: ShelfDesign
    dialect: Dialect
    serial: str
    outlets: tuple[str, ...]
    """Labels of the enclosures that it feeds, from the bottom; one busbar output each."""

    @property
    def path(self) -> str:
        """The shelf as a part: its name."""
        return self.name

    @cached_property
    def parts(self) -> dict[str, Part]:
        """Every part by path, the shelf first."""
        return {part.path: part for part in _shelf_parts(self)}


Equipment: TypeAlias = Sled | Shelf
"""What has a controller of its own."""


def serial(prefix: str, path: str) -> str:
    """A serial number that depends on nothing but the path: the same layout always has the same serials."""
    digest = hashlib.blake2b(path.encode(), digest_size=8, person=b"serial").digest()
    return f"{prefix}{base64.b32encode(digest).decode()[:11]}"


def _parts(sled: Sled) -> Iterator[Part]:
    design, top = sled.design, sled.path

    def shared(kind: PartKind, stem: str, label: str, index: int, item: Item, mark: str) -> Part:
        path = f"{top}/{stem}"
        return Part(path=path, kind=kind, parent=top, label=label, index=index, item=item, serial=serial(mark, path))

    yield Part(
        path=top,
        kind=PartKind.SLED,
        parent=None,
        label=sled.label,
        index=sled.number - 1,
        item=design,
        serial=sled.serial,
    )
    yield shared(PartKind.CONTROLLER, "controller", "MGMT", 0, design.controller, "MC")
    yield shared(PartKind.NETWORK_ADAPTER, "adapter", "NET", 0, design.adapter, "NA")
    for i in range(design.fans):
        yield shared(PartKind.FAN, f"fan{i + 1}", f"FAN {i + 1}", i, design.fan, "FN")
    for i, supply in enumerate(design.power_supplies):
        yield shared(PartKind.POWER_SUPPLY, f"psu{i + 1}", f"PSU {i + 1}", i, supply, "PS")
    yield shared(PartKind.FILTER, "filter", "FILTER", 0, design.filter, "AF")
    if design.pump is not None:
        yield shared(PartKind.PUMP, "pump", "PUMP", 0, design.pump, "PM")
    if design.connector is not None:
        yield shared(PartKind.COOLANT_CONNECTOR, "coolant", "WATER", 0, design.connector, "QC")
    for i, detector in enumerate(design.detectors):
        yield shared(PartKind.LEAK_DETECTOR, f"leak{i + 1}", f"LEAK {i + 1}", i, detector, "LD")
    for blade in sled.blades:
        yield from _blade_parts(sled, blade)


def _blade_parts(sled: Sled, blade: Blade) -> Iterator[Part]:
    board, top = blade.design, blade.path
    yield Part(
        path=top,
        kind=PartKind.BLADE,
        parent=sled.path,
        label=blade.slot.label,
        index=blade.number - 1,
        item=board,
        serial=blade.serial,
    )
    yield Part(path=blade.host, kind=PartKind.HOST, parent=top, label="HOST", index=0, item=board, serial=blade.serial)

    def held(kind: PartKind, stem: str, label: str, index: int, item: Item, mark: str) -> Part:
        path = f"{top}/{stem}"
        return Part(path=path, kind=kind, parent=top, label=label, index=index, item=item, serial=serial(mark, path))

    for i in range(board.processors):
        yield held(PartKind.PROCESSOR, f"cpu{i}", f"CPU {i}", i, board.processor, "CP")
    for i in range(board.memories):
        yield held(PartKind.MEMORY, f"dimm{i}", f"DIMM {i}", i, board.memory, "DM")
    for i in range(board.drives):
        yield held(PartKind.DRIVE, f"drive{i}", f"DRIVE {i}", i, board.drive, "DR")


def _shelf_parts(shelf: Shelf) -> Iterator[Part]:
    design, top = shelf.design, shelf.path

    def held(kind: PartKind, stem: str, label: str, index: int, item: Item, mark: str) -> Part:
        path = f"{top}/{stem}"
        return Part(path=path, kind=kind, parent=top, label=label, index=index, item=item, serial=serial(mark, path))

    yield Part(
        path=top,
        kind=PartKind.SHELF,
        parent=None,
        label=shelf.label,
        index=shelf.number - 1,
        item=design,
        serial=shelf.serial,
    )
    yield held(PartKind.CONTROLLER, "controller", "MGMT", 0, design.controller, "MC")
    for i in range(design.supplies):
        yield held(PartKind.POWER_SUPPLY, f"psu{i + 1}", f"PSU {i + 1}", i, design.supply, "PS")
    for i, name in enumerate(MAINS):
        yield held(PartKind.CIRCUIT, f"mains{name.lower()}", f"FEED {name}", i, design, "CT")
    for i, label in enumerate(shelf.outlets):
        yield held(PartKind.OUTLET, f"outlet{i + 1}", f"BUS {label}", i, design, "OU")


MAINS = ("A", "B")
"""Feeds of a power shelf; supplies hang on them in turn."""
