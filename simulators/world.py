"""The invented fleet in simulated time: everything that a service needs to know of it, and all that can be done to it.

No clock is read and nothing is done behind the caller's back: time passes in :meth:`World.advance` only. The physics
runs on a fixed grid of steps, so many small advances and one large one end in the same state, bit by bit.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulators import air, coolant, power
from simulators.chance import Floats, Wander, key
from simulators.faults import OVER, Argument, Arguments, FaultError, Target, check, complete, known, much
from simulators.groups import HEIGHT, RECIRCULATION, Group, substeps
from simulators.lamps import LampsSeen, seen
from simulators.parts import Part, serial
from simulators.report import Reporter, has_lamp
from simulators.sensors import has_words_for
from simulators.shelf_report import ShelfReporter
from simulators.shelves import Shelves
from simulators.site import Shelf, Site, Sled
from simulators.sleds import Around
from simulators.telemetry import SledTelemetry
from simulators.truth import Truth, truth_of

START = 1_790_000_000.0
"""2026-09-21T13:33:20Z: when simulated time starts unless told otherwise, epoch seconds."""

ROOM = 22.6
"""Mean air temperature of a cold aisle at the floor, Cel."""
_ROOM_DAILY, _ROOM_WANDER = 0.7, 0.5
_AISLE_SECONDS = 90.0
"""In which the air behind a rack takes on a new exhaust temperature, to all but 1/e."""
_DEW_POINT, _DEW_WANDER = 10.0, 1.2
_WATER_WANDER = 0.5
"""How far the coolant's supply temperature wanders, K."""
_SETTLING_STEPS = 100
_SETTLING_HURRY = 25.0
_HUNDREDTHS = 10_000
_BRAKE_SECONDS, _BRAKE_LEAST = 600.0, 0.1
"""In which a rack whose shelf is no longer strained is allowed all again; and the least it is allowed."""
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
    fru: str = ""
    """Path of what a technician must replace or mend; see :meth:`simulators.faults.Fault.fru`."""


class World:
    """A site's hardware. Not safe for use from several threads at once."""

    def __init__(self, site: Site, *, seed: int = 1, start: float = START, step: float = 1.0) -> None:
        """Everything begins warm and in balance at ``start``.

        ``step``: grid of the physics in simulated seconds. Against 1 s, 5 s moves temperatures by half a kelvin and
        fan speeds by 3 % at most, while they change; 30 s by 4 K and 15 %. Above 30 s, for long campaigns whose rounds
        are as far apart, each step is made of ever finer ones (see :func:`substeps`), so that what is told at its end
        is as good as from a step of 5 s. ValueError unless above 0 and at most 3600.
        """
        if not 0.0 < step <= 3600.0:
            raise ValueError(f"a step of {step} s is not above 0 and at most 3600")
        self._substeps = substeps(step)
        self.site, self.seed, self.start, self.step = site, seed, start, step
        self._elapsed = 0.0
        self._ticks = 0
        self._changes = 0
        racks = {rack.name: i for i, rack in enumerate(site.racks)}
        enclosures = {e.name: i for i, e in enumerate(e for rack in site.racks for e in rack.enclosures)}
        by_design: dict[str, list[Sled]] = {}
        for sled in site.sleds:
            by_design.setdefault(sled.design.name, []).append(sled)
        self._groups = [Group(site, sleds, seed, racks, enclosures) for sleds in by_design.values()]
        self._shelves = Shelves(
            site.shelves, np.asarray([key(seed, shelf.name) for shelf in site.shelves], dtype=np.uint64)
        )
        self._shelf_rack: NDArray[np.intp] = np.asarray(
            [i for i, rack in enumerate(site.racks) if rack.shelf is not None], dtype=np.intp
        )
        self._shelf_warmer = HEIGHT * np.asarray([float(shelf.offset) for shelf in site.shelves])
        self._shelf_row: NDArray[np.intp] = np.asarray(
            [i for i, row in enumerate(site.rows) for rack in row.racks if rack.shelf is not None], dtype=np.intp
        )
        self._fed = np.full((self._shelves.outlets, len(site.shelves)), len(enclosures), dtype=np.intp)
        """For each outlet of each shelf, the enclosure that hangs on it; one past the last for none."""
        for s, rack in enumerate(rack for rack in site.racks if rack.shelf is not None):
            self._fed[: len(rack.enclosures), s] = [enclosures[enclosure.name] for enclosure in rack.enclosures]
        self._where: dict[str, tuple[Group | Shelves, int]] = {
            sled.name: (g, row) for g in self._groups for row, sled in enumerate(g.sleds)
        }
        self._where |= {shelf.name: (self._shelves, row) for row, shelf in enumerate(site.shelves)}
        self._reporters: dict[str, Reporter | ShelfReporter] = {}
        self._reports: OrderedDict[str, tuple[tuple[int, int], SledTelemetry]] = OrderedDict()
        self._faults: dict[tuple[str, str], tuple[ActiveFault, Target]] = {}
        self._locate: dict[str, set[str]] = {}
        self._exchanged: dict[str, tuple[Part, int]] = {}
        """Parts that were exchanged for good, and how often."""
        self._warmths: list[tuple[float, float, Floats]] = []
        """When each begins, how long it lasts, and how many kelvin at most in each row."""
        self._grown: dict[tuple[str, str], int] = {}
        """How far each slow fault's knobs have been turned, in hundredths of a percent."""
        self._switched: dict[str, tuple[float, bool]] = {}
        """Hosts that are to be switched on or off, and when."""
        row_keys = np.asarray([key(seed, "row", row.name) for row in site.rows], dtype=np.uint64)
        self._room_wander = Wander(row_keys, 2700.0)
        self._dew_wander = Wander(np.asarray([key(seed, "dew point")], dtype=np.uint64), 14_400.0)
        self._water_wander = Wander(np.asarray([key(seed, "coolant")], dtype=np.uint64), 1800.0)
        self._pressure = air.pressure(site.altitude)
        self._hot = np.full(len(racks), 36.0)
        self._busbar_current = np.zeros(len(enclosures))
        self._brake = np.ones(len(racks))
        """What each rack's processors may do of what they are asked, 0 to 1."""
        self._outlet = np.nonzero(self._fed < len(enclosures))
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
            before = self.acquired
            self._ticks += 1
            self._expire()
            for part in self._substeps[:-1]:
                before += part
                self._tick(before, part)
            self._tick(self.acquired, self._substeps[-1])

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
        name = self._touched(part_path)[0]
        _, row = self._where[name]
        lasts = known(fault).lasts
        until = None if lasts is None else self.time + float(full[lasts])
        kind = known(fault)
        ill, span = None, 0.0
        if "sensor" in kind.arguments:
            sensor = self._sensor(part_path, full)
            value = full.get("value", None if fault == "sensor-stuck" else 0.0)
            if isinstance(value, str) or not (value is None or math.isfinite(value)):
                raise FaultError(f"argument value must be a number, not {value!r}")
            try:
                ill = self._reporter(name).hold(sensor, self._ticks, value)
            except ValueError as error:
                raise FaultError(str(error)) from error
            span = much(next(spec for spec in self._reporter(name).specs if spec.id == sensor))
        target = Target(self.site.unit(name), row, part, ill, span, until)
        active = ActiveFault(fault, part_path, self.time, until, full, kind.fru(part, full))
        self._faults.pop((fault, part_path), None)
        self._faults[fault, part_path] = (active, target)
        for touched in self._touched(part_path):
            self._turn(touched)
        return active

    def clear(self, fault: str, part_path: str) -> bool:
        """Switch a fault off; whether it was on. FaultError for an unknown fault or part."""
        check(fault, part_path, self.site)
        was_on = self._faults.pop((fault, part_path), None) is not None
        self._grown.pop((fault, part_path), None)
        if was_on:
            for touched in self._touched(part_path):
                self._turn(touched)
        return was_on

    def repair(self, fru: str) -> tuple[ActiveFault, ...]:
        """Replace or mend a part by its path, as told by :attr:`ActiveFault.fru`: what that ended, maybe nothing."""
        over = tuple(active for active, _ in self._faults.values() if active.fru == fru)
        for active in over:
            self.clear(active.fault, active.part)
        return over

    def exchange(self, part_path: str) -> None:
        """Somebody takes a sound part out, or an ill one, and puts another of its kind there: a new serial number.

        No fault: it stays for good. FaultError where there is no such part or it is not of a kind that is exchanged.
        """
        part = check("part-swapped", part_path, self.site)
        self.repair(part_path)
        name = part_path.partition("/")[0]
        self._exchanged[part_path] = (part, 1 + self._exchanged.get(part_path, (part, 0))[1])
        self._turn(name)

    def warm_room(self, kelvin: float, seconds: float, *, after: float = 0.0, row: str | None = None) -> None:
        """A hot afternoon, or cold night: the room's air rises smoothly to ``kelvin`` more half way and falls again.

        It takes ``seconds`` in all, from ``after`` seconds on; ``row``: the name of the only row that feels it.
        KeyError for an unknown row, ValueError where it would last no time.
        """
        names = [one.name for one in self.site.rows]
        if row is not None and row not in names:
            raise KeyError(f"no row named {row!r} on site {self.site.name!r}")
        if not seconds > 0.0:
            raise ValueError(f"warmth of {seconds} s is none")
        felt = np.asarray([float(row is None or one == row) for one in names])
        self._warmths.append((self.time + after, seconds, kelvin * felt))

    def set_load(self, path: str, level: float | None) -> None:
        """The processors of a blade or of a whole sled do so much from now on, 0 to 1; None: what they usually do.

        KeyError where there is no such blade or sled, ValueError out of range.
        """
        if level is not None and not 0.0 <= level <= 1.0:
            raise ValueError(f"a load of {level} is not from 0 to 1")
        sled = self.site.sled(path)
        group, place = self._where[sled.name]
        assert isinstance(group, Group), "the site's sleds are in groups"
        at = [i for i, blade in enumerate(sled.blades) if path in (sled.name, blade.path)]
        if not at:
            raise KeyError(f"{path} is no blade and no sled")
        group.asked[place, at] = math.nan if level is None else level
        group.asks = bool(np.isfinite(group.asked).any())

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
        assert isinstance(group, Group), "the site's sleds are in groups"
        return truth_of(group.physics, row, self._pressure)

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
        for begin, lasting, kelvin in self._warmths:
            if begin < time < begin + lasting:
                room = room + kelvin * math.sin(math.pi * (time - begin) / lasting) ** 2
        busbar = np.full(len(current), power.BUSBAR_OPEN)
        ohm = np.full(len(current), power.BUSBAR_OHM)
        if self._shelves.shelves:
            outlet, shelf = self._outlet
            busbar[self._fed[outlet, shelf]] = self._shelves.bus[shelf]
            ohm[self._fed[outlet, shelf]] += self._shelves.knobs.outlet_ohm[shelf, outlet]
        busbar = busbar - ohm * self._busbar_current
        for group in self._groups:
            around_air = room[group.row]
            come_round = group.round + group.knobs.round
            inlet: Floats = around_air + group.warmer + come_round * (self._hot[group.rack] - around_air)
            around = Around(
                inlet=inlet,
                density=air.density(inlet, self._pressure, vapour),
                heat_capacity=capacity,
                dew_point=dew_point,
                busbar=busbar[group.enclosure],
                coolant=water,
            )
            physics = group.physics
            physics.step(seconds, group.load(time, self._brake), around, hurry=hurry)
            count = len(self._hot)
            flow += np.bincount(group.rack, physics.mass_flow, count)
            heat += np.bincount(group.rack, physics.mass_flow * physics.exhaust, count)
            current += np.bincount(group.enclosure, physics.feed_current, len(current))
        self._hot += (heat / np.maximum(flow, 1e-9) - self._hot) * -math.expm1(-seconds * hurry / _AISLE_SECONDS)
        self._busbar_current = current
        if self._shelves.shelves:
            rack = self._shelf_rack
            front: Floats = room[self._shelf_row]
            inlet = front + self._shelf_warmer + RECIRCULATION[0] * (self._hot[rack] - front)
            self._shelves.step(seconds, time, inlet, np.append(current, 0.0)[self._fed], hurry=hurry)
            # The shelf's alarm line slows the rack's processors while too few rectifiers carry the load.
            strain = self._shelves.strain
            held = self._brake[rack] * np.where(strain > 1.0, 0.95 / np.maximum(strain, 0.95), 1.0)
            eased = held + np.where(strain < 0.9, seconds / _BRAKE_SECONDS, 0.0)
            self._brake[rack] = np.minimum(np.maximum(eased, _BRAKE_LEAST), 1.0)

    def _expire(self) -> None:
        now = self.acquired
        for host, (when, on) in list(self._switched.items()):
            if when <= now:
                self.set_power(host, on)
        over = [pair for pair, (on, _) in self._faults.items() if on.until is not None and on.until <= now]
        for pair in over:
            del self._faults[pair]
            self._grown.pop(pair, None)
            for name in self._touched(pair[1]):
                self._turn(name)
        if self._warmths and min(begin + lasting for begin, lasting, _ in self._warmths) < now:
            self._warmths = [one for one in self._warmths if one[0] + one[1] >= now]
        moved: set[str] = set()
        for pair, (active, _) in self._faults.items():
            restless = known(active.fault).restless
            if not restless and self._grown.get(pair) == _HUNDREDTHS:
                continue
            grown = round(_HUNDREDTHS * self._growth(active, now))
            if restless or self._grown.get(pair) != grown:
                moved.update(self._touched(pair[1]))
        for name in moved:
            self._turn(name)

    @staticmethod
    def _growth(on: ActiveFault, now: float) -> float:
        over = on.arguments.get(OVER, 0.0)
        assert not isinstance(over, str), "checked when the fault was switched on"
        return 1.0 if over <= 0.0 else min(max((now - on.since) / over, 0.0), 1.0)

    def _turn(self, sled: str) -> None:
        """Put a sled's knobs where its faults want them."""
        group, row = self._where[sled]
        group.knobs.reset(row)
        unit = self.site.unit(sled)
        for path, (part, times) in self._exchanged.items():
            if path.partition("/")[0] == sled:
                swap = known("part-swapped").turn
                swap(group.knobs, Target(unit, row, part), {"serial": renewed(part, times)})
        now = self.acquired
        for pair, (active, target) in self._faults.items():
            if sled in self._touched(active.part):
                grown = self._growth(active, now)
                self._grown[pair] = round(_HUNDREDTHS * grown)
                age = max(now - active.since, 0.0)
                here = replace(target, sled=unit, row=row, grown=grown, age=age, since=active.since)
                known(active.fault).turn(group.knobs, here, active.arguments)
        self._changes += 1

    def _touched(self, path: str) -> tuple[str, ...]:
        """Names of the sleds and shelves that a fault of a part is felt in: of a switch, all that hang on it."""
        return tuple(unit.name for unit in self.site.reached(path))

    def lamps_seen(self, part_path: str) -> LampsSeen:
        """What the front of a part shows to who stands before it; KeyError for none, ValueError for one without lamps.

        It differs from what the controller tells where a lamp does not do as it is told.
        """
        unit, part = self.site.unit(part_path), self.site.part(part_path)
        if not has_lamp(unit, part):
            raise ValueError(f"{part_path} has no lamps")
        group, row = self._where[unit.name]
        asked = part_path in self._locate.get(unit.name, ())
        return seen(part.kind, self.telemetry(unit.name).parts[part_path], group.knobs.digital.get(row), asked)

    def _sensor(self, path: str, arguments: Arguments) -> str:
        unit = self.site.unit(path)
        specs = [spec for spec in self._reporter(unit.name).specs if spec.part == path]
        if not specs:
            raise FaultError(f"{path} has no sensor of its own")
        own = [spec.id for spec in specs]
        # picked among those that anybody hears of, where there are any
        heard = [spec.id for spec in specs if not isinstance(unit, Sled) or has_words_for(unit, spec.quantity)] or own
        pick = arguments.get("pick", 0.0)
        assert not isinstance(pick, str), "checked against its limits"
        chosen = arguments.get("sensor", heard[min(int(pick * len(heard)), len(heard) - 1)])
        if chosen not in own:
            raise FaultError(f"{path} has no sensor {chosen!r}; it has: {', '.join(own)}")
        return str(chosen)

    def _reporter(self, name: str) -> Reporter | ShelfReporter:
        if name not in self._reporters:
            what = self.site.unit(name)
            group, row = self._where[name]
            if isinstance(group, Shelves):
                assert isinstance(what, Shelf), "shelves stand among shelves"
                self._reporters[name] = ShelfReporter(what, group, row, self.seed, self.site.network.neighbours(name))
            else:
                assert isinstance(what, Sled), "sleds stand among sleds"
                neighbours = self.site.network.neighbours(name)
                self._reporters[name] = Reporter(what, group.physics, row, self.seed, neighbours)
        return self._reporters[name]


def renewed(part: Part, times: int) -> str:
    """The serial number of what stands there after so many exchanges."""
    return serial(part.serial[:2], f"{part.path}, exchanged {times}")
