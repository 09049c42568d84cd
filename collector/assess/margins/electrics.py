"""Sums that should agree, currents of busbars and loads of phases, worked out of what one controller tells."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from collector.assess.looking import Seen
from collector.assess.margins.feeding import Adds, feed
from collector.assess.margins.pace import Pace
from collector.assess.margins.power import Sums, busbar_current, imbalance, sums
from collector.assess.margins.steady import Calm, Teller
from collector.assess.margins.wiring import own_power, phase_of
from collector.assess.words import clip
from collector.model import Figure, FigureKind, Inventory, Kind, Quantity, Seconds, Sensor

BUS_LEAST, BUS_MOST = 10.0, 900.0
"""V between which a direct-current busbar lies: 12 V of a board to 800 V of a rack (common practice, no source)."""
_PHASE = re.compile(r"(?<![a-z0-9])(?:line|phase|l)[ _-]?([1-3]|[abc])(?![a-z0-9])", re.IGNORECASE)
_DIGIT, _STEP = re.compile(r"\d"), re.compile(r"(?<=[a-z#])(?=[A-Z])")
_PHASED = (Quantity.CURRENT, Quantity.POWER, Quantity.VOLTAGE)


class Bus(NamedTuple):
    """A direct-current busbar, and what is taken from it or put on it."""

    part: str
    volts: int
    powers: tuple[int, ...]
    """Columns whose sum that is."""
    told: int | None
    """Column of the current, where it is told as well."""


class Phases(NamedTuple):
    """The phases of one part, of one quantity."""

    part: str
    name: str
    """What they are called, ``#`` in the place of the phase."""
    columns: tuple[int, ...]
    unit: str


def phases_of(sensors: Sequence[Sensor]) -> list[Phases]:
    """Where two or three phases are told: by the places that tell them, else by names such as ``Phase L2 power``."""
    found: dict[tuple[str, Quantity, str], dict[tuple[str, ...], int]] = {}
    for column, sensor in enumerate(sensors):
        if sensor.quantity not in _PHASED:
            continue
        place = phase_of(sensor)
        if place is not None:
            phase = tuple(_DIGIT.findall(place))
            name = f"{_STEP.sub(' ', _DIGIT.sub(' #', place)).lower()} {sensor.quantity.value}"
        else:
            phase = tuple(each.lower() for each in _PHASE.findall(sensor.sensor))
            name = _PHASE.sub("#", sensor.sensor)
        if phase:
            found.setdefault((sensor.part, sensor.quantity, name), {}).setdefault(phase, column)
    return [
        Phases(part, name, tuple(columns.values()), sensors[next(iter(columns.values()))].unit)
        for (part, _, name), columns in found.items()
        if 2 <= len(columns) <= 3
    ]


def bus_of(inventory: Inventory) -> Bus | None:
    """The busbar that a sled hangs on, or that a shelf feeds; None where its voltage or its power isn't told."""
    sensors = inventory.layout.sensors
    by_part: dict[str, list[tuple[int, Sensor]]] = {}
    for column, sensor in enumerate(sensors):
        by_part.setdefault(sensor.part, []).append((column, sensor))
    shelf = any(part.kind is Kind.OUTLET for part in inventory.parts)
    for part in inventory.parts:
        if part.kind in (Kind.POWER_SUPPLY, Kind.BLADE, Kind.MODULE, Kind.CIRCUIT):
            continue
        own = by_part.get(part.id, [])
        volts = next((column for column, sensor in own if _of_bus(sensor, Quantity.VOLTAGE)), None)
        if volts is None:
            continue
        powers = _shelf_powers(inventory, by_part) if shelf else tuple(_only(own_power(own)))
        if not powers:
            return None
        told = next((column for column, sensor in own if _of_bus(sensor, Quantity.CURRENT)), None)
        return Bus(part.id, volts, powers, told)
    return None


def _shelf_powers(inventory: Inventory, by_part: dict[str, list[tuple[int, Sensor]]]) -> tuple[int, ...]:
    """What a shelf puts on its busbar: as told of that, else the sum of its outputs; never what it takes from mains."""
    for part in inventory.parts:
        if part.kind is Kind.POWER_FEED:
            own = [(column, sensor) for column, sensor in by_part.get(part.id, []) if _of_bus(sensor, Quantity.POWER)]
            if own:
                return (own[0][0],)
    outlets = [part for part in inventory.parts if part.kind is Kind.OUTLET]
    columns = [own_power(by_part.get(part.id, [])) for part in outlets]
    return tuple(column for column in columns if column is not None) if None not in columns else ()


def _of_bus(sensor: Sensor, quantity: Quantity) -> bool:
    low = sensor.sensor.lower()
    if sensor.quantity is not quantity or "rail" in low or sensor.context == "ACInput":
        return False
    return "bus" in low or sensor.context in ("DCBus", "PowerSubsystem")


def _only(column: int | None) -> list[int]:
    return [] if column is None else [column]


def sum_words(name: str, told: Sums, left: str, right: str) -> str:
    """What two sums say of each other, and which bounds they leave."""
    start = f"{name}: {left} {told.feed:.0f} W, {right} {told.parts:.0f} W"
    if told.least > 0.0:
        return f"{start}: at least {told.least:.0f} W are lost on the way, or a meter is off by more than 2 %"
    if told.most < 0.0:
        return f"{start}: more goes out than comes in, by {-told.most:.0f} W at least: a meter is off by more than 2 %"
    return f"{start}: they agree within what meters may be off by, 2 % each"


class Electrics:
    """One controller's."""

    def __init__(self, controller: str) -> None:
        self.controller = controller
        self._teller = Teller(controller)
        self._pace = Pace()
        self._sums: tuple[Adds, ...] = ()
        self._bus: Bus | None = None
        self._phases: tuple[Phases, ...] = ()
        self._names: dict[str, str] = {}
        self._calm: dict[str, Calm] = {}
        self.current: float | None = None
        """A that the sled takes from its busbar, or the shelf puts on it, as of the last look."""

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        self._pace.walked(inventory)
        self._names = {part.id: clip(part.name) for part in inventory.parts}
        self._teller.keep(self._names.keys())
        self._sums = feed(inventory).sums
        self._bus = bus_of(inventory)
        self._phases = tuple(phases_of(inventory.layout.sensors))
        known = {add.name for add in self._sums}
        self._calm = {name: calm for name, calm in self._calm.items() if name in known}

    def round(self, seen: Seen) -> Sequence[Figure]:
        """Take a finished round; the figures that moved by enough to tell."""
        values = self._pace.values(seen)
        if values is None:
            return ()
        found = [figure for add in self._sums if (figure := self._sum(add, values, seen)) is not None]
        if (figure := self._busbar(values, seen)) is not None:
            found.append(figure)
        for phases in self._phases:
            loads = [values[column] for column in phases.columns]
            apart = imbalance(loads) if phases.part not in seen.idle and min(loads) >= 0.0 else None
            if apart is not None:
                told = ", ".join(f"{load:.4g}" for load in loads)
                basis = (
                    f"{phases.name}: {told} {phases.unit}; the largest departure from their mean, over it (NEMA MG 1)"
                )
                found.append(
                    self._teller.figure(
                        phases.part, FigureKind.IMBALANCE, 100.0 * apart, "%", seen.time, basis, of=phases.name
                    )
                )
        return self._teller.news(found)

    def _sum(self, add: Adds, values: Sequence[float], seen: Seen) -> Figure | None:
        left, right = add.left(values), add.right(values)
        if add.part in seen.idle or left is None or right is None or not max(left, right) < 1e6:
            return None
        calmed = self._calm.setdefault(add.name, Calm()).take(seen.time, (left, right))
        told = None if calmed is None else sums(calmed[0], [calmed[1]])
        if told is None:
            return None
        basis = sum_words(self._names.get(add.part, add.part), told, add.left_text, add.right_text)
        of = add.name.partition("|")[0]
        return self._teller.figure(
            add.part, FigureKind.UNACCOUNTED, told.missing, "W", seen.time, basis, told.least, told.most, of
        )

    def _busbar(self, values: Sequence[float], seen: Seen) -> Figure | None:
        bus, self.current = self._bus, None
        if bus is None or bus.part in seen.idle:
            return None
        volts, power = values[bus.volts], sum(values[column] for column in bus.powers)
        if not (BUS_LEAST < volts < BUS_MOST and 0.0 <= power < 1e6):
            return None
        current = self.current = busbar_current(power, volts)
        if current is None:
            return None
        told = None if bus.told is None else values[bus.told]
        basis = f"{power:.0f} W at {volts:.2f} V"
        basis += f"; told: {told:.1f} A" if told is not None and told == told else ""
        return self._teller.figure(bus.part, FigureKind.BUSBAR_CURRENT, current, "A", seen.time, basis)
