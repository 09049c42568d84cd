"""Power shelves: what they draw and deliver, how warm their rectifiers get, and what their sensors are.

The sleds of a rack draw from busbars that hang on its shelf; so the shelf delivers what they take in plus what the
conductors lose. The supplies share the load. Constants are invented and common for such shelves (no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np

from simulators.chance import Floats, Keys, Wander, spread
from simulators.designs import ShelfDesign
from simulators.knobs import Knobs
from simulators.parts import MAINS, Shelf
from simulators.power import BUSBAR_OPEN
from simulators.sensors import Column, Layout
from simulators.telemetry import Quantity, SensorSpec, Thresholds

MAINS_VOLTS, MAINS_HERTZ = 231.0, 50.0
_VOLTS_WANDER, _HERTZ_WANDER = 2.5, 0.03
POWER_FACTOR = 0.99
"""Of the rectifiers' input: active over apparent power."""
_FIXED, _LINEAR, _SQUARE = 18.0, 0.008, 3.2e-6
"""Loss of a 3 kW rectifier: W, part of the output, 1/W; about 97.5 % at half load."""
_TO_AIR = 2.4
"""From a rectifier to the air that its own fan draws, W/K."""
_CAPACITY = 1400.0
"""Of a rectifier, J/K."""
_CONTROLLER = 6.0
"""Of the shelf's own controller, W."""
_LEAST_MAINS = 160.0
"""V, below which a rectifier switches itself off; common practice, no source."""
_LIMIT = 1.10
"""Part of its rating at which a rectifier limits its current; common practice, no source."""


def loss(output: Floats) -> Floats:
    """Heat that a rectifier makes while it puts out so much, W."""
    return _FIXED + output * (_LINEAR + _SQUARE * output)


class Shelves:
    """All power shelves of a site; ``(S, …)`` arrays as for sleds."""

    def __init__(self, shelves: Sequence[Shelf], keys: Keys) -> None:
        """``keys``: one a shelf, for the spread among parts of one make."""
        self.shelves = list(shelves)
        count = len(self.shelves)
        supplies = max((shelf.design.supplies for shelf in self.shelves), default=0)
        self.outlets = max((len(shelf.outlets) for shelf in self.shelves), default=0)
        self.knobs = Knobs(None, count, supplies=supplies, outlets=self.outlets)
        uneven = (
            np.stack([spread(keys, 0.02, 20 + k) for k in range(supplies)], axis=1) if supplies else np.ones((0, 0))
        )
        self._part: Floats = uneven / uneven.sum(axis=1, keepdims=True) if supplies else uneven
        """How the supplies of each shelf share its load."""
        self._volts = [Wander(keys + np.uint64(k), 600.0) for k in range(len(MAINS))]
        self._hertz = Wander(np.asarray([1], dtype=np.uint64), 45.0)
        self.mains = np.full((len(MAINS), count), MAINS_VOLTS)
        self.hertz = MAINS_HERTZ
        self.inlet = np.full(count, 24.0)
        self.rectifier = np.full((supplies, count), 40.0)
        """Cel."""
        self.output = np.zeros((supplies, count))
        """W."""
        self.input = np.zeros((supplies, count))
        """W."""
        self.outlet_current = np.zeros((self.outlets, count))
        """A."""
        self.works = np.ones((supplies, count))
        """1 for each rectifier that is sound and has mains, else 0."""
        self.bus = np.full(count, BUSBAR_OPEN)
        """Voltage of the busbar at the shelf, V; 0 where nothing feeds it."""
        self.strain = np.zeros(count)
        """Load as a part of what the rectifiers that work can give for long."""
        self.energy = np.zeros(count)
        """Taken in since the start, J."""
        self._sources: dict[str, Floats] = {}

    def step(self, seconds: float, time: float, inlet: Floats, current: Floats, *, hurry: float = 1.0) -> None:
        """Let ``seconds`` pass with that air (Cel, (S,)) and that current from each outlet (A, (outlets, S))."""
        self.inlet, self.outlet_current, self._sources = inlet, current, {}
        volts = np.stack([MAINS_VOLTS + _VOLTS_WANDER * course.at(time) for course in self._volts])
        self.mains = volts * self.knobs.mains.T
        self.hertz = MAINS_HERTZ + _HERTZ_WANDER * float(self._hertz.at(time)[0])
        rated = np.asarray([shelf.design.supply.capacity for shelf in self.shelves])
        feeds = self.mains[np.arange(len(self.output)) % len(MAINS)]
        self.works = self.knobs.supply_on.T * (feeds > _LEAST_MAINS)
        able = self.works.sum(axis=0) * rated
        total = BUSBAR_OPEN * current.sum(axis=0) + _CONTROLLER
        self.strain = total / np.maximum(able, 1.0)
        # At their limit of current the rectifiers let the voltage go.
        self.bus = BUSBAR_OPEN * np.minimum(1.0, _LIMIT / np.maximum(self.strain, _LIMIT)) * (able > 0.0)
        part = self._part * self.works.T
        part = part / np.maximum(part.sum(axis=1, keepdims=True), 1e-9)
        self.output = (part * (self.power() + _CONTROLLER * (able > 0.0))[:, None]).T
        lost = loss(self.output) * self.works
        self.input = self.output + lost
        rest = inlet + lost / _TO_AIR
        self.rectifier = rest + (self.rectifier - rest) * math.exp(-_TO_AIR * seconds * hurry / _CAPACITY)
        self.energy += self.input.sum(axis=0) * seconds

    def forget_energy(self) -> None:
        """Start the energy counter at zero."""
        self.energy[:] = 0.0

    def power(self) -> Floats:
        """Delivered onto the busbars, W, (S,)."""
        power: Floats = self.bus * self.outlet_current.sum(axis=0)
        return power

    def input_current(self) -> Floats:
        """Of every supply, A: it also draws what is not active power."""
        fed = np.stack([self.mains[k % len(MAINS)] for k in range(len(self.input))])
        amps: Floats = self.input / (np.maximum(fed, 1.0) * POWER_FACTOR)
        return amps

    def sources(self) -> dict[str, Floats]:
        """The variables that have sensors, as (likes, S); see :meth:`simulators.sleds.Sleds.sources`."""
        if not self._sources:
            amps = self.input_current()
            count = len(self.shelves)
            feeds = len(MAINS)
            self._sources = {
                "inlet": self.inlet[None],
                "mains": self.mains,
                "mains_current": np.stack([amps[k::feeds].sum(axis=0) for k in range(feeds)]),
                "mains_power": np.stack([self.input[k::feeds].sum(axis=0) for k in range(feeds)]),
                "hertz": np.full((1, count), self.hertz),
                "bus_voltage": self.bus[None],
                "bus_current": self.outlet_current.sum(axis=0)[None],
                "bus_power": self.power()[None],
                "input": self.input.sum(axis=0)[None],
                "rectifier": self.rectifier,
                "supply_input": self.input,
                "supply_output": self.output,
                "outlet_current": self.outlet_current,
                "outlet_power": self.bus * self.outlet_current,
            }
        return self._sources


_AIR = Thresholds(upper_caution=35.0, upper_critical=40.0, lower_caution=8.0, lower_critical=3.0)
_HOT = Thresholds(upper_caution=85.0, upper_critical=95.0, upper_fatal=105.0)
_VOLTS = Thresholds(upper_caution=250.0, upper_critical=260.0, lower_caution=207.0, lower_critical=196.0)
_BUS = Thresholds(upper_caution=54.0, upper_critical=57.0, lower_caution=48.0, lower_critical=46.0)
_GRADE = {
    Quantity.POWER: (1.0, 0.5, 0.005),
    Quantity.CURRENT: (0.1, 0.05, 0.005),
    Quantity.VOLTAGE: (0.01, 0.004, 0.001),
    Quantity.TEMPERATURE: (0.5, 0.15, 0.0),
    Quantity.FREQUENCY: (0.01, 0.004, 0.0),
}
"""Resolution, noise and gain of the shelves' sensors."""


@cache
def shelf_layout(design: ShelfDesign, outlets: int) -> Layout:
    """All sensors of a shelf that feeds so many enclosures; part paths below an empty name."""
    pairs = list(_sensors(design, outlets))
    return Layout(tuple(spec for spec, _ in pairs), tuple(column for _, column in pairs))


def _sensors(design: ShelfDesign, outlets: int) -> Iterator[tuple[SensorSpec, Column]]:
    rated = design.capacity

    def spec(
        id: str,
        label: str,
        part: str,
        quantity: Quantity,
        context: str,
        high: float,
        limits: Thresholds = Thresholds(),  # noqa: B008 - frozen
        output: bool | None = None,
    ) -> SensorSpec:
        resolution, noise, gain = _GRADE[quantity]
        return SensorSpec(
            id=id,
            label=label,
            part=part,
            quantity=quantity,
            context=context,
            low=-20.0 if quantity is Quantity.TEMPERATURE else 0.0,
            high=high,
            resolution=resolution,
            noise=noise,
            bias=0.3 if quantity is Quantity.TEMPERATURE else 0.0,
            gain=gain,
            thresholds=limits,
            output=output,
        )

    T, P, V, A = Quantity.TEMPERATURE, Quantity.POWER, Quantity.VOLTAGE, Quantity.CURRENT
    yield spec("ShelfInlet", "Shelf inlet air temperature", "", T, "Intake", 127.0, _AIR), Column("inlet")
    yield spec("BusVoltage", "Busbar voltage", "", V, "DCBus", 75.0, _BUS, True), Column("bus_voltage")
    yield spec("BusCurrent", "Busbar current", "", A, "DCBus", 500.0, output=True), Column("bus_current")
    full = Thresholds(upper_caution=round(0.9 * rated), upper_critical=round(rated))
    yield spec("BusPower", "Busbar power", "", P, "DCBus", 2.0 * rated, full, True), Column("bus_power")
    yield spec("ShelfInput", "Shelf input power", "", P, "ACInput", 2.0 * rated, output=False), Column("input")
    hertz = Thresholds(upper_caution=51.0, upper_critical=52.0, lower_caution=49.0, lower_critical=48.0)
    yield (
        spec("MainsFrequency", "Mains frequency", "/mainsa", Quantity.FREQUENCY, "ACInput", 100.0, hertz),
        Column("hertz"),
    )
    for k, name in enumerate(MAINS):
        part, label = f"/mains{name.lower()}", f"Feed {name}"
        yield (
            spec(f"Mains{name}Voltage", f"{label} voltage", part, V, "ACInput", 400.0, _VOLTS, False),
            Column("mains", k),
        )
        yield (
            spec(f"Mains{name}Current", f"{label} current", part, A, "ACInput", 80.0, output=False),
            Column("mains_current", k),
        )
        yield (
            spec(f"Mains{name}Power", f"{label} power", part, P, "ACInput", 2.0 * rated, output=False),
            Column("mains_power", k),
        )
    most = 2.0 * design.supply.capacity
    for k in range(design.supplies):
        part, id, label = f"/psu{k + 1}", f"Psu{k + 1}", f"PSU {k + 1}"
        yield spec(id, f"{label} temperature", part, T, "Rectifier", 127.0, _HOT), Column("rectifier", k)
        yield (
            spec(f"{id}Input", f"{label} input power", part, P, "Rectifier", most, output=False),
            Column("supply_input", k),
        )
        yield (
            spec(f"{id}Output", f"{label} output power", part, P, "Rectifier", most, output=True),
            Column("supply_output", k),
        )
    for k in range(outlets):
        part, id, label = f"/outlet{k + 1}", f"Outlet{k + 1}", f"Busbar output {k + 1}"
        yield (
            spec(f"{id}Current", f"{label} current", part, A, "PowerOutlet", 250.0, output=True),
            Column("outlet_current", k),
        )
        yield (
            spec(f"{id}Power", f"{label} power", part, P, "PowerOutlet", rated, output=True),
            Column("outlet_power", k),
        )
