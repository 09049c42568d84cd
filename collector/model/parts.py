"""Parts: what there is, where it is, what it calls itself and on what it depends."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model.words import Kind


class Location(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Where a part is, as written on the labels: site / row / rack / offset / enclosure / sled / slot."""

    site: str | None = None
    row: str | None = None
    rack: str | None = None
    offset: float | None = None
    """Lowest rack unit the part occupies, counted from the bottom, 0-based (Redfish ``RackOffset``)."""
    offset_unit: str | None = None
    """``EIA_310`` (44.45 mm) or ``OpenU`` (48 mm)."""
    enclosure: str | None = None
    sled: str | None = None
    slot: str | None = None
    slot_index: int | None = None
    """Redfish ``LocationOrdinalValue``, 0-based."""

    @property
    def text(self) -> str:
        """One line, widest first, e.g. ``Quellmark / A / R02 / U10 / E1 / Sled 1 / Blade 3``.

        Labels count rack units from 1 at the bottom (common practice, no source); ``offset`` counts from 0.
        """
        unit = None if self.offset is None else f"U{self.offset + 1:g}"
        steps = (self.site, self.row, self.rack, unit, self.enclosure, self.sled, self.slot)
        return " / ".join(step for step in steps if step)


class Identity(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a part calls itself, untrusted text as told."""

    manufacturer: str | None = None
    model: str | None = None
    part_number: str | None = None
    spare_part_number: str | None = None
    serial: str | None = None
    sku: str | None = None
    asset_tag: str | None = None
    firmware: str | None = None


class Size(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Outer size in millimetres, where told (Chassis HeightMm, WidthMm, DepthMm)."""

    height: float | None = None
    width: float | None = None
    depth: float | None = None


class Part(Struct, frozen=True, kw_only=True):
    """Any physical thing with a position, a host that a blade carries, or the controller itself."""

    id: str
    controller: str
    uri: str
    kind: Kind
    name: str
    parent: str | None = None
    """Id of the part that contains it; None for the outermost part that this controller tells of."""
    location: Location = Location()
    identity: Identity = Identity()
    size: Size = Size()
    hot_swap: bool | None = None
    capacity: float | None = None
    """Power in W that it can give (a supply, a shelf) or may take (a sled, a blade), as told; None where not told."""


class Why(StrEnum):
    """Kinds of dependency between two parts."""

    POWERED_BY = "powered by"
    COOLED_BY = "cooled by"
    MANAGED_BY = "managed by"
    CONNECTED_THROUGH = "connected through"


class Link(Struct, frozen=True):
    """``part`` depends on ``on``; containment stands in :attr:`Part.parent` instead."""

    part: str
    on: str
    why: Why
    assumed: bool = False
    """Not told by the service: it follows from containment (what a sled holds runs on the sled's fans)."""
