"""The invented site: rows, racks, enclosures, sleds and every part in them, each with a stable path.

A sled's path is its name, which is also its controller's name, e.g. ``r02-e1-s3``; parts stand below it:
``r02-e1-s3/blade2/drive0``. Rack offsets count rack units (EIA-310, 44.45 mm) from the bottom, from 0, and name the
lowest unit that the thing occupies.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from simulators.designs import DUO, LIQUID, QUAD, SHELF, SledDesign
from simulators.network import Joint, Network
from simulators.parts import OLDER_MODEL, Blade, Dialect, Equipment, Part, PartKind, Shelf, Sled, serial

__all__ = [
    "OLDER_MODEL",
    "Blade",
    "Dialect",
    "Enclosure",
    "Equipment",
    "Part",
    "PartKind",
    "Place",
    "Rack",
    "Row",
    "Shelf",
    "Site",
    "Sled",
    "demo_site",
    "scaled_site",
    "serial",
]


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
    shelf: Shelf | None = None
    """Its power shelf, where that has a controller of its own."""

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
    enclosure: str | None
    """None for what stands in the rack itself."""
    sled: str | None
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
    _shelves: dict[str, tuple[Row, Rack, Shelf]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        index = {
            sled.name: (row, rack, enclosure, sled)
            for row in self.rows
            for rack in row.racks
            for enclosure in rack.enclosures
            for sled in enclosure.sleds
        }
        object.__setattr__(self, "_index", index)
        shelves = {rack.shelf.name: (row, rack, rack.shelf) for row in self.rows for rack in row.racks if rack.shelf}
        object.__setattr__(self, "_shelves", shelves)

    @cached_property
    def network(self) -> Network:
        """Its switches, their ports, and the cables."""
        return Network((rack.name, rack.sleds, rack.shelf) for rack in self.racks)

    @property
    def racks(self) -> tuple[Rack, ...]:
        """All racks of all rows."""
        return tuple(rack for row in self.rows for rack in row.racks)

    @property
    def sleds(self) -> tuple[Sled, ...]:
        """All sleds, racks in order, from the bottom of each."""
        return tuple(entry[3] for entry in self._index.values())

    @property
    def shelves(self) -> tuple[Shelf, ...]:
        """The power shelves of all racks that have one."""
        return tuple(entry[2] for entry in self._shelves.values())

    @property
    def equipment(self) -> tuple[Equipment, ...]:
        """All that has a controller of its own: sleds, then power shelves."""
        return (*self.sleds, *self.shelves)

    def unit(self, path: str) -> Equipment:
        """The sled or shelf of a part, or of the first end of a switch or cable; KeyError, naming it, for none."""
        if path.startswith("~"):
            return self.unit(self.part(path).ends[0])  # type: ignore[attr-defined]
        found = self._shelves.get(path.partition("/")[0])
        return self.sled(path) if found is None else found[2]

    def reached(self, path: str) -> tuple[Equipment, ...]:
        """The sleds and shelves that a fault of a part touches: its own, or all that hang on a switch or cable."""
        part = self.part(path)
        if not isinstance(part, Joint):
            return (self.unit(path),)
        return tuple(self.unit(name) for name in dict.fromkeys(end.partition("/")[0] for end in part.ends))

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
        if path.startswith("~"):
            try:
                return self.network.parts[path]
            except KeyError:
                raise KeyError(f"no switch, port or cable {path!r} on site {self.name!r}") from None
        unit = self.unit(path)
        try:
            return unit.parts[path]
        except KeyError:
            kind = "sled" if isinstance(unit, Sled) else "shelf"
            raise KeyError(f"{kind} {unit.name!r} has no part {path!r}") from None

    def place(self, path: str) -> Place:
        """Where a part is; for a part on a blade the slot is the blade's."""
        part = self.part(path)
        if path.partition("/")[0] in self._shelves:
            row, rack, shelf = self._shelves[path.partition("/")[0]]
            inside = part.parent is not None
            return Place(
                site=self.name,
                row=row.label,
                rack=rack.label,
                offset=shelf.offset,
                enclosure=None,
                sled=None,
                slot=part.label if inside else None,
                ordinal=part.index if inside else None,
            )
        row, rack, enclosure, sled = self.chain(path)
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


def _enclosure(rack: str, number: int, offset: int, sleds: int, design: SledDesign, dialect: Dialect) -> Enclosure:
    name = f"{rack}-e{number}"
    return Enclosure(
        name=name,
        label=f"E{number}",
        number=number,
        offset=offset,
        units=_ENCLOSURE_UNITS,
        serial=serial("EN", name),
        feed_capacity=6600.0,
        sleds=tuple(_sled(f"{name}-s{s}", s, offset + 2 * (s - 1), design, dialect) for s in range(1, sleds + 1)),
    )


def _offset(number: int) -> int:
    """Of an enclosure: above two units of blanking panels and patching at the bottom."""
    return 2 + (number - 1) * _ENCLOSURE_UNITS


def _rack(number: int, name: str, enclosures: int, sleds: int) -> Rack:
    """A rack of ``enclosures`` filled upwards with ``sleds`` in all; designs and dialects alternate by enclosure."""
    built = []
    left = sleds
    for e in range(1, enclosures + 1):
        kind = (number + e) % 4
        design, dialect = ((QUAD, "modern"), (DUO, "classic"), (QUAD, "classic"), (DUO, "modern"))[kind]
        here = min(left, _SLEDS)
        left -= here
        built.append(_enclosure(name, e, _offset(e), here, design, dialect))
    return Rack(name=name, label=name.upper(), number=number, units=_RACK_UNITS, enclosures=tuple(built))


_DEMO: tuple[tuple[tuple[SledDesign, Dialect, int], ...], ...] = (
    ((QUAD, "classic", 3), (DUO, "both", 3)),
    ((DUO, "modern", 3), (QUAD, "small-pages", 3)),
    ((QUAD, "modern", 3), (DUO, "classic", 3), (LIQUID, "modern", 2)),
)
"""The demo's racks from the first, their enclosures from the bottom: design, dialect and number of their sleds."""


def demo_site() -> Site:
    """Three racks in two rows with a power shelf each, twenty sleds of three designs in several dialects."""
    racks = []
    for number, told in enumerate(_DEMO, 1):
        name = f"r{number:02d}"
        enclosures = tuple(
            _enclosure(name, e, _offset(e), sleds, design, dialect)
            for e, (design, dialect, sleds) in enumerate(told, 1)
        )
        shelf = _shelf(f"{name}-ps", enclosures)
        rack = Rack(name=name, label=name.upper(), number=number, units=_RACK_UNITS, enclosures=enclosures)
        racks.append(replace(rack, shelf=shelf))
    rows = (
        Row(name="row-a", label="A", racks=tuple(racks[:2])),
        Row(name="row-b", label="B", racks=tuple(racks[2:])),
    )
    return Site(name="Quellmark", altitude=240.0, rows=rows)


def _shelf(name: str, enclosures: tuple[Enclosure, ...]) -> Shelf:
    return Shelf(
        name=name,
        label="SHELF 1",
        number=1,
        offset=1,
        design=SHELF,
        dialect="modern",
        serial=serial("SH", name),
        outlets=tuple(enclosure.label for enclosure in enclosures),
    )


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
