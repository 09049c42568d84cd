"""Which sensors a sled of a design carries: one fixed order per design, so that physics can fill it as a column.

A sensor's id is safe in a URI and the same in every sled of a design, e.g. ``Blade2Cpu0``. Thresholds are those that
an invented maker would print: well outside what a healthy sled does, inside what its parts survive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from simulators.designs import DESIGNS, SledDesign
from simulators.site import OLDER_MODEL, Sled
from simulators.telemetry import Quantity, SensorSpec, Thresholds

MEMORY_BANK = 8
"""Memory modules that share one thermistor."""

_OLDER_WORDS = frozenset({Quantity.TEMPERATURE, Quantity.VOLTAGE, Quantity.POWER, Quantity.ROTATION})
"""What the rows of Thermal and Power can hold (DSP8010: Thermal_v1.xml, Power_v1.xml)."""
_NONE = Thresholds()
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
_SUPPLY = Thresholds(upper_caution=42.0, upper_critical=48.0, lower_caution=16.0, lower_critical=10.0)
_RETURN = Thresholds(upper_caution=58.0, upper_critical=65.0)
_FLOW = Thresholds(lower_caution=2.2, lower_critical=1.4)
_DAMP = Thresholds(upper_caution=80.0, upper_critical=90.0, lower_caution=12.0, lower_critical=8.0)


@dataclass(frozen=True, slots=True)
class Column:
    """Where a sensor's true value comes from: a physical variable of :meth:`simulators.sleds.Sleds.sources`."""

    source: str
    body: int = 0
    """Which of its like: processor, fan, converter…"""
    blade: int | None = None
    """Index of the blade, for what blades have."""

    def place(self, sled: int) -> tuple[int, ...]:
        """Where the variable's array holds the value of a sled."""
        return (self.body, sled) if self.blade is None else (self.body, sled, self.blade)


@dataclass(frozen=True, slots=True)
class Layout:
    """All sensors of a design in their fixed order; ``specs`` hold part paths below an empty sled name."""

    specs: tuple[SensorSpec, ...]
    columns: tuple[Column, ...]


def _temperature(
    id: str, label: str, part: str, context: str, limits: Thresholds, *, resolution: float = 0.5
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
        noise=0.15 if resolution < 1.0 else 0.3,
        bias=0.3 if resolution < 1.0 else 0.5,
        thresholds=limits,
    )


_ELECTRIC = {
    Quantity.POWER: (1.0, 0.4, 0.005),
    Quantity.CURRENT: (0.1, 0.05, 0.005),
    Quantity.VOLTAGE: (0.01, 0.004, 0.001),
}
"""Resolution, noise and gain of electrical sensors."""


def _electric(
    id: str,
    label: str,
    part: str,
    quantity: Quantity,
    context: str,
    high: float,
    *,
    output: bool = False,
    limits: Thresholds = _NONE,
) -> SensorSpec:
    resolution, noise, gain = _ELECTRIC[quantity]
    return SensorSpec(
        id=id,
        label=f"{label} {quantity.lower()}",
        part=part,
        quantity=quantity,
        context=context,
        low=0.0,
        high=high,
        resolution=resolution,
        noise=noise,
        gain=gain,
        thresholds=limits,
        output=output,
    )


def _blade_sensors(design: SledDesign, n: int) -> Iterator[tuple[SensorSpec, Column]]:
    board, i = design.blade, n - 1
    part, id, label = f"/blade{n}", f"Blade{n}", f"Blade {n}"
    yield _temperature(f"{id}Inlet", f"{label} inlet air", part, "Intake", _AIR_IN), Column("blade_inlet", blade=i)
    yield _temperature(f"{id}Outlet", f"{label} outlet air", part, "Exhaust", _AIR_OUT), Column("blade_outlet", blade=i)
    for k in range(board.processors):
        spec = _temperature(f"{id}Cpu{k}", f"{label} CPU {k}", f"{part}/cpu{k}", "CPU", _CPU, resolution=1.0)
        yield spec, Column("cpu", k, i)
    for k in range(board.memories // MEMORY_BANK):
        spec = _temperature(f"{id}Dimm{'AB'[k]}", f"{label} memory bank {'AB'[k]}", part, "Memory", _MEMORY)
        yield spec, Column("dimm", k, i)
    spec = _temperature(f"{id}Regulator", f"{label} regulator", part, "VoltageRegulator", _REGULATOR, resolution=1.0)
    yield spec, Column("regulator", blade=i)
    limits = _FRONT_DRIVE if board.bays else _BOARD_DRIVE
    for k in range(board.drives):
        where = f"{part}/drive{k}"
        spec = _temperature(f"{id}Drive{k}", f"{label} drive {k}", where, "StorageDevice", limits, resolution=1.0)
        yield spec, Column("drive", k, i)
    limits = Thresholds(upper_caution=round(1.08 * board.max_power), upper_critical=round(1.2 * board.max_power))
    spec = _electric(f"{id}Power", f"{label} input", part, Quantity.POWER, "Board", 1000.0, limits=limits)
    yield spec, Column("blade_power", blade=i)
    spec = _electric(f"{id}Volt12", f"{label} 12 V input", part, Quantity.VOLTAGE, "Board", 16.0, limits=_PLANE)
    yield spec, Column("blade_voltage", blade=i)
    spec = _electric(f"{id}Current", f"{label} 12 V input", part, Quantity.CURRENT, "Board", 80.0)
    yield spec, Column("blade_current", blade=i)


def _air_sensors(*, flow: bool) -> Iterator[tuple[SensorSpec, Column]]:
    yield _temperature("SledInlet", "Sled inlet air", "", "Intake", _AIR_IN), Column("inlet")
    spec = SensorSpec(
        id="SledHumidity",
        label="Sled inlet relative humidity",
        part="",
        quantity=Quantity.HUMIDITY,
        context="Intake",
        low=0.0,
        high=100.0,
        resolution=1.0,
        noise=0.4,
        bias=1.5,
        thresholds=_DAMP,
    )
    yield spec, Column("humidity")
    yield _temperature("SledExhaust", "Sled exhaust air", "", "Exhaust", _AIR_OUT), Column("exhaust")
    if flow:
        spec = SensorSpec(
            id="SledAirFlow",
            label="Sled air flow",
            part="",
            quantity=Quantity.AIR_FLOW,
            context="Chassis",
            low=0.0,
            high=20.0,
            resolution=0.01,
            noise=0.01,
            gain=0.02,
        )
        yield spec, Column("air_flow")


def _shared_sensors(design: SledDesign) -> Iterator[tuple[SensorSpec, Column]]:
    for k in range(design.fans):
        spec = SensorSpec(
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
        )
        yield spec, Column("rpm", k)
    yield _electric("FanPower", "All fans", "", Quantity.POWER, "CoolingSubsystem", 400.0), Column("fans_power")
    spec = _temperature("Adapter", "Network adapter", "/adapter", "NetworkingDevice", _SMALL_CHIP, resolution=1.0)
    yield spec, Column("adapter")
    spec = _temperature("Controller", "Controller", "/controller", "Manager", _SMALL_CHIP, resolution=1.0)
    yield spec, Column("controller")
    for k, supply in enumerate(design.power_supplies):
        part, id, label, high = f"/psu{k + 1}", f"Psu{k + 1}", f"PSU {k + 1}", 2.0 * supply.capacity
        spec = _temperature(id, label, part, "PowerSupply", _CONVERTER, resolution=1.0)
        yield spec, Column("psu", k)
        yield (
            _electric(f"{id}Input", f"{label} input", part, Quantity.POWER, "PowerSupply", high),
            Column("psu_input", k),
        )
        yield (
            _electric(f"{id}Output", f"{label} output", part, Quantity.POWER, "PowerSupply", high, output=True),
            Column("psu_output", k),
        )
    yield (
        _electric("FeedVoltage", "Busbar", "", Quantity.VOLTAGE, "DCBus", 75.0, limits=_BUSBAR),
        Column("feed_voltage"),
    )
    yield _electric("FeedCurrent", "Busbar", "", Quantity.CURRENT, "DCBus", 100.0), Column("feed_current")
    # One converter alone must carry the sled.
    capacity = min(supply.capacity for supply in design.power_supplies)
    limits = Thresholds(upper_caution=round(0.95 * capacity), upper_critical=round(1.05 * capacity))
    yield _electric("FeedPower", "Sled input", "", Quantity.POWER, "DCBus", 4000.0, limits=limits), Column("feed_power")


def _coolant_sensors() -> Iterator[tuple[SensorSpec, Column]]:
    part = "/coolant"
    spec = _temperature("CoolantSupply", "Coolant supply", part, "LiquidInlet", _SUPPLY, resolution=0.1)
    yield spec, Column("coolant_supply")
    spec = _temperature("CoolantReturn", "Coolant return", part, "LiquidOutlet", _RETURN, resolution=0.1)
    yield spec, Column("coolant_return")
    for id, label, quantity, high, resolution, limits in (
        ("CoolantFlow", "Coolant flow", Quantity.LIQUID_FLOW, 12.0, 0.01, _FLOW),
        ("CoolantDrop", "Coolant pressure drop", Quantity.PRESSURE, 200.0, 0.1, _NONE),
        ("CoolantHeat", "Heat removed by coolant", Quantity.HEAT, 4.0, 0.001, _NONE),
    ):
        spec = SensorSpec(
            id=id,
            label=label,
            part=part,
            quantity=quantity,
            context="CoolingSubsystem",
            low=0.0,
            high=high,
            resolution=resolution,
            noise=2.0 * resolution,
            gain=0.005,
            thresholds=limits,
        )
        yield spec, Column(id.replace("Coolant", "coolant_").lower())


@cache
def layout(design: str, *, flow: bool) -> Layout:
    """All sensors of a design (by its name); ``flow`` where the controller also tells the total air flow."""
    what = DESIGNS[design]
    pairs = [*_air_sensors(flow=flow), *_shared_sensors(what)]
    if what.connector is not None:
        pairs += _coolant_sensors()
    for slot in what.slots:
        pairs += _blade_sensors(what, slot.number)
    return Layout(tuple(spec for spec, _ in pairs), tuple(column for _, column in pairs))


def has_words_for(sled: Sled, quantity: Quantity) -> bool:
    """Whether the sled's controller has a word for what a sensor measures: the older model has few."""
    return quantity in _OLDER_WORDS or sled.dialect not in OLDER_MODEL


def layout_of(sled: Sled) -> Layout:
    """The layout of a sled's design and dialect: only the newer model has a word for air flow."""
    return layout(sled.design.name, flow=sled.dialect not in OLDER_MODEL)


def specs_of(sled: Sled) -> tuple[SensorSpec, ...]:
    """The sensors of a sled, with their parts' full paths."""
    return tuple(replace(spec, part=f"{sled.path}{spec.part}") for spec in layout_of(sled).specs)
