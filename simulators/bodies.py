"""The physical side of the sled designs: what is warm, how it gives its heat to the air, what the air has to pass.

Invented hardware, so invented constants; they are chosen within what such hardware shows (common practice, no source)
and nothing outside this package reads them. Flows are those at full fan speed unless told otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from simulators.coolant import Loop
from simulators.designs import DUO, LIQUID, QUAD, SledDesign


@dataclass(frozen=True, slots=True)
class Node:
    """A warm body in a blade's air path."""

    name: str
    """``cpu`` (its heat sink), ``dimm`` (a bank), ``drive``, ``regulator`` or ``board``."""
    index: int
    stage: int
    """Stages follow each other along the air; the bodies of one stage stand beside each other."""
    share: float
    """Part of the blade's air that passes over it; the rest goes by."""
    conductance: float
    """Surface to air at full flow, W/K."""
    capacity: float
    """Heat to warm it by one kelvin, J/K."""
    wet: bool = False
    """Whether it gives its heat to the coolant and not to the air; its share is then of no account."""


@dataclass(frozen=True, slots=True)
class RearNode:
    """A warm body of the shared ones, behind the blades and before the fans."""

    name: str
    index: int
    cell: int
    """Counts the plenum's cells, one before each fan, from the left."""
    share: float
    conductance: float
    capacity: float


@dataclass(frozen=True, slots=True)
class Loads:
    """What draws power on one blade, W unless told otherwise."""

    cpu_idle: float
    cpu_dynamic: float
    """More at full load, at any temperature."""
    cpu_leakage: float
    """Of a processor at 60 Cel; grows e-fold in :data:`LEAKAGE_KELVIN`."""
    cpu_case: float
    """Junction to heat sink, K/W."""
    regulator_loss: float
    """Part of the processor's power lost in its regulators, 0-1."""
    bank_idle: float
    bank_dynamic: float
    drive_idle: float
    drive_dynamic: float
    board: float


@dataclass(frozen=True, slots=True)
class Body:
    """One design's physics."""

    design: SledDesign
    nodes: tuple[Node, ...]
    """In the order of the air: by stage."""
    rear: tuple[RearNode, ...]
    loads: Loads
    blade_flow: float
    """Of one blade at full fan speed, healthy and all equal: where conductances are stated, m3/s."""
    blade_resistance: float
    """Pressure drop of one blade is this times the square of its flow, Pa/(m3/s)^2 at reference density."""
    lateral_resistance: float
    """Between neighbouring cells of the plenum, same form."""
    fan_shutoff: float
    """Pressure of a fan at rated speed against a closed duct, Pa at reference density."""
    fan_resistance: float
    """How a fan's pressure falls with the square of its flow, same form."""
    adapter: tuple[float, float]
    """Idle, and more at full load, W."""
    controller: float
    """W."""
    watch: dict[str, tuple[float, float]] = field(default_factory=dict)
    """What fan control looks at: the temperatures (Cel) at which a body asks for no more, and for all the air."""
    loop: Loop | None = None
    """The water of its cold plates."""


LEAKAGE_KELVIN = 70.0
"""Rise of a processor's temperature that multiplies its leakage by e."""
THROTTLE_FROM, THROTTLE_SPAN = 96.0, 8.0
"""Cel above which a processor slows itself, and K over which it goes down to :data:`THROTTLE_LEAST` of its load."""
THROTTLE_LEAST = 0.25
FLOW_EXPONENT = 0.6
"""Of conductance with flow: between laminar (0.5) and turbulent (0.8) plates (common practice, no source)."""
STILL_AIR = 0.02
"""Fan speed that would give what free convection gives when every fan stands."""
LOCKED = 4.0
"""Resistance of a rotor that stands against that of one that turns."""

_WATCH = {
    "cpu": (50.0, 88.0),
    "dimm": (46.0, 80.0),
    "regulator": (60.0, 98.0),
    "adapter": (62.0, 92.0),
    "psu": (60.0, 95.0),
}

QUAD_BODY = Body(
    design=QUAD,
    nodes=(
        Node("cpu", 0, 0, 0.50, 14.0, 260.0),
        Node("dimm", 0, 0, 0.26, 1.9, 380.0),
        Node("regulator", 0, 1, 0.30, 1.2, 90.0),
        Node("board", 0, 1, 0.45, 2.2, 520.0),
        Node("drive", 0, 2, 0.12, 0.45, 28.0),
        Node("drive", 1, 2, 0.12, 0.45, 28.0),
    ),
    rear=(
        RearNode("adapter", 0, 1, 0.25, 1.1, 140.0),
        RearNode("controller", 0, 2, 0.15, 0.35, 60.0),
        RearNode("psu", 0, 0, 0.40, 2.6, 420.0),
        RearNode("psu", 1, 3, 0.40, 2.6, 420.0),
    ),
    loads=Loads(
        cpu_idle=38.0,
        cpu_dynamic=165.0,
        cpu_leakage=14.0,
        cpu_case=0.085,
        regulator_loss=0.09,
        bank_idle=11.0,
        bank_dynamic=25.0,
        drive_idle=2.4,
        drive_dynamic=5.0,
        board=24.0,
    ),
    blade_flow=0.0220,
    blade_resistance=600_000.0,
    lateral_resistance=16_000.0,
    fan_shutoff=400.0,
    fan_resistance=165_000.0,
    adapter=(14.0, 9.0),
    controller=5.5,
    watch={**_WATCH, "drive": (52.0, 74.0)},
)

DUO_BODY = Body(
    design=DUO,
    nodes=(
        Node("drive", 0, 0, 0.20, 1.5, 130.0),
        Node("drive", 1, 0, 0.20, 1.5, 130.0),
        Node("drive", 2, 0, 0.20, 1.5, 130.0),
        Node("drive", 3, 0, 0.20, 1.5, 130.0),
        Node("cpu", 0, 1, 0.40, 14.0, 310.0),
        Node("dimm", 0, 1, 0.26, 2.0, 380.0),
        Node("cpu", 1, 2, 0.40, 14.0, 310.0),
        Node("dimm", 1, 2, 0.26, 2.0, 380.0),
        Node("regulator", 0, 3, 0.30, 2.4, 150.0),
        Node("board", 0, 3, 0.45, 3.2, 700.0),
    ),
    rear=(
        RearNode("adapter", 0, 1, 0.25, 1.1, 140.0),
        RearNode("controller", 0, 3, 0.15, 0.35, 60.0),
        RearNode("psu", 0, 0, 0.40, 2.6, 420.0),
        RearNode("psu", 1, 4, 0.40, 2.6, 420.0),
    ),
    loads=Loads(
        cpu_idle=34.0,
        cpu_dynamic=135.0,
        cpu_leakage=12.0,
        cpu_case=0.085,
        regulator_loss=0.09,
        bank_idle=9.0,
        bank_dynamic=22.0,
        drive_idle=4.5,
        drive_dynamic=8.0,
        board=34.0,
    ),
    blade_flow=0.0530,
    blade_resistance=98_000.0,
    lateral_resistance=16_000.0,
    fan_shutoff=400.0,
    fan_resistance=165_000.0,
    adapter=(9.0, 5.0),
    controller=4.5,
    watch={**_WATCH, "drive": (36.0, 58.0)},
)

LIQUID_BODY = Body(
    design=LIQUID,
    nodes=(
        Node("drive", 0, 0, 0.20, 1.5, 130.0),
        Node("drive", 1, 0, 0.20, 1.5, 130.0),
        Node("cpu", 0, 1, 0.40, 28.0, 280.0, wet=True),
        Node("cpu", 1, 1, 0.40, 28.0, 280.0, wet=True),
        Node("dimm", 0, 1, 0.30, 2.1, 400.0),
        Node("dimm", 1, 1, 0.30, 2.1, 400.0),
        Node("regulator", 0, 2, 0.30, 2.6, 160.0),
        Node("board", 0, 2, 0.45, 3.2, 720.0),
    ),
    rear=(
        RearNode("adapter", 0, 1, 0.25, 1.1, 140.0),
        RearNode("controller", 0, 2, 0.15, 0.35, 60.0),
        RearNode("psu", 0, 0, 0.40, 2.6, 420.0),
        RearNode("psu", 1, 3, 0.40, 2.6, 420.0),
    ),
    loads=Loads(
        cpu_idle=44.0,
        cpu_dynamic=205.0,
        cpu_leakage=15.0,
        cpu_case=0.075,
        regulator_loss=0.08,
        bank_idle=10.0,
        bank_dynamic=26.0,
        drive_idle=4.5,
        drive_dynamic=8.0,
        board=36.0,
    ),
    blade_flow=0.0400,
    blade_resistance=105_000.0,
    lateral_resistance=16_000.0,
    fan_shutoff=400.0,
    fan_resistance=165_000.0,
    adapter=(14.0, 9.0),
    controller=5.5,
    watch={**{name: span for name, span in _WATCH.items() if name != "cpu"}, "drive": (36.0, 58.0)},
    loop=Loop(flow=3.0, drop=28.0),
)

BODIES = {body.design.name: body for body in (QUAD_BODY, DUO_BODY, LIQUID_BODY)}
