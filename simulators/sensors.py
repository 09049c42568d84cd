"""Which sensors a sled of a design carries: one fixed order per design, so that physics can fill it as a column.

A sensor's id is safe in a URI and the same in every sled of a design, e.g. ``Blade2Cpu0``. Thresholds are those that
an invented maker would print: well outside what a healthy sled does, inside what its parts survive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from simulators.designs import DESIGNS, SledDesign
from simulators.site import Sled
from simulators.telemetry import Quantity, SensorSpec, Thresholds

MEMORY_BANK = 8
"""Memory modules that share one thermistor."""

_AIR_IN = Thresholds(upper_caution=33.0, upper_critical=38.0, upper_fatal=45.0, lower_caution=8.0, lower_critical=3.0)
_AIR_OUT = Thresholds(upper_caution=66.0, upper_critical=74.0)
_CPU = Thresholds(upper_caution=91.0, upper_critical=97.0, upper_fatal=105.0)
_MEMORY = Thresholds(upper_caution=82.0, upper_critical=87.0, upper_fatal=95.0)
_REGULATOR = Thresholds(upper_caution=100.0, upper_critical=110.0, upper_fatal=120.0)
_FRONT_DRIVE = Thresholds(upper_caution=60.0, upper_critical=68.0, upper_fatal=75.0)
_BOARD_DRIVE = Thresholds(upper_caution=75.0, upper_critical=80.0, upper_fatal=85.0)
_SMALL_CHIP = Thresholds(upper_caution=92.0, upper_critical=100.0, upper_fatal=108.0)
_CONVERTER = Thresholds(upper_caution=95.0, upper_critical=105.0, upper_fatal=115.0)
_PLANE = Thresholds(upper_caution=12.6, upper_critical=13.2, lower_caution=11.4, lower_critical=10.8, lower_fatal=10.2)
_BUSBAR = Thresholds(upper_caution=54.0, upper_critical=57.0, lower_caution=46.0, lower_critical=43.0)
_TACH = Thresholds(lower_caution=2400.0, lower_critical=1200.0)
_DAMP = Thresholds(upper_caution=80.0, upper_critical=90.0, lower_caution=12.0, lower_critical=8.0)


@dataclass(frozen=True, slots=True)
class Column:
    """Where a sensor's true value comes from: the name of a physical variable and the indices into it."""

    source: str
    index: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Layout:
    """All sensors of a design in their fixed order; ``specs`` hold part paths below an empty sled name."""

    specs: tuple[SensorSpec, ...]
    columns: tuple[Column, ...]


def _temperature(
    id: str, label: str, part: str, context: str, limits: Thresholds, *, resolution: float = 0.5, noise: float = 0.15
) -> SensorSpec:
    return SensorSpec(
        id=id,
        label=f"{label} temperature",
        part=part,
        quantity=Quantity.TEMPERATURE,
        context=context,
        low=-20.0,
        high=127.0,
        resolution=resolution,
        noise=noise,
        thresholds=limits,
    )


def _power(id: str, label: str, part: str, context: str, high: float, *, output: bool) -> SensorSpec:
    return SensorSpec(
        id=id,
        label=f"{label} power",
        part=part,
        quantity=Quantity.POWER,
        context=context,
        low=0.0,
        high=high,
        resolution=1.0,
        noise=0.4,
        output=output,
    )


def _blade_sensors(design: SledDesign, n: int) -> Iterator[tuple[SensorSpec, Column]]:
    board, i = design.blade, n - 1
    part, id, label = f"/blade{n}", f"Blade{n}", f"Blade {n}"
    yield _temperature(f"{id}Inlet", f"{label} inlet air", part, "Intake", _AIR_IN), Column("blade_inlet", (i,))
    yield _temperature(f"{id}Outlet", f"{label} outlet air", part, "Exhaust", _AIR_OUT), Column("blade_outlet", (i,))
    for k in range(board.processors):
        spec = _temperature(f"{id}Cpu{k}", f"{label} CPU {k}", f"{part}/cpu{k}", "CPU", _CPU, resolution=1.0, noise=0.3)
        yield spec, Column("cpu", (i, k))
    for k in range(board.memories // MEMORY_BANK):
        bank = "AB"[k]
        spec = _temperature(f"{id}Dimm{bank}", f"{label} memory bank {bank}", part, "Memory", _MEMORY)
        yield spec, Column("dimm", (i, k))
    spec = _temperature(
        f"{id}Regulator", f"{label} regulator", part, "VoltageRegulator", _REGULATOR, resolution=1.0, noise=0.3
    )
    yield spec, Column("regulator", (i,))
    drive = _FRONT_DRIVE if board.bays else _BOARD_DRIVE
    for k in range(board.drives):
        spec = _temperature(
            f"{id}Drive{k}", f"{label} drive {k}", f"{part}/drive{k}", "StorageDevice", drive, resolution=1.0, noise=0.2
        )
        yield spec, Column("drive", (i, k))
    limit = Thresholds(upper_caution=round(1.08 * board.max_power), upper_critical=round(1.2 * board.max_power))
    spec = _power(f"{id}Power", f"{label} input", part, "Board", 1000.0, output=False)
    yield replace(spec, thresholds=limit), Column("blade_power", (i,))
    yield (
        SensorSpec(
            id=f"{id}Volt12",
            label=f"{label} 12 V input voltage",
            part=part,
            quantity=Quantity.VOLTAGE,
            context="Board",
            low=0.0,
            high=16.0,
            resolution=0.01,
            noise=0.005,
            thresholds=_PLANE,
            output=False,
        ),
        Column("blade_voltage", (i,)),
    )
    yield (
        SensorSpec(
            id=f"{id}Current",
            label=f"{label} 12 V input current",
            part=part,
            quantity=Quantity.CURRENT,
            context="Board",
            low=0.0,
            high=80.0,
            resolution=0.1,
            noise=0.05,
            output=False,
        ),
        Column("blade_current", (i,)),
    )


def _shared_sensors(design: SledDesign, *, flow: bool) -> Iterator[tuple[SensorSpec, Column]]:
    yield _temperature("SledInlet", "Sled inlet air", "", "Intake", _AIR_IN), Column("inlet")
    yield (
        SensorSpec(
            id="SledHumidity",
            label="Sled inlet relative humidity",
            part="",
            quantity=Quantity.HUMIDITY,
            context="Intake",
            low=0.0,
            high=100.0,
            resolution=1.0,
            noise=0.4,
            thresholds=_DAMP,
        ),
        Column("humidity"),
    )
    yield _temperature("SledExhaust", "Sled exhaust air", "", "Exhaust", _AIR_OUT), Column("exhaust")
    if flow:
        yield (
            SensorSpec(
                id="SledAirFlow",
                label="Sled air flow",
                part="",
                quantity=Quantity.AIR_FLOW,
                context="Chassis",
                low=0.0,
                high=20.0,
                resolution=0.01,
                noise=0.005,
            ),
            Column("air_flow"),
        )
    for k in range(design.fans):
        yield (
            SensorSpec(
                id=f"Fan{k + 1}Tach",
                label=f"Fan {k + 1} speed",
                part=f"/fan{k + 1}",
                quantity=Quantity.ROTATION,
                context="Fan",
                low=0.0,
                high=20_000.0,
                resolution=30.0,
                noise=20.0,
                thresholds=_TACH,
                rated=float(design.fan.rated_rpm),
            ),
            Column("rpm", (k,)),
        )
    yield _power("FanPower", "All fans", "", "CoolingSubsystem", 400.0, output=False), Column("fans_power")
    chips = (
        ("Adapter", "Network adapter", "/adapter", "NetworkingDevice"),
        ("Controller", "Controller", "/controller", "Manager"),
    )
    for k, (id, label, part, context) in enumerate(chips):
        spec = _temperature(id, label, part, context, _SMALL_CHIP, resolution=1.0, noise=0.3)
        yield spec, Column(("adapter", "controller")[k])
    for k, supply in enumerate(design.power_supplies):
        part, id, label = f"/psu{k + 1}", f"Psu{k + 1}", f"PSU {k + 1}"
        high = 2.0 * supply.capacity
        yield _temperature(id, label, part, "PowerSupply", _CONVERTER, resolution=1.0, noise=0.3), Column("psu", (k,))
        yield _power(f"{id}Input", f"{label} input", part, "PowerSupply", high, output=False), Column("psu_input", (k,))
        yield (
            _power(f"{id}Output", f"{label} output", part, "PowerSupply", high, output=True),
            Column("psu_output", (k,)),
        )
    yield (
        SensorSpec(
            id="FeedVoltage",
            label="Busbar voltage",
            part="",
            quantity=Quantity.VOLTAGE,
            context="DCBus",
            low=0.0,
            high=75.0,
            resolution=0.05,
            noise=0.02,
            thresholds=_BUSBAR,
            output=False,
        ),
        Column("feed_voltage"),
    )
    yield (
        SensorSpec(
            id="FeedCurrent",
            label="Busbar current",
            part="",
            quantity=Quantity.CURRENT,
            context="DCBus",
            low=0.0,
            high=100.0,
            resolution=0.1,
            noise=0.05,
            output=False,
        ),
        Column("feed_current"),
    )
    capacity = sum(supply.capacity for supply in design.power_supplies) / 2
    limit = Thresholds(upper_caution=round(0.95 * capacity), upper_critical=round(1.05 * capacity))
    spec = _power("FeedPower", "Sled input", "", "DCBus", 4000.0, output=False)
    yield replace(spec, thresholds=limit), Column("feed_power")


@cache
def layout(design: str, *, flow: bool) -> Layout:
    """All sensors of a design (by its name); ``flow`` where the controller also tells the total air flow."""
    what = DESIGNS[design]
    pairs = list(_shared_sensors(what, flow=flow))
    for slot in what.slots:
        pairs += _blade_sensors(what, slot.number)
    return Layout(tuple(spec for spec, _ in pairs), tuple(column for _, column in pairs))


def layout_of(sled: Sled) -> Layout:
    """The layout of a sled's design and dialect: only the modern dialect has a word for air flow."""
    return layout(sled.design.name, flow=sled.dialect == "modern")


def specs_of(sled: Sled) -> tuple[SensorSpec, ...]:
    """The sensors of a sled, with their parts' full paths."""
    return tuple(replace(spec, part=f"{sled.path}{spec.part}") for spec in layout_of(sled).specs)
