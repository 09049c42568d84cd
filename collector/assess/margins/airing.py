"""The air through sleds and blades, worked out of power and temperatures: P = m cp dT.

The flow is that at the inlet. Bounds follow from what sensors may be off by, and from nothing else: that all of the
power goes into that air is taken for granted, but for what coolant carries off.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.assess.looking import Seen
from collector.assess.looks.usual import Usual
from collector.assess.margins import fan_laws
from collector.assess.margins.heat import air_flow, coolant_power, recirculated
from collector.assess.margins.moist_air import STANDARD_PRESSURE, density, heat_capacity, pressure_at, vapour_pressure
from collector.assess.margins.pace import Pace
from collector.assess.margins.places import Place, place_of
from collector.assess.margins.rooms import Rooms
from collector.assess.margins.steady import Calm, Teller
from collector.assess.margins.wiring import AirPath, Wiring, lineage, wire
from collector.assess.words import clip, percent
from collector.model import Figure, FigureKind, Inventory, Kind, Location, Quantity, Seconds, Sensor

KELVIN_OFF, RATIO_OFF = 0.5, 0.02
"""By how much a temperature, K, and power, ratio, may be off (common practice, no source)."""
LEAST_RISE = 2.0
"""K below which the rise is too near to what two sensors may be off by to divide by it."""
LEAST_WATTS = 20.0
WORTH_A_WORD = 1.05
"""Fan effort from which something is said of what the air passes."""
LEARNT_WITHIN = 0.05
"""Ratio to the usual air for a fan speed within which it is learnt on."""


class Air(NamedTuple):
    """Of one path, worked out."""

    rise: float
    flow: float
    low: float
    high: float
    per_kilowatt: float


def air_of(
    power: float, inlet: float, outlet: float, altitude: float = 0.0, humidity: float | None = None
) -> Air | None:
    """The air that carries ``power`` W from ``inlet`` to ``outlet``, Cel; ``humidity`` as a ratio; None where they do
    not carry it."""
    rise = outlet - inlet
    if not (power >= LEAST_WATTS and rise >= LEAST_RISE and -60.0 < inlet < 80.0):
        return None
    pressure = pressure_at(altitude) if -5000.0 <= altitude <= 11_000.0 else STANDARD_PRESSURE
    vapour = vapour_pressure(inlet, humidity) if humidity is not None and 0.0 <= humidity <= 1.0 else 0.0
    rho, cp = density(inlet, pressure, vapour), heat_capacity(vapour, pressure)
    flow = air_flow(power, rise, rho, cp)
    low = air_flow(power * (1.0 - RATIO_OFF), rise + 2.0 * KELVIN_OFF, rho, cp)
    high = air_flow(power * (1.0 + RATIO_OFF), rise - 2.0 * KELVIN_OFF, rho, cp)
    if flow is None or low is None or high is None:
        return None
    return Air(rise, flow, low, high, 1000.0 * flow / power)


def effort_words(effort: float) -> str:
    """What a fan effort means by the fan laws."""
    speed, power = percent(effort - 1.0, more=True), percent(fan_laws.power_ratio(effort) - 1.0, more=True)
    words = f"the air that was learnt at a fan speed needs {speed} speed now, and {power} fan power"
    if effort < WORTH_A_WORD:
        return words
    resistance = fan_laws.resistance_ratio(1.0 / effort) - 1.0
    return f"{words}; its passage resists {percent(resistance)} more at least, or its fans do less at their speed"


class _Liquid(NamedTuple):
    supply: int
    back: int
    flow: int


class Airing:
    """One controller's. ``rooms``: the fleet's; ``location``: where the controller is as the fleet file says."""

    def __init__(
        self,
        controller: str,
        places: Sequence[Place] = (),
        rooms: Rooms | None = None,
        location: Location | None = None,
    ) -> None:
        self._controller = controller
        self._places = tuple(places)
        self._rooms = Rooms() if rooms is None else rooms
        self._outer = location if location is not None else Location()
        self._teller = Teller(controller)
        self._pace = Pace()
        self._wiring: Wiring | None = None
        self._calm: dict[str, Calm] = {}
        self._usual: dict[str, Usual] = {}
        self._rack: str | None = None
        self._altitude = 0.0
        self._liquid: _Liquid | None = None
        self._wet = False
        self._before: dict[str, tuple[int, int, str]] = {}
        self._front: tuple[int, str, int | None] | None = None
        self._room: int | None = None
        self._names: dict[str, str] = {}
        self._hands_on = False
        """Whether it only hands power on, so that what it takes in does not become heat."""

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what is learnt stays with parts that stayed."""
        wiring = self._wiring = wire(inventory)
        sensors = inventory.layout.sensors
        self._pace.walked(inventory)
        parts = {part.id: part for part in inventory.parts}
        self._names = {part.id: clip(part.name) for part in inventory.parts}
        self._teller.keep(parts.keys())
        self._calm = {key: calm for key, calm in self._calm.items() if key.partition("|")[2] in parts}
        self._usual = {part: usual for part, usual in self._usual.items() if part in parts}
        top = next((part for part in inventory.parts if part.parent is None), None)
        told = Location() if top is None else top.location
        where = Location(
            site=told.site or self._outer.site, row=told.row or self._outer.row, rack=told.rack or self._outer.rack
        )
        self._rack = None if where.rack is None else where.text
        place = place_of(self._places, where)
        self._altitude = 0.0 if place is None else place.altitude
        supply = _first(sensors, Quantity.TEMPERATURE, "LiquidInlet")
        back = _first(sensors, Quantity.TEMPERATURE, "LiquidOutlet")
        flow = _first(sensors, Quantity.LIQUID_FLOW)
        self._wet = supply is not None or back is not None or flow is not None
        self._liquid = None
        if supply is not None and back is not None and flow is not None:
            self._liquid = _Liquid(supply, back, flow)
        self._room = _first(sensors, Quantity.TEMPERATURE, "Room")
        self._hands_on = any(part.kind is Kind.OUTLET for part in inventory.parts)
        first: dict[str, int] = {}
        for column, part in wiring.inlets:
            first.setdefault(part, column)
        self._before = {}
        for part, column in first.items():
            holder = next((each.id for each in lineage(parts[part], parts) if each.id in first), None)
            if holder is not None:
                self._before[part] = (column, first[holder], holder)
        outermost = next((part for part in first if part not in self._before), None)
        outlet = next((path.outlet for path in wiring.paths if path.part == outermost), None)
        self._front = None if outermost is None else (first[outermost], outermost, outlet)

    def round(self, seen: Seen) -> Sequence[Figure]:
        """Take a finished round; the figures that moved by enough to tell."""
        wiring = self._wiring
        if wiring is None or (values := self._pace.values(seen)) is None:
            return ()
        found: list[Figure] = []
        for path in wiring.paths:
            if path.outlet is not None and path.part not in seen.idle and not self._hands_on:
                found += self._through(path, path.outlet, values, seen.time)
        for part, (own, outer, holder) in self._before.items():
            if part in seen.idle or not (_air(values[own]) and _air(values[outer])):
                continue
            calmed = self._calmed("before", part, seen.time, (values[own], values[outer]))
            if calmed is not None:
                basis = f"its inlet air {calmed[0]:.1f} °C, that of {self._name(holder)} {calmed[1]:.1f} °C"
                found.append(self._kelvin(part, FigureKind.PREHEATING, calmed[0] - calmed[1], seen.time, basis))
        found += self._against_room(values, seen)
        return self._teller.news(found)

    def _through(self, path: AirPath, outlet: int, values: Sequence[float], now: Seconds) -> list[Figure]:
        wiring = self._wiring
        assert wiring is not None
        power, inlet, out = values[path.power], values[path.inlet], values[outlet]
        whole = path.kind is not Kind.BLADE
        if self._wet:
            heat = self._carried_off(values) if whole else None
            if heat is None:
                return []  # how much of the power goes into the air is not known
            power -= heat
        if not (LEAST_WATTS <= power < 2e5 and _air(inlet) and _air(out)):
            return []
        calmed = self._calmed("through", path.part, now, (power, inlet, out, self._speed(values)))
        if calmed is None:
            return []
        power, inlet, out, speed = calmed
        humidity = None if wiring.humidity is None else values[wiring.humidity] / 100.0
        air = air_of(power, inlet, out, self._altitude, humidity)
        rise = f"{inlet:.1f} °C to {out:.1f} °C"  # each with its unit: a page may turn both
        found = [self._kelvin(path.part, FigureKind.AIR_RISE, out - inlet, now, rise)]
        if air is None:
            return found
        basis = f"{power:.0f} W in air that warms from {rise}, at {self._altitude:g} m"
        basis += f" and {percent(humidity)} humidity" if humidity is not None and 0.0 <= humidity <= 1.0 else ""
        basis += "; what coolant carries off is taken off" if self._wet else ""
        if wiring.flow is not None and wiring.flow[1] == path.part and values[wiring.flow[0]] >= 0.0:
            basis += f"; metered {values[wiring.flow[0]]:.4f} m³/s"
        found.append(
            self._teller.figure(path.part, FigureKind.AIR_FLOW, air.flow, "m3/s", now, basis, air.low, air.high)
        )
        per, scale = FigureKind.AIR_PER_POWER, air.per_kilowatt / air.flow
        found.append(
            self._teller.figure(
                path.part, per, air.per_kilowatt, "m3/s/kW", now, basis, air.low * scale, air.high * scale
            )
        )
        if whole and wiring.fans and speed > 0.02:
            usual = self._usual.setdefault(path.part, Usual(pace=0.002, reach=0.05))
            now_per_speed = air.flow / speed
            if not usual.known or abs(now_per_speed / usual.value - 1.0) <= LEARNT_WITHIN:
                usual.learn(now, now_per_speed)
            if usual.known:
                effort = usual.value / now_per_speed
                words = f"{air.flow:.4f} m³/s at {percent(speed)} fan speed: {effort_words(effort)}"
                found.append(self._teller.figure(path.part, FigureKind.FAN_EFFORT, effort, "1", now, words))
        return found

    def _carried_off(self, values: Sequence[float]) -> float | None:
        if self._liquid is None:
            return None
        rise = values[self._liquid.back] - values[self._liquid.supply]
        flow = values[self._liquid.flow]
        return coolant_power(flow, rise) if flow >= 0.0 and -5.0 < rise < 60.0 else None

    def _speed(self, values: Sequence[float]) -> float:
        assert self._wiring is not None
        told = [values[column] * factor for column, factor in self._wiring.fans]
        turning = [ratio for ratio in told if 0.02 < ratio < 5.0]
        return sum(turning) / len(turning) if turning else 0.0

    def _against_room(self, values: Sequence[float], seen: Seen) -> list[Figure]:
        if self._rack is None:
            return []
        if self._room is not None and _air(values[self._room]):
            self._rooms.gauge(self._rack, seen.time, values[self._room])
        if self._front is None:
            return []
        column, part, outlet = self._front
        if not _air(values[column]) or part in seen.idle:
            return []
        out = values[outlet] if outlet is not None and _air(values[outlet]) else None
        calmed = self._calmed("room", part, seen.time, (values[column], values[column] if out is None else out))
        if calmed is None:
            return []
        inlet, exhaust = calmed
        self._rooms.tell(self._rack, self._controller, seen.time, inlet)
        room = self._rooms.of(self._rack, seen.time)
        if room is None:
            return []
        basis = f"inlet {inlet:.1f} °C, room {room.temperature:.1f} °C: {room.basis}"
        share = recirculated(inlet, room.temperature, exhaust) if out is not None else None
        if share is not None and inlet - room.temperature > 2.0 * KELVIN_OFF:
            basis += f"; if that is its own exhaust of {exhaust:.1f} °C, {percent(share)} of what it draws in"
        return [self._kelvin(part, FigureKind.RECIRCULATION, inlet - room.temperature, seen.time, basis)]

    def _calmed(self, what: str, part: str, now: Seconds, values: tuple[float, ...]) -> tuple[float, ...] | None:
        return self._calm.setdefault(f"{what}|{part}", Calm()).take(now, values)

    def _kelvin(self, part: str, kind: FigureKind, value: float, now: Seconds, basis: str) -> Figure:
        off = 2.0 * KELVIN_OFF
        return self._teller.figure(
            part, kind, round(value, 2), "K", now, basis, round(value - off, 2), round(value + off, 2)
        )

    def _name(self, part: str) -> str:
        return self._names.get(part, part)


def _first(sensors: Sequence[Sensor], quantity: Quantity, context: str | None = None) -> int | None:
    return next(
        (
            column
            for column, sensor in enumerate(sensors)
            if sensor.quantity is quantity and context in (None, sensor.context)
        ),
        None,
    )


def _air(value: float) -> bool:
    return -60.0 < value < 120.0
