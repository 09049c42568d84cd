"""The invented site: rows, racks, enclosures, sleds and every part in them, each with a stable path.

A sled's path is its name, which is also its controller's name, e.g. ``r02-e1-s3``; parts stand below it:
``r02-e1-s3/blade2/drive0``. Rack offsets count rack units (EIA-310, 44.45 mm) from the bottom, from 0, and name the
lowest unit that the thing occupies.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TypeAlias

from simulators.designs import DUO, QUAD, BladeDesign, Item, SledDesign, Slot

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
class Enclosure:
    """Sleds on one busbar."""

    name: str
    label: str
    number: int
    offset: int
    units: int
    serial: str
    feed_capacity: float
    """What the busbar's rectifiers can deliver, W."""
    sleds: tuple[Sled, ...]


@dataclass(frozen=True, kw_only=True)
class Rack:
    """A rack of enclosures."""

    name: str
    label: str
    number: int
    units: int
    enclosures: tuple[Enclosure, ...]

    @property
    def sleds(self) -> tuple[Sled, ...]:
        """All sleds, from the bottom."""
        return tuple(sled for enclosure in self.enclosures for sled in enclosure.sleds)


@dataclass(frozen=True, kw_only=True)
class Row:
    """A row of racks that share a cold and a hot aisle."""

    name: str
    label: str
    racks: tuple[Rack, ...]


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a part is, as written on the labels."""

    site: str
    row: str
    rack: str
    offset: int
    """Of the sled: rack units from the bottom of the rack, from 0 (Redfish RackOffset, EIA_310)."""
    enclosure: str
    sled: str
    slot: str | None
    """Label of the blade's slot, or of the shared part; None for the sled itself."""
    ordinal: int | None
    """Redfish LocationOrdinalValue of that slot, from 0; None for the sled itself."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """The whole invented site."""

    name: str
    altitude: float
    """Metres above sea level; sets the density of the air."""
    rows: tuple[Row, ...]
    _index: dict[str, tuple[Row, Rack, Enclosure, Sled]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index = {
            sled.name: (row, rack, enclosure, sled)
            for row in self.rows
            for rack in row.racks
            for enclosure in rack.enclosures
            for sled in enclosure.sleds
        }
        object.__setattr__(self, "_index", index)

    @property
    def racks(self) -> tuple[Rack, ...]:
        """All racks of all rows."""
        return tuple(rack for row in self.rows for rack in row.racks)

    @property
    def sleds(self) -> tuple[Sled, ...]:
        """All sleds, racks in order, from the bottom of each."""
        return tuple(entry[3] for entry in self._index.values())

    def sled(self, name: str) -> Sled:
        """The sled (and so the controller) of that name; KeyError, naming it, where there is none."""
        return self.chain(name)[3]

    def chain(self, path: str) -> tuple[Row, Rack, Enclosure, Sled]:
        """What contains a part, widest first; KeyError, naming it, where there is no such sled."""
        try:
            return self._index[path.partition("/")[0]]
        except KeyError:
            raise KeyError(f"no sled named {path.partition('/')[0]!r} on site {self.name!r}") from None

    def part(self, path: str) -> Part:
        """The part at a path; KeyError, naming it, where there is none."""
        sled = self.sled(path)
        try:
            return sled.parts[path]
        except KeyError:
            raise KeyError(f"sled {sled.name!r} has no part {path!r}") from None

    def place(self, path: str) -> Place:
        """Where a part is; for a part on a blade the slot is the blade's."""
        row, rack, enclosure, sled = self.chain(path)
        part = self.part(path)
        while part.parent is not None and part.parent != sled.path:
            part = sled.parts[part.parent]
        inside = part.parent is not None
        return Place(
            site=self.name,
            row=row.label,
            rack=rack.label,
            offset=sled.offset,
            enclosure=enclosure.label,
            sled=sled.label,
            slot=part.label if inside else None,
            ordinal=part.index if inside else None,
        )


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


def _sled(name: str, number: int, offset: int, design: SledDesign, dialect: Dialect) -> Sled:
    blades = tuple(
        Blade(
            path=f"{name}/blade{slot.number}",
            number=slot.number,
            slot=slot,
            design=design.blade,
            serial=serial("BL", f"{name}/blade{slot.number}"),
        )
        for slot in design.slots
    )
    return Sled(
        name=name,
        label=f"SLED {number}",
        number=number,
        offset=offset,
        design=design,
        dialect=dialect,
        serial=serial("SL", name),
        blades=blades,
    )


_RACK_UNITS = 42
_ENCLOSURE_UNITS = 7
"""Three two-unit sleds under a one-unit rectifier shelf."""
_SLEDS = 3


def _rack(number: int, name: str, enclosures: int, sleds: int) -> Rack:
    """A rack of ``enclosures`` filled upwards with ``sleds`` in all; designs and dialects alternate by enclosure."""
    built = []
    left = sleds
    for e in range(1, enclosures + 1):
        # Above two units of blanking panels and patching at the bottom.
        offset = 2 + (e - 1) * _ENCLOSURE_UNITS
        kind = (number + e) % 4
        design, dialect = ((QUAD, "modern"), (DUO, "classic"), (QUAD, "classic"), (DUO, "modern"))[kind]
        here = min(left, _SLEDS)
        left -= here
        enclosure = f"{name}-e{e}"
        built.append(
            Enclosure(
                name=enclosure,
                label=f"E{e}",
                number=e,
                offset=offset,
                units=_ENCLOSURE_UNITS,
                serial=serial("EN", enclosure),
                feed_capacity=6600.0,
                sleds=tuple(
                    _sled(f"{enclosure}-s{s}", s, offset + 2 * (s - 1), design, dialect) for s in range(1, here + 1)
                ),
            )
        )
    return Rack(name=name, label=name.upper(), number=number, units=_RACK_UNITS, enclosures=tuple(built))


def demo_site() -> Site:
    """Three racks in two rows, eighteen sleds of two designs, both dialects of each."""
    racks = [_rack(n, f"r{n:02d}", 2, 6) for n in (1, 2, 3)]
    rows = (
        Row(name="row-a", label="A", racks=tuple(racks[:2])),
        Row(name="row-b", label="B", racks=tuple(racks[2:])),
    )
    return Site(name="Quellmark", altitude=240.0, rows=rows)


def scaled_site(controllers: int) -> Site:
    """A site of exactly so many sleds, fifteen a rack and ten racks a row; the same number gives the same site."""
    if controllers < 1:
        raise ValueError(f"a site needs at least one controller, not {controllers}")
    a_rack, a_row = 5 * _SLEDS, 10
    racks: list[Rack] = []
    for first in range(0, controllers, a_rack):
        number = len(racks) + 1
        sleds = min(a_rack, controllers - first)
        racks.append(_rack(number, f"r{number:03d}", -(-sleds // _SLEDS), sleds))
    rows = tuple(
        Row(name=f"row-{i // a_row + 1:02d}", label=f"{i // a_row + 1:02d}", racks=tuple(racks[i : i + a_row]))
        for i in range(0, len(racks), a_row)
    )
    return Site(name="Quellmark", altitude=240.0, rows=rows)
