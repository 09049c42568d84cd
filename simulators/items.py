"""Shapes of what the invented makers build: sleds, blades, shelves, their geometry and nameplates.

Lengths are millimetres. A slot's or bay's ``x`` counts from the left edge, ``y`` from the lower edge of what it stands
in, seen from the front.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Orientation = Literal["Front", "Left", "Right", "Top", "Bottom"]
"""Redfish ``PartLocation.Orientation``: where counting starts."""

UNIT_MM = 44.45
"""One rack unit, EIA-310."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A thing one can order: nameplate of a part."""

    make: str
    model: str
    part_number: str
    firmware: str | None = None
    """Version it is delivered with; None where it runs none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessorDesign(Item):
    """A processor."""

    tdp: float
    """Thermal design power, W."""
    cores: int
    threads: int
    max_mhz: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MemoryDesign(Item):
    """A memory module."""

    capacity_mib: int
    speed_mhz: int
    device_type: Literal["DDR4", "DDR5"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveDesign(Item):
    """A drive."""

    capacity_bytes: int
    protocol: Literal["NVMe", "SATA"]
    max_power: float
    """W."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bay:
    """Where a drive is pulled from, on the front of its blade."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BladeDesign(Item):
    """A blade: one host on one board."""

    heights: int
    """Blade heights that it takes in the sled: 1 single, 2 double."""
    width: float
    height: float
    depth: float
    processor: ProcessorDesign
    processors: int
    memory: MemoryDesign
    memories: int
    drive: DriveDesign
    drives: int
    bays: tuple[Bay, ...]
    """One a drive where drives are at the front; empty where they sit on the board."""
    max_power: float
    """Nameplate maximum at the 12 V input, W."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """Where a blade stands on the front of its sled."""

    number: int
    """As on the sticker, from 1."""
    x: float
    y: float
    width: float
    height: float
    orientation: Orientation = "Front"

    @property
    def label(self) -> str:
        """As on the sticker."""
        return f"BLADE {self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FanDesign(Item):
    """A fan of the sled's shared row."""

    rated_rpm: int
    diameter: float
    max_power: float
    """At rated speed in air of 1.2 kg/m3, W."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyDesign(Item):
    """A converter from the busbar to the sled's 12 V plane."""

    capacity: float
    """Rated output, W."""
    input_nominal: float = 48.0
    """Class of the busbar, V."""
    output_nominal: float = 12.0
    """V."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdapterDesign(Item):
    """The network adapter that all blades of a sled share."""

    ports: int
    port_gbit: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerDesign(Item):
    """The management controller that all blades of a sled share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConnectorDesign(Item):
    """A sled's pair of quick connects on the rack's coolant manifold."""

    rated_flow: float
    """L/min."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectorDesign(Item):
    """A sensing rope for leaks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SledDesign(Item):
    """A sled: a drawer of blades with what they share."""

    name: str
    """Short name of the design in this program."""
    units: int
    """Rack units that it takes."""
    width: float
    height: float
    depth: float
    weight: float
    """Fully equipped, kg."""
    slots: tuple[Slot, ...]
    blade: BladeDesign
    fan: FanDesign
    fan_x: tuple[float, ...]
    """Middle of each fan from the left edge *seen from the front*; fan 1 first."""
    adapter: AdapterDesign
    controller: ControllerDesign
    power_supplies: tuple[SupplyDesign, ...]
    """The converters that feed the sled from the busbar, as a sharing pair; one alone carries the sled."""
    filter: Item = Item(make="Tarnwick", model="Mesh 436", part_number="TW-M436")
    """In front of all blades' intakes."""
    pump: Item | None = None
    """Where coolant flows: behind the quick connects."""
    connector: ConnectorDesign | None = None
    """Where processors sit under cold plates; None where air cools all."""
    detectors: tuple[DetectorDesign, ...] = ()
    """For leaks: under the plates, and along the hoses."""

    @property
    def fans(self) -> int:
        """Number of shared fans."""
        return len(self.fan_x)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfDesign(Item):
    """A rack's power shelf: rectifiers side by side, from mains to the busbar."""

    name: str
    """Short name of the design in this program."""
    units: int
    width: float
    height: float
    depth: float
    weight: float
    """Fully equipped, kg."""
    supply: SupplyDesign
    supplies: int
    needed: int
    """Supplies that carry all that the shelf is rated for; the others are spare."""
    controller: ControllerDesign

    @property
    def capacity(self) -> float:
        """What it is rated for, with its spare supplies failed, W."""
        return self.needed * self.supply.capacity
