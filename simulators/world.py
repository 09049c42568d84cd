"""The invented fleet in simulated time: everything that a service needs to know of it, and all that can be done to it.

No clock is read and nothing is done behind the caller's back: time passes in :meth:`World.advance` only. The physics
runs on a fixed grid of steps, so many small advances and one large one end in the same state, bit by bit.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulators import air, coolant, power
from simulators.bodies import BODIES
from simulators.chance import Floats, Wander, key, uniform
from simulators.faults import Argument, Arguments, FaultError, Target, check, complete, known
from simulators.knobs import Knobs
from simulators.report import Reporter, has_lamp
from simulators.shelf_report import ShelfReporter
from simulators.shelves import Shelves
from simulators.site import Shelf, Site, Sled
from simulators.sleds import Around, Sleds
from simulators.telemetry import SledTelemetry
from simulators.workload import Workload

START = 1_790_000_000.0
"""2026-09-21T13:33:20Z: when simulated time starts unless told otherwise, epoch seconds."""

ROOM = 22.6
"""Mean air temperature of a cold aisle at the floor, Cel."""
_ROOM_DAILY, _ROOM_WANDER = 0.7, 0.5
_HEIGHT = 0.030
"""Warmer for each rack unit above the floor, K."""
_RECIRCULATION = (0.008, 0.022)
"""Part of the hot aisle's air that comes round to a sled's front: at the floor, and more at the top of the rack."""
_AISLE_SECONDS = 90.0
"""In which the air behind a rack takes on a new exhaust temperature, to all but 1/e."""
_DEW_POINT, _DEW_WANDER = 10.0, 1.2
_WATER_WANDER = 0.5
"""How far the coolant's supply temperature wanders, K."""
_SETTLING_STEPS = 100
_SETTLING_HURRY = 25.0
_REPORTS_KEPT = 64
"""Newest reports kept, so that the several requests of one poll round are answered from one report."""


class ActiveFault(NamedTuple):
    """A fault that is on."""

    fault: str
    part: str
    since: float
    """Simulated time, epoch seconds."""
    until: float | None
    """When it ends by itself; None when it does not."""
    arguments: dict[str, Argument]


class Truth(NamedTuple):
    """What is physically so in one sled, for tests and for scoring; no controller knows it."""

    electrical_in: float
    """W."""
    heat_to_air: float
    """W; mean over the last step."""
    mass_flow: float
    """Of air, kg/s."""
    heat_capacity: float
    """Of that air, J/(kg K)."""
    density: float
    """Of the air in front, kg/m3."""
    volume_flow: float
    """At that density, m3/s."""
    inlet: float
    """Cel."""
    exhaust: float
    """Cel."""
    stored: float
    """Heat in the sled's bodies, from 0 Cel, J."""
    energy_in: float
    """Electrical, since the start, J."""
    energy_to_air: float
    """Since the start, J."""
    fan_speed: float
    """Of a healthy fan, as a fraction of rated speed."""
    fan_power: float
    """Of all fans, W."""
    heat_to_coolant: float
    """W; mean over the last step; 0 where air cools all, as below."""
    energy_to_coolant: float
    """Since the start, J."""
    coolant_supply: float
    """Cel."""
    coolant_return: float
    """Cel."""
    coolant_flow: float
    """L/min."""
    blade_flows: tuple[float, ...]
    """m3/s."""
    blade_power: tuple[float, ...]
    """W."""


class _Group:
    """All sleds of one design with where they stand."""

    def __init__(
        self, site: Site, sleds: list[Sled], seed: int, racks: dict[str, int], enclosures: dict[str, int]
    ) -> None:
        body = BODIES[sleds[0].design.name]
        chains = [site.chain(sled.name) for sled in sleds]
        rows = {row.name: i for i, row in enumerate(site.rows)}
        self.sleds = sleds
        self.rack: NDArray[np.intp] = np.asarray([racks[rack.name] for _, rack, _, _ in chains])
        self.row: NDArray[np.intp] = np.asarray([rows[row.name] for row, _, _, _ in chains])
        self.enclosure: NDArray[np.intp] = np.asarray([enclosures[e.name] for _, _, e, _ in chains])
        offsets = np.asarray([float(sled.offset) for sled in sleds])
        heights = np.asarray([float(rack.units) for _, rack, _, _ in chains])
        blades = np.asarray([[key(seed, blade.path) for blade in sled.blades] for sled in sleds], dtype=np.uint64)
        rack_keys = np.asarray([key(seed, rack.name) for _, rack, _, _ in chains], dtype=np.uint64)
        self.warmer = _HEIGHT * offsets
        self.round = (_RECIRCULATION[0] + _RECIRCULATION[1] * offsets / heights) * (
            0.7 + 0.6 * uniform(blades[:, 0], 90)
        )
        self.knobs = Knobs(body.design, len(sleds))
        self.workload = Workload(blades, rack_keys)
        self.physics = Sleds(body, blades, self.knobs)


class World:
    """A site's hardware. Not safe for use from several threads at once."""

    def __init__(self, site: Site, *, seed: int = 1, start: float = START, step: float = 1.0) -> None:
        """Everything begins warm and in balance at ``start``.

        ``step``: grid of the physics in simulated seconds. Against 1 s, 5 s moves temperatures by half a kelvin and
        fan speeds by 3 % at most, while they change; 30 s by 4 K and 15 %. ValueError unless above 0 and at most 30.
        """
        if not 0.0 < step <= 30.0:
            raise ValueError(f"a step of {step} s is not above 0 and at most 30")
        self.site, self.seed, self.start, self.step = site, seed, start, step
        self._elapsed = 0.0
        self._ticks = 0
        self._changes = 0
        racks = {rack.name: i for i, rack in enumerate(site.racks)}
        enclosures = {e.name: i for i, e in enumerate(e for rack in site.racks for e in rack.enclosures)}
        by_design: dict[str, list[Sled]] = {}
        for sled in site.sleds:
            by_design.setdefault(sled.design.name, []).append(sled)
        self._groups = [_Group(site, sleds, seed, racks, enclosures) for sleds in by_design.values()]
        self._shelves = Shelves(
            site.shelves, np.asarray([key(seed, shelf.name) for shelf in site.shelves], dtype=np.uint64)
        )
        self._shelf_rack: NDArray[np.intp] = np.asarray(
            [i for i, rack in enumerate(site.racks) if rack.shelf is not None], dtype=np.intp
        )
        self._shelf_warmer = _HEIGHT * np.asarray([float(shelf.offset) for shelf in site.shelves])
        self._shelf_row: NDArray[np.intp] = np.asarray(
            [i for i, row in enumerate(site.rows) for rack in row.racks if rack.shelf is not None], dtype=np.intp
        )
        self._fed = np.full((self._shelves.outlets, len(site.shelves)), len(enclosures), dtype=np.intp)
        """For each outlet of each shelf, the enclosure that hangs on it; one past the last for none."""
        for s, rack in enumerate(rack for rack in site.racks if rack.shelf is not None):
            self._fed[: len(rack.enclosures), s] = [enclosures[enclosure.name] for enclosure in rack.enclosures]
        self._where: dict[str, tuple[_Group | Shelves, int]] = {
            sled.name: (g, row) for g in self._groups for row, sled in enumerate(g.sleds)
        }
        self._where |= {shelf.name: (self._shelves, row) for row, shelf in enumerate(site.shelves)}
        self._reporters: dict[str, Reporter | ShelfReporter] = {}
        self._reports: OrderedDict[str, tuple[tuple[int, int], SledTelemetry]] = OrderedDict()
        self._faults: dict[tuple[str, str], tuple[ActiveFault, Target]] = {}
        self._locate: dict[str, set[str]] = {}
        self._switched: dict[str, tuple[float, bool]] = {}
        """Hosts that are to be switched on or off, and when."""
        row_keys = np.asarray([key(seed, "row", row.name) for row in site.rows], dtype=np.uint64)
        self._room_wander = Wander(row_keys, 2700.0)
        self._dew_wander = Wander(np.asarray([key(seed, "dew point")], dtype=np.uint64), 14_400.0)
        self._water_wander = Wander(np.asarray([key(seed, "coolant")], dtype=np.uint64), 1800.0)
        self._pressure = air.pressure(site.altitude)
        self._hot = np.full(len(racks), 36.0)
        self._busbar_current = np.zeros(len(enclosures))
        self._settle()

    @property
    def time(self) -> float:
        """Simulated time, epoch seconds."""
        return self.start + self._elapsed

    @property
    def acquired(self) -> float:
        """When the values now reported were acquired: the last step of the grid, epoch seconds."""
        return self.start + self._ticks * self.step

    def advance(self, seconds: float) -> None:
        """Let simulated time pass; ValueError for a span that is negative or not finite."""
        if not (math.isfinite(seconds) and seconds >= 0.0):
            raise ValueError(f"time does not pass by {seconds} s")
        self._elapsed += seconds
        # A hair of tolerance: ten tenths of a second are a second.
        until = math.floor(self._elapsed / self.step + 1e-6)
        while self._ticks < until:
            self._ticks += 1
            self._expire()
            self._tick(self.acquired, self.step)

    def telemetry(self, sled: str) -> SledTelemetry:
        """What that sled's or shelf's controller would report now, were it to answer; KeyError for an unknown one."""
        stamp = (self._ticks, self._changes)
        kept = self._reports.get(sled)
        if kept is not None and kept[0] == stamp:
            self._reports.move_to_end(sled)
            return kept[1]
        report = self._reporter(sled).report(self.acquired, self._ticks, self._locate.get(sled, set()))
        self._reports[sled] = (stamp, report)
        self._reports.move_to_end(sled)
        if len(self._reports) > _REPORTS_KEPT:
            self._reports.popitem(last=False)
        return report

    def inject(self, fault: str, part_path: str, **arguments: Argument) -> ActiveFault:
        """Switch a fault on, or on again with other arguments; FaultError where it does not fit.

        Statuses follow at once, readings as physics lets them, from the next step on.
        """
        part = check(fault, part_path, self.site)
        full = complete(fault, arguments)
        name = part_path.partition("/")[0]
        _, row = self._where[name]
        lasts = known(fault).lasts
        until = None if lasts is None else self.time + float(full[lasts])
        stuck = None
        if fault == "sensor-stuck":
            sensor = self._sensor(part_path, full)
            value = full.get("value")
            if isinstance(value, str) or not (value is None or math.isfinite(value)):
                raise FaultError(f"argument value must be a number, not {value!r}")
            try:
                stuck = self._reporter(name).hold(sensor, self._ticks, value)
            except ValueError as error:
                raise FaultError(str(error)) from error
        target = Target(self.site.unit(name), row, part, stuck, until)
        active = ActiveFault(fault, part_path, self.time, until, full)
        self._faults.pop((fault, part_path), None)
        self._faults[fault, part_path] = (active, target)
        self._turn(name)
        return active

    def clear(self, fault: str, part_path: str) -> bool:
        """Switch a fault off; whether it was on. FaultError for an unknown fault or part."""
        check(fault, part_path, self.site)
        was_on = self._faults.pop((fault, part_path), None) is not None
        if was_on:
            self._turn(part_path.partition("/")[0])
        return was_on

    def active(self) -> tuple[ActiveFault, ...]:
        """All faults that are on, oldest first."""
        return tuple(active for active, _ in self._faults.values())

    def set_locate(self, part_path: str, on: bool) -> None:
        """Switch a part's locate lamp; KeyError for an unknown part, ValueError for one without such a lamp."""
        sled = self.site.unit(part_path)
        if not has_lamp(sled, self.site.part(part_path)):
            raise ValueError(f"{part_path} has no locate lamp")
        lit = self._locate.setdefault(sled.name, set())
        (lit.add if on else lit.discard)(part_path)
        self._changes += 1

    def set_power(self, host_path: str, on: bool, *, again: float | None = None) -> None:
        """Switch a host on or off, and with ``again`` back after so many seconds; KeyError for what is no host."""
        sled = self.site.sled(host_path)
        row = self._where[sled.name][1]
        blade = next((b for b in sled.blades if b.host == host_path), None)
        if blade is None:
            raise KeyError(f"{host_path} is no host")
        self._where[sled.name][0].knobs.host_on[row, blade.number - 1] = float(on)
        self._switched.pop(host_path, None)
        if again is not None:
            self._switched[host_path] = (self.time + again, not on)
        self._changes += 1

    def truth(self, sled: str) -> Truth:
        """What is physically so in a sled; KeyError for an unknown one."""
        group, row = self._where[self.site.sled(sled).name]
        assert isinstance(group, _Group), "the site's sleds are in groups"
        physics = group.physics
        vapour = float(air.saturation_pressure(physics.dew_point))
        speed = float(physics.speed[row])
        water = physics.plates
        return Truth(
            electrical_in=float(physics.feed_power[row]),
            heat_to_air=float(physics.heat_to_air[row]),
            mass_flow=float(physics.mass_flow[row]),
            heat_capacity=air.heat_capacity(self._pressure, vapour),
            density=float(air.density(physics.inlet[row], self._pressure, vapour)),
            volume_flow=float(physics.air_flow()[row]),
            inlet=float(physics.inlet[row]),
            exhaust=float(physics.exhaust[row]),
            stored=float(physics.stored()[row]),
            energy_in=float(physics.sled_energy[row]),
            energy_to_air=float(physics.air_energy[row]),
            fan_speed=speed,
            fan_power=float(physics.fan_power[row].sum()),
            heat_to_coolant=0.0 if water is None else float(water.heat[row]),
            energy_to_coolant=0.0 if water is None else float(water.energy[row]),
            coolant_supply=0.0 if water is None else float(water.supply[row]),
            coolant_return=0.0 if water is None else float(water.leaving[row]),
            coolant_flow=0.0 if water is None else float(water.flow[row]),
            blade_flows=tuple((physics.division.blades[row] * speed).tolist()),
            blade_power=tuple(physics.blade_power[row].tolist()),
        )

    def _settle(self) -> None:
        """Find the balance at the start: some steps with next to no heat capacity, time standing still."""
        for _ in range(_SETTLING_STEPS):
            self._tick(self.start, 1.0, hurry=_SETTLING_HURRY)
        for group in self._groups:
            group.physics.forget_energy()
        self._shelves.forget_energy()

    def _tick(self, time: float, seconds: float, *, hurry: float = 1.0) -> None:
        day = math.cos((time % 86_400.0 - 15.0 * 3600.0) * (2.0 * math.pi / 86_400.0))
        room = ROOM + _ROOM_DAILY * day + _ROOM_WANDER * self._room_wander.at(time)
        dew_point = _DEW_POINT + _DEW_WANDER * float(self._dew_wander.at(time)[0])
        water = coolant.SUPPLY + _WATER_WANDER * float(self._water_wander.at(time)[0])
        vapour = float(air.saturation_pressure(dew_point))
        capacity = air.heat_capacity(self._pressure, vapour)
        flow, heat = np.zeros_like(self._hot), np.zeros_like(self._hot)
        current = np.zeros_like(self._busbar_current)
        for group in self._groups:
            around_air = room[group.row]
            inlet: Floats = around_air + group.warmer + group.round * (self._hot[group.rack] - around_air)
            around = Around(
                inlet=inlet,
                density=air.density(inlet, self._pressure, vapour),
                heat_capacity=capacity,
                dew_point=dew_point,
                busbar=power.BUSBAR_OPEN - power.BUSBAR_OHM * self._busbar_current[group.enclosure],
                coolant=water,
            )
            physics = group.physics
            physics.step(seconds, group.workload.at(time), around, hurry=hurry)
            count = len(self._hot)
            flow += np.bincount(group.rack, physics.mass_flow, count)
            heat += np.bincount(group.rack, physics.mass_flow * physics.exhaust, count)
            current += np.bincount(group.enclosure, physics.feed_current, len(current))
        self._hot += (heat / flow - self._hot) * -math.expm1(-seconds * hurry / _AISLE_SECONDS)
        self._busbar_current = current
        if self._shelves.shelves:
            rack = self._shelf_rack
            front: Floats = room[self._shelf_row]
            inlet = front + self._shelf_warmer + _RECIRCULATION[0] * (self._hot[rack] - front)
            self._shelves.step(seconds, time, inlet, np.append(current, 0.0)[self._fed], hurry=hurry)

    def _expire(self) -> None:
        now = self.acquired
        for host, (when, on) in list(self._switched.items()):
            if when <= now:
                self.set_power(host, on)
        over = [pair for pair, (on, _) in self._faults.items() if on.until is not None and on.until <= now]
        for pair in over:
            del self._faults[pair]
            self._turn(pair[1].partition("/")[0])

    def _turn(self, sled: str) -> None:
        """Put a sled's knobs where its faults want them."""
        group, row = self._where[sled]
        group.knobs.reset(row)
        for active, target in self._faults.values():
            if target.sled.name == sled:
                known(active.fault).turn(group.knobs, target, active.arguments)
        self._changes += 1

    def _sensor(self, path: str, arguments: Arguments) -> str:
        own = [spec.id for spec in self._reporter(path.partition("/")[0]).specs if spec.part == path]
        if not own:
            raise FaultError(f"{path} has no sensor of its own")
        chosen = arguments.get("sensor", own[0])
        if chosen not in own:
            raise FaultError(f"{path} has no sensor {chosen!r}; it has: {', '.join(own)}")
        return str(chosen)

    def _reporter(self, name: str) -> Reporter | ShelfReporter:
        if name not in self._reporters:
            what = self.site.unit(name)
            group, row = self._where[name]
            if isinstance(group, Shelves):
                assert isinstance(what, Shelf), "shelves stand among shelves"
                self._reporters[name] = ShelfReporter(what, group, row, self.seed)
            else:
                assert isinstance(what, Sled), "sleds stand among sleds"
                self._reporters[name] = Reporter(what, group.physics, row, self.seed)
        return self._reporters[name]
