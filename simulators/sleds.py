"""All sleds of one design, one simulated step after the other, as arrays.

Axes: S sleds, B blades of a sled, N bodies of a blade, C fans (and so cells of the plenum) of a sled. The order of a
step is the order of cause: load and temperature give power; power and air give temperatures; what the sensors say of
them gives the fans' command; the fans give the air of the next step.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulators import air, fans, power, thermal
from simulators.air import REFERENCE_DENSITY
from simulators.bodies import FLOW_EXPONENT, STILL_AIR, THROTTLE_FROM, THROTTLE_SPAN, Body
from simulators.chance import Floats, Keys, spread
from simulators.coolant import SUPPLY, Plates
from simulators.fans import FanControl
from simulators.flow import Division, Network
from simulators.knobs import Knobs
from simulators.workload import Load

_FAN_STOPS = 2.0
"""Seconds in which a seized rotor loses all but 1/e of its speed."""
_STANDBY = 0.2
"""Part of a board's power that it takes while its host is switched off; common practice, no source."""
_SAME = 1e-9
_THROTTLES = THROTTLE_FROM + 0.5 * THROTTLE_SPAN
"""Cel; the middle of the span in which a processor slows itself."""
_LEAST_BUSBAR = 30.0
"""V, below which converters switch themselves off; common practice, no source."""
STANDS = 0.1
"""Part of rated speed below which a controller takes a fan to stand."""
SLOW = 0.75
"""Part of the speed asked of a fan below which a controller calls it failed; common practice, no source."""
SLOW_SECONDS = 10.0
"""For which it must have been so slow."""


@dataclass(frozen=True, slots=True)
class Around:
    """What surrounds the sleds in one step."""

    inlet: Floats
    """Air in front, Cel, (S,)."""
    density: Floats
    """Of that air, kg/m3, (S,)."""
    heat_capacity: float
    """J/(kg K)."""
    dew_point: float
    """Cel; the same everywhere on the site."""
    busbar: Floats
    """Voltage at the sleds' clips before their own drop, V, (S,)."""
    coolant: float = SUPPLY
    """What the racks' manifolds bring, Cel."""


class Sleds:
    """State of all sleds of one design; the public arrays are what is physically so, whoever looks."""

    def __init__(self, body: Body, blades: Keys, knobs: Knobs) -> None:
        """``blades``: keys of shape (S, B), for the spread among parts of one make."""
        self.body, self.knobs = body, knobs
        sleds, count = blades.shape
        design, nodes, loads = body.design, body.nodes, body.loads
        self._network = Network(body)
        self._control = FanControl(sleds)
        self._stages = [
            slice(*_span([i for i, node in enumerate(nodes) if node.stage == stage]))
            for stage in range(nodes[-1].stage + 1)
        ]
        self._of = {name: np.asarray([i for i, n in enumerate(nodes) if n.name == name]) for name in _NAMES}
        self._share = np.asarray([node.share for node in nodes])[:, None, None]
        self._capacity = np.asarray([node.capacity for node in nodes])[:, None, None]
        made = np.stack([spread(blades, 0.04, 40 + i) for i in range(len(nodes))])
        self._conductance = np.asarray([node.conductance for node in nodes])[:, None, None] * made
        processors = len(self._of["cpu"])
        self._leaks = loads.cpu_leakage * np.stack([spread(blades, 0.12, 60 + k) for k in range(processors)])
        self._wet = np.asarray([node.wet for node in nodes])
        wet = int(self._wet.sum()) * count
        self.plates = None if body.loop is None else Plates(body.loop, blades[:, 0], wet)
        """The water side, where there is one."""
        self._cell_of = np.asarray([node.cell for node in body.rear])
        self._rear_share = np.asarray([node.share for node in body.rear])[:, None]
        self._rear_capacity = np.asarray([node.capacity for node in body.rear])[:, None]
        self._rear_conductance = np.asarray([node.conductance for node in body.rear])[:, None]
        self._rear_of = {name: [i for i, n in enumerate(body.rear) if n.name == name] for name in _REAR_NAMES}
        self._watch = _limits(body, (node.name for node in nodes))
        self._rear_watch = _limits(body, (node.name for node in body.rear))
        self._turn = np.stack([spread(blades[:, 0], 0.012, 80 + c) for c in range(design.fans)], axis=1)

        self.temperature = np.full((len(nodes), sleds, count), 35.0)
        """Of every body on the blades, Cel, (N, S, B)."""
        self.rear = np.full((len(body.rear), sleds), 40.0)
        self.junction = np.full((processors, sleds, count), 45.0)
        self.processor_power = np.full((processors, sleds, count), loads.cpu_idle)
        self.speed = np.full(sleds, 0.4)
        """Of a healthy fan, as a fraction of rated speed."""
        self.alive = np.ones((sleds, design.fans))
        """How far each fan follows that speed, 0-1."""
        self._open = np.ones((sleds, count))
        self.division = self._network.divide(self._turn, self._open)
        self.exhaust = np.full(sleds, 35.0)
        self.blade_outlet = np.full((sleds, count), 30.0)
        self.blade_power = np.zeros((sleds, count))
        self.blade_voltage = np.full((sleds, count), power.PLANE_OPEN)
        self.blade_current = np.zeros((sleds, count))
        self.plane = np.full(sleds, power.PLANE_OPEN)
        """Voltage of the 12 V plane at the converters, V."""
        self.utilisation = np.zeros((sleds, count))
        """What the processors do, after throttling, 0-1."""
        self.inlet = np.full(sleds, 23.0)
        self.dew_point = 10.0
        self.fan_power = np.zeros((sleds, design.fans))
        self.supply_output = np.zeros((len(design.power_supplies), sleds))
        self.supply_input = np.zeros_like(self.supply_output)
        self.feed_voltage = np.full(sleds, power.BUSBAR_OPEN)
        self.feed_current = np.zeros(sleds)
        self.feed_power = np.zeros(sleds)
        """Electrical power into each sled, W."""
        self.mass_flow = np.zeros(sleds)
        """Of air into each sled's front, kg/s."""
        self.heat_to_air = np.zeros(sleds)
        """What the air carried off in the last step, W: enthalpy out less enthalpy in."""
        self.sled_energy = np.zeros(sleds)
        """Electrical energy taken in since the start, J."""
        self.blade_energy = np.zeros((sleds, count))
        self.air_energy = np.zeros(sleds)
        """Heat carried off by the air since the start, J."""
        self.powered = np.ones(sleds)
        """1 while something feeds the sled, else 0: then nothing runs, the management controller neither."""
        self.path_loss = np.zeros(sleds)
        """Lost between the 12 V plane and the blades, W."""
        self.lags = np.zeros((sleds, design.fans))
        """Seconds for which each tachometer has told much less than was asked of its fan."""
        self._sources: dict[str, Floats] = {}

    def step(self, seconds: float, load: Load, around: Around, *, hurry: float = 1.0) -> None:
        """Let ``seconds`` pass. ``hurry`` divides all heat capacities: only for finding a start in balance."""
        self.inlet, self.dew_point = around.inlet, around.dew_point
        self.powered = (around.busbar > _LEAST_BUSBAR) * self.knobs.supply_on.max(axis=1)
        self._spin(seconds)
        self._draw(load, around)
        self._breathe(seconds * hurry, around)
        need, failed, blind = self._need(seconds)
        self._control.step(need, failed, np.maximum(self.knobs.silent, blind), seconds)
        self.sled_energy += self.feed_power * seconds
        self.blade_energy += self.blade_power * seconds
        self.air_energy += self.heat_to_air * seconds
        self._sources = {}

    def forget_energy(self) -> None:
        """Start the energy counters at zero."""
        for counter in (self.sled_energy, self.blade_energy, self.air_energy):
            counter[:] = 0.0
        if self.plates is not None:
            self.plates.energy[:] = 0.0

    def sources(self) -> dict[str, Floats]:
        """The variables that have sensors, by the names that :class:`simulators.sensors.Column` uses.

        Shapes are (likes, S) or (likes, S, B); units are those of the sensors.
        """
        if not self._sources:
            self._sources = {
                "inlet": self.inlet[None],
                "humidity": air.relative_humidity(self.inlet, np.full_like(self.inlet, self.dew_point))[None],
                "exhaust": self.exhaust[None],
                "air_flow": 60.0 * self.air_flow()[None],
                "rpm": self.rpm().T,
                "fans_power": self.fan_power.sum(axis=1)[None],
                "adapter": self.rear_of("adapter"),
                "controller": self.rear_of("controller"),
                "psu": self.rear_of("psu"),
                "psu_input": self.supply_input,
                "psu_output": self.supply_output,
                "feed_voltage": self.feed_voltage[None],
                "feed_current": self.feed_current[None],
                "feed_power": self.feed_power[None],
                "blade_inlet": np.broadcast_to(self.inlet[:, None], self.blade_power.shape)[None],
                "blade_outlet": self.blade_outlet[None],
                "cpu": self.junction,
                "dimm": self.of("dimm"),
                "drive": self.of("drive"),
                "regulator": self.of("regulator"),
                "blade_power": self.blade_power[None],
                "blade_voltage": self.blade_voltage[None],
                "blade_current": self.blade_current[None],
            }
            if self.plates is not None:
                self._sources |= self.plates.sources()
        return self._sources

    def stored(self) -> Floats:
        """Heat in the bodies of each sled, counted from 0 Cel, J, (S,)."""
        blades = (self.temperature * self._capacity).sum(axis=(0, 2))
        total: Floats = blades + (self.rear * self._rear_capacity).sum(axis=0)
        return total

    def rpm(self) -> Floats:
        """Of every fan, {rev}/min, (S, C)."""
        turns: Floats = self._turn * self.alive * self.speed[:, None] * self.body.design.fan.rated_rpm
        return turns

    def air_flow(self) -> Floats:
        """Volume flow into each sled's front, m3/s, (S,)."""
        flow: Floats = self.division.cells.sum(axis=1) * np.maximum(self.speed, STILL_AIR)
        return flow

    def of(self, name: str) -> Floats:
        """Temperatures of the bodies of a name, (bodies, S, B)."""
        temperatures: Floats = self.temperature[self._of[name]]
        return temperatures

    def rear_of(self, name: str) -> Floats:
        """Temperatures of the shared bodies of a name, (bodies, S)."""
        temperatures: Floats = self.rear[self._rear_of[name]]
        return temperatures

    def _spin(self, seconds: float) -> None:
        self.speed += (self._control.command - self.speed) * -math.expm1(-seconds / fans.INERTIA)
        target = self.knobs.fan_turns * self.powered[:, None]
        if np.array_equal(self.alive, target) and np.array_equal(self._open, self.knobs.intake_open):
            return
        alive = target + (self.alive - target) * math.exp(-seconds / _FAN_STOPS)
        alive = np.where(np.abs(alive - target) < 1e-4, target, alive)
        moved = (np.abs(alive - self.alive) > _SAME).any(axis=1)
        moved |= (np.abs(self._open - self.knobs.intake_open) > _SAME).any(axis=1)
        self.alive, self._open = alive, self.knobs.intake_open.copy()
        self._divide(np.flatnonzero(moved))

    def _divide(self, rows: NDArray[np.intp]) -> None:
        if not rows.size:
            return
        new = self._network.divide(self._turn[rows] * self.alive[rows], self._open[rows])
        for name in Division.__slots__:
            getattr(self.division, name)[rows] = getattr(new, name)

    def _draw(self, load: Load, around: Around) -> None:
        body, fed = self.body, self.knobs.blade_on * self.powered[:, None]
        on = fed * self.knobs.board_on * self.knobs.host_on
        loads = body.loads
        slowed = power.throttle(self.junction)
        busy = load.processors * on * self.knobs.running
        self.utilisation = busy * slowed.mean(axis=0)
        leaks = power.leakage(self.junction, self._leaks)
        self.processor_power = on * (loads.cpu_idle + loads.cpu_dynamic * busy * slowed + leaks)
        # How the power answers to the junction: for the step towards the balance of the two in _breathe.
        self._answer = on * loads.cpu_dynamic * busy * power.throttle_slope(self.junction)
        heat = np.empty_like(self.temperature)
        heat[self._of["cpu"]] = self.processor_power
        heat[self._of["dimm"]] = on * (loads.bank_idle + loads.bank_dynamic * (0.3 * busy + 0.7 * busy * busy))
        heat[self._of["drive"]] = on * (loads.drive_idle + loads.drive_dynamic * load.drives)
        heat[self._of["regulator"]] = on * (loads.regulator_loss * self.processor_power.sum(axis=0))
        heat[self._of["board"]] = np.where(on > 0.0, 1.0, _STANDBY) * fed * self.knobs.board_on * loads.board
        self._heat = heat
        self.blade_power = heat.sum(axis=0)
        self._convert(busy, around)

    def _convert(self, busy: Floats, around: Around) -> None:
        body = self.body
        rated = body.design.fan.max_power * around.density / REFERENCE_DENSITY
        turns = self._turn * self.alive * self.speed[:, None]
        self.fan_power = rated[:, None] * turns**3 * self.powered[:, None]
        adapter = body.adapter[0] + body.adapter[1] * busy.mean(axis=1)
        common = (self.fan_power.sum(axis=1) + adapter + body.controller) * self.powered
        self.plane = power.PLANE_OPEN - power.PLANE_OHM * (common / power.PLANE_OPEN + self.blade_current.sum(axis=1))
        ohm = power.BLADE_OHM + self.knobs.blade_ohm
        voltage, self.blade_current = power.blade_input(self.blade_power, self.plane[:, None], ohm)
        self.blade_voltage = voltage * self.knobs.blade_on * self.powered[:, None]
        wire = (ohm * np.square(self.blade_current)).sum(axis=1)
        self.path_loss = wire
        output = self.blade_power.sum(axis=1) + wire + common
        works = self.knobs.supply_on.T * self.powered
        self.supply_output = output * works / np.maximum(works.sum(axis=0), 1.0)
        loss = power.converter_loss(self.supply_output) * works
        self.supply_input = self.supply_output + loss
        self.feed_power = self.supply_input.sum(axis=0)
        self.feed_voltage = around.busbar - power.CLIP_OHM * self.feed_current
        self.feed_current = self.feed_power / np.maximum(self.feed_voltage, 1.0)
        rear = np.empty_like(self.rear)
        rear[self._rear_of["adapter"]] = adapter * self.powered
        rear[self._rear_of["controller"]] = body.controller * self.powered
        rear[self._rear_of["psu"]] = loss + wire / len(loss)
        self._rear_heat = rear

    def _breathe(self, seconds: float, around: Around) -> None:
        cp, speed = around.heat_capacity, np.maximum(self.speed, STILL_AIR)
        carried = (around.density * speed * cp)[:, None] * self.division.blades  # W/K of each blade's air
        eased = (self.division.blades * speed[:, None] / self.body.blade_flow) ** FLOW_EXPONENT
        given = thermal.exchange(self._conductance * eased, self._share * carried)
        plates, passing = self.plates, around.inlet[:, None]
        water, drowned = np.zeros(0), np.zeros(())
        if plates is not None:
            plates.supply = np.full_like(around.inlet, around.coolant)
            plates.run(self.knobs.pump, self.knobs.leak, seconds)
            water = plates.carried()
            given[self._wet] = thermal.exchange(self._conductance[self._wet], water[None, :, None])
            drowned = np.zeros_like(around.inlet)
        for stage in self._stages:
            entering, wet = passing, self._wet[stage]
            if plates is not None:
                entering = np.where(wet[:, None, None], plates.supply[None, :, None], passing)
            self.temperature[stage], heat = thermal.warm(
                self.temperature[stage], self._heat[stage], entering, given[stage], self._capacity[stage], seconds
            )
            if plates is not None:
                drowned += heat[wet].sum(axis=(0, 2))
                heat = heat[~wet]
            passing = passing + heat.sum(axis=0) / carried
        if plates is not None:
            plates.warm(drowned, water, seconds)
        self.blade_outlet = passing
        # One step of Newton's method towards the junction and the power that go with each other: what throttles acts in
        # milliseconds, so the two are in balance at the end of any step.
        joint = self.body.loads.cpu_case + np.moveaxis(self.knobs.sink_loose, 2, 0)
        found = self.temperature[self._of["cpu"]] + joint * self.processor_power
        after = self.junction + (found - self.junction) / (1.0 - joint * self._answer)
        # What would leap over the span in which it throttles, stops in the middle of it: the balance lies there.
        leaps = (self.junction - _THROTTLES) * (after - _THROTTLES) < 0.0
        self.junction = np.where(leaps & (np.abs(after - self.junction) > THROTTLE_SPAN), _THROTTLES, after)
        self._gather(seconds, around, speed)

    def _gather(self, seconds: float, around: Around, speed: Floats) -> None:
        """The plenum: shared bodies warm the blades' air, cells mix, fans add their power and blow it out."""
        cp, flow = around.heat_capacity, self.division
        unit = around.density * speed * cp  # W/K at a full-speed volume flow of 1 m3/s
        arriving = np.einsum("scb,sb->sc", flow.feed, self.blade_outlet)
        carried = unit[:, None] * flow.cells
        cells = carried[:, self._cell_of].T
        eased = (speed * flow.cells[:, self._cell_of].T * len(flow.cells[0]) / self._rear_reference()) ** FLOW_EXPONENT
        given = thermal.exchange(self._rear_conductance * eased, self._rear_share * cells)
        self.rear, heat = thermal.warm(
            self.rear, self._rear_heat, arriving[:, self._cell_of].T, given, self._rear_capacity, seconds
        )
        gained = np.zeros_like(carried)
        for node, cell in enumerate(self._cell_of):
            gained[:, cell] += heat[node]
        mixed = flow.cells * (arriving + gained / carried) + flow.back * self.exhaust[:, None]
        plenum = np.einsum("scd,sd->sc", flow.mixing, mixed)
        out = flow.out.sum(axis=1)
        leaving = (flow.out * plenum).sum(axis=1) + self.fan_power.sum(axis=1) / unit
        self.mass_flow = around.density * speed * flow.cells.sum(axis=1)
        back = flow.back.sum(axis=1) * self.exhaust
        self.heat_to_air = unit * (leaving - back) - self.mass_flow * cp * around.inlet
        self.exhaust = leaving / out

    def _rear_reference(self) -> float:
        return self.body.blade_flow * len(self.body.design.slots)

    def _need(self, seconds: float) -> tuple[Floats, NDArray[np.intp], Floats]:
        """What the sensors say: how near each sled's nearest body is to its limit, how many fans stand, who is blind.

        Blind is 1 where a sensor that fan control looks at tells nothing though its blade lives.
        """
        blind = np.zeros(len(self.speed))
        blades, rear, rpm = self.temperature.copy(), self.rear.copy(), self.rpm()
        blades[self._of["cpu"]] = self.junction
        for sled, sensors in self.knobs.ill.items():
            for ill in sensors:
                name, at, blade = ill.column.source, ill.column.body, ill.column.blade
                if name in self._of:
                    place = (self._of[name][at], sled, blade)
                    blades[place] = self._believed(ill.told(float(blades[place]), 0.0), blind, sled)
                elif name in self._rear_of:
                    spot = (self._rear_of[name][at], sled)
                    rear[spot] = self._believed(ill.told(float(rear[spot]), 0.0), blind, sled)
                elif name == "rpm":
                    rpm[sled, at] = np.nan_to_num(ill.told(float(rpm[sled, at]), 0.0))
        need = np.maximum(_nearest(blades, self._watch).max(axis=(0, 2)), _nearest(rear, self._rear_watch).max(axis=0))
        rated = self.body.design.fan.rated_rpm
        slow = rpm < SLOW * rated * self.speed[:, None]
        self.lags = np.where(slow, self.lags + seconds, 0.0)
        return need, np.count_nonzero(rpm < STANDS * rated, axis=1), blind

    @staticmethod
    def _believed(told: float, blind: Floats, sled: int) -> float:
        """What fan control takes a temperature for: none where nothing is told, and then it is blind."""
        if told == told:
            return told
        blind[sled] = 1.0
        return -math.inf


_NAMES = ("cpu", "dimm", "drive", "regulator", "board")
_REAR_NAMES = ("adapter", "controller", "psu")


def _limits(body: Body, names: Iterable[str]) -> tuple[Floats, Floats]:
    """Lower end and width of what fan control watches, for bodies of these names; never reached where it doesn't."""
    low, high = np.asarray([body.watch.get(name, (math.inf, 0.0)) for name in names]).T
    return low, np.where(np.isfinite(low), high - low, 1.0)


def _nearest(temperature: Floats, limits: tuple[Floats, Floats]) -> Floats:
    low, width = limits
    shape = (-1,) + (1,) * (temperature.ndim - 1)
    part: Floats = (temperature - low.reshape(shape)) / width.reshape(shape)
    return part


def _span(indices: list[int]) -> tuple[int, int]:
    if indices != list(range(indices[0], indices[-1] + 1)):
        raise ValueError("a body's nodes must be listed stage by stage")
    return indices[0], indices[-1] + 1
