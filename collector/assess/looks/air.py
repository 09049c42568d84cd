"""Signs of air and heat: too little air, fans that work for nothing, warm inlets, parts hotter than explained.

Each temperature is held against what it was learnt to be at that power, fan speed and inlet air, so that load, weather
and fan control explain what they explain. A learnt law needs a while; until then, and beside it, parts of the same
design are compared with each other, which says less and is weighed less.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from collector.assess.looking import Seen
from collector.assess.looks.home import Home
from collector.assess.looks.latch import Signs
from collector.assess.looks.memory import Learnt, table
from collector.assess.looks.metered import look_at_flow
from collector.assess.looks.usual import Usual
from collector.assess.looks.warm import WarmAir
from collector.assess.margins.baseline import Baselines
from collector.assess.margins.lag import Floats, Lags
from collector.assess.margins.peers import Peers
from collector.assess.margins.wiring import Wiring, design, speed_of, wire
from collector.assess.words import percent
from collector.model import Inventory, Kind, Observation, Part, Quantity, Seconds, Sign, SignKey, Visible

Flags = NDArray[np.bool_]

SURE, LIKELY = 4.5, 3.0
"""Deviations beyond which a reading is not explained: in two rounds, or in six."""
LESS_AIR = 0.12
"""A rise by this ratio above the learnt one, and..."""
LEAST_AIR = 1.2
"""...so many kelvin, is little air."""
HOTTER, LEAST_HOT = 0.15, 4.0
"""The same for a part."""
LIVE_WATTS = 15.0
"""A part that takes less is not at work: nothing follows from its temperatures."""
MOST_WATTS = 200_000.0
"""No sled or shelf takes more: a reading above is none."""
SETTLING = 600.0
"""Seconds after a part came back, or its controller did, until its temperatures say something."""
SHARED = 0.1
"""Ratio by which a law may miss for what several blades warm: whose heat it is that comes by is not in it."""
WET = 2.5
"""K by which laws may miss where coolant takes part of the heat: how warm it comes, and how much, is not in them."""
FALLEN = 0.75
"""Part of its power of the round before below which a part was switched off, or its work stopped."""
NEW_HOME = 300
"""Rounds after which other blades being off counts as usual, at most; as many as the usual was seen, if fewer."""
SPARSE = 120.0
"""Seconds between rounds from which a part may have cooled for any part of them."""
LONGEST = 900.0
"""Seconds without a round after which the past inputs are unknown."""
LEARN_EVERY, LEARNT_EVERY = 50.0, 230.0
"""Seconds between samples, while learning and once most is learnt: rounds in between are judged, not learnt."""
ENOUGH = 60
"""Samples after which most is learnt."""
COMPARE_EVERY = 600.0
LONGEST_AWAY = 1800.0
"""Seconds between two runs after which a room may be warmer than it was without anybody's fault."""


class AirLook:
    """A controller's air and heat."""

    def __init__(self, controller: str, peers: Peers | None = None) -> None:
        """``peers``: shared with the looks of other controllers, where there are any."""
        self._controller = controller
        self._peers = peers if peers is not None else Peers()
        self._signs = Signs(controller)
        self._warm = WarmAir(controller, self._peers, self._signs)
        self._wiring: Wiring | None = None
        self._identity: tuple[object, ...] = ()
        self._visible: dict[str, frozenset[Sign]] = {}
        self._last: Seconds | None = None
        self._learnt: Seconds = float("-inf")
        self._compared: Seconds = float("-inf")
        self._parts: dict[str, Part] = {}
        self._row_of: dict[int, int] = {}
        self._speed_before = float("nan")
        self._serials: tuple[str | None, ...] = ()
        self._odd: Mapping[int, float] = {}
        self._as_learnt: Flags = np.zeros(0, dtype=bool)
        self._home = Home(NEW_HOME)
        self._wet = 0.0

    @property
    def visible(self) -> Visible:
        """What it could see."""
        return self._visible

    @property
    def present(self) -> Mapping[SignKey, Observation]:
        """What it sees now."""
        return self._signs.present

    @property
    def weak(self) -> tuple[str, ...]:
        """What can't be said of this controller, and why."""
        return () if self._wiring is None else self._wiring.weak

    def per_watt(self, column: int) -> tuple[float, float] | None:
        """By how many K a temperature rises with a further W on its path, at the present fan speed; and its deviation.

        None where the data do not carry it: too little learnt, or too little variation to tell it from nothing.
        """
        row = self._row_of.get(column)
        if row is None or not self._speed_before > 0.0 or self._last is None:
            return None
        if not self._laws.ready(self._last)[row]:
            return None
        slope, deviation = self._laws.slope(row, self._speed_before)
        return (slope, deviation) if slope > 3.0 * deviation else None

    def explained(self, column: int) -> bool | None:
        """Whether a temperature is as warm as what was learnt of it says; None where nothing says so, nor that it is
        hotter."""
        row = self._row_of.get(column)
        if row is None:
            return None
        if self._as_learnt[row]:
            return True
        return False if self._shown(row) else None

    kept = "air"

    def _row_keys(self) -> list[str]:
        """What each row is a law of, down to the sensors of its inputs: another part, or another input, another law."""
        if self._wiring is None:
            return []
        keys = []
        for owner, name, serial, path in zip(
            self._owners, self._names, self._serials, self._path.tolist(), strict=True
        ):
            inputs = self._wiring.paths[path]
            told = (self._sensor_names[inputs.inlet], self._sensor_names[inputs.power], len(self._wiring.fans))
            keys.append("|".join(map(str, (owner, name, serial or "", *told))))
        return keys

    def learnt(self) -> Learnt:
        """The laws of heat, and what is usual of inlets and metered air."""
        figures = {f"warm|{name}": told for name, told in self._warm.learnt().items()}
        if self._wiring is not None and self._wiring.flow is not None and self._air_per_speed.known:
            figures[f"flow|{self._wiring.flow[1]}"] = self._air_per_speed.kept
        keys = self._row_keys()
        if not keys:
            return Learnt(figures=figures)
        rows = {name: getattr(self._laws, name) for name, _ in self._laws.KEPT}
        home, blades = self._home.learnt()
        laws = table(keys, self._laws.samples > 0, **rows)
        return Learnt(tables={"laws": laws}, figures=figures | home, words=blades)

    def recall(self, learnt: Learnt, then: Seconds, now: Seconds) -> None:
        """Take them up, of parts that are still the same."""
        laws = learnt.table("laws")
        told = {name: laws.column(name, *shape) for name, shape in Baselines.KEPT} if laws.keys else {}
        short = 0.0 <= now - then <= LONGEST_AWAY
        self._warm.recall(
            {name.removeprefix("warm|"): each for name, each in learnt.figures.items() if name.startswith("warm|")},
            short=short,
        )
        if self._wiring is not None and self._wiring.flow is not None:
            self._air_per_speed.recall(learnt.figures.get(f"flow|{self._wiring.flow[1]}", ()))
        if told:
            old, new = laws.meet(self._row_keys())
            self._laws.recall(new, {name: column[old] for name, column in told.items()}, now)
            self._home.recall(learnt)

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk; what is learnt stays with parts that stayed."""
        wiring = wire(inventory)
        self._parts = {part.id: part for part in inventory.parts}
        self._signs.drop(frozenset(self._parts))
        sensors = inventory.layout.sensors
        targets = [(path.outlet, number) for number, path in enumerate(wiring.paths) if path.outlet is not None]
        targets += [(hot.column, hot.path) for hot in wiring.hot]
        keys = tuple(sensors[column].key for column, _ in targets)
        serials = tuple(self._serial(sensors[column].part) for column, _ in targets)
        shape = (keys, wiring)
        if shape != self._identity:
            self._identity = shape
            self._lay_out(wiring, targets)
        elif serials != self._serials:
            changed = [a != b and a is not None and b is not None for a, b in zip(serials, self._serials, strict=True)]
            self._laws.forget(np.asarray(changed, dtype=bool))
        self._serials = serials
        self._wiring = wiring
        self._wet = WET if any(sensor.quantity is Quantity.LIQUID_FLOW for sensor in sensors) else 0.0
        self._names = [sensors[column].sensor for column, _ in targets]
        self._sensor_names = [f"{sensor.part} {sensor.sensor}" for sensor in sensors]
        self._owners = [sensors[column].part for column, _ in targets]
        self._visible = self._what_is_visible(wiring)
        self._warm.inventory(inventory, wiring.inlets)
        if wiring.flow is not None and wiring.fans:
            metered = wiring.flow[1]
            self._visible[metered] = self._visible.get(metered, frozenset()) | {Sign.SHORT_OF_AIR, Sign.WORKS_HARD}
        for _, part in wiring.inlets:
            self._visible[part] = self._visible.get(part, frozenset()) | {Sign.WARM_AIR}

    def _serial(self, part: str) -> str | None:
        one = self._parts.get(part)
        return None if one is None else one.identity.serial

    def _lay_out(self, wiring: Wiring, targets: list[tuple[int, int]]) -> None:
        self._columns = np.asarray([column for column, _ in targets], dtype=np.intp)
        self._row_of = {column: row for row, (column, _) in enumerate(targets)}
        self._path = np.asarray([path for _, path in targets], dtype=np.intp)
        self._air_rows = sum(path.outlet is not None for path in wiring.paths)
        self._groups = [
            f"air|{wiring.paths[number].kind}|{design(self._parts[wiring.paths[number].part])}"
            for _, number in targets[: self._air_rows]
        ] + [hot.group for hot in wiring.hot]
        self._comparable = [True] * self._air_rows + [hot.group.endswith(f"|{Kind.PROCESSOR}") for hot in wiring.hot]
        self._inlet = np.asarray([path.inlet for path in wiring.paths], dtype=np.intp)
        self._power = np.asarray([path.power for path in wiring.paths], dtype=np.intp)
        self._wiring_fans = wiring.fans
        self._lags = Lags(4 * len(wiring.paths))
        self._laws = Baselines(len(targets))
        self._as_learnt = np.zeros(len(targets), dtype=bool)
        self._blades = frozenset(path.part for path in wiring.paths if path.kind in (Kind.BLADE, Kind.MODULE))
        self._own_air = np.asarray([path.part in self._blades for path in wiring.paths], dtype=bool)
        self._settled = np.full(len(wiring.paths), -np.inf)
        self._was_live = np.ones(len(wiring.paths), dtype=bool)
        self._power_before = np.full(len(wiring.paths), np.nan)
        self._last = None
        self._air_per_speed = Usual(pace=0.002, reach=0.05)

    def _what_is_visible(self, wiring: Wiring) -> dict[str, frozenset[Sign]]:
        found: dict[str, frozenset[Sign]] = {}
        for row, owner in enumerate(self._owners):
            if row >= self._air_rows:
                signs = {Sign.HOT}
            elif wiring.paths[int(self._path[row])].kind is Kind.BLADE:
                signs = {Sign.SHORT_OF_AIR}
            else:
                signs = {Sign.SHORT_OF_AIR, Sign.WORKS_HARD} if wiring.fans else {Sign.SHORT_OF_AIR}
            found[owner] = found.get(owner, frozenset()) | signs
        return found

    def round(self, seen: Seen) -> bool:
        """Take a finished round."""
        if seen.frame is None or self._wiring is None:
            return False
        if len(seen.frame.values) <= max(self._columns, default=-1):
            return False  # of another layout: the walk that goes with it is on its way
        now = seen.time
        values = np.frombuffer(seen.frame.values, dtype=np.float64)
        self._signs.begin()
        self._warm.round(now, values, seen.idle)
        speed = self._metered(now, values)
        if len(self._columns):
            self._judge(now, values, seen.idle, speed)
        return self._signs.end()

    def _metered(self, now: Seconds, values: Floats) -> float:
        """Judge the flow of air where it is metered. Returns the fans' speed."""
        assert self._wiring is not None
        speed = speed_of(self._wiring_fans, values)
        before, self._speed_before = self._speed_before, speed
        if self._wiring.flow is not None:
            column, part = self._wiring.flow
            flow = float(values[column])
            look_at_flow(self._signs, self._air_per_speed, self._parts[part], flow, speed, before, now)
        return speed

    def _judge(self, now: Seconds, values: Floats, idle: frozenset[str], speed: float) -> None:
        assert self._wiring is not None
        paths = self._wiring.paths
        power, inlet = values[self._power], values[self._inlet]
        live = (power > LIVE_WATTS) & (power < MOST_WATTS) & (inlet > -60.0) & (inlet < 80.0) & (speed > 0.0)
        if idle:
            live &= np.asarray([path.part not in idle for path in paths])
        seconds = 0.0 if self._last is None else now - self._last
        if self._last is None or not 0.0 <= seconds <= LONGEST:
            self._lags.restart()
            if self._last is not None:
                self._settled[:] = now + SETTLING
            if seconds < 0.0:
                self._laws.set_back(-seconds)
        self._last = now
        # what was hot stays so for a while: the rounds only tell that the power fell, not when
        fell = (power < FALLEN * self._power_before) & (seconds > SPARSE)
        self._power_before = np.where(live, power, self._power_before)
        self._settled[(live & ~self._was_live) | fell] = now + SETTLING + max(0.0, min(seconds, LONGEST))
        self._was_live = live
        safe = speed if speed > 0.0 else 1.0
        count = len(paths)
        inputs = np.concatenate([power / safe, power, inlet, np.full(count, 1.0 / safe)])
        inputs[~np.concatenate([live, live, live, live])] = np.nan  # held as they were
        self._lags.step(seconds, inputs)
        low, high = self._lags.low, self._lags.high
        path, laws = self._path, self._laws
        if self._away(idle):
            live &= self._own_air
        rows_live = (live & (now >= self._settled))[path]
        temperature = values[self._columns]
        rows_live &= (temperature == temperature) & (temperature > -60.0) & (temperature < 200.0)
        if idle:
            rows_live &= np.asarray([owner not in idle for owner in self._owners])
        self._as_learnt = np.zeros(len(path), dtype=bool)
        if not rows_live.any():
            self._hold(rows_live)
            return
        per_low, per_high = low[path], high[path]
        power_low, power_high = low[count + path], high[count + path]
        inlet_low, inlet_high = low[2 * count + path], high[2 * count + path]
        slow_low, slow_high = low[3 * count + path], high[3 * count + path]
        pick = np.arange(len(path))
        least, most = laws.inputs(per_low, power_low, slow_low), laws.inputs(per_high, power_high, slow_high)
        middle = 0.5 * (least + most)
        slower = np.where(pick < self._air_rows, 0.0, laws.slower(middle))
        rise = temperature - 0.5 * (inlet_low + inlet_high)[pick, laws.lag]
        air = pick < self._air_rows
        # No part is credited with more cooling, or less heat, than it was ever seen to get: only air follows the fan
        # laws so far.
        for at, learnt in ((1, laws.coolest), (2, laws.lightest)):
            floor = np.where(air | ~np.isfinite(learnt), -np.inf, learnt)[:, None]
            np.maximum(least[:, :, at], floor, out=least[:, :, at])
            np.maximum(most[:, :, at], floor, out=most[:, :, at])
        bottom, top, spread = laws.bounds(least, most)
        warmest = inlet_high.max(axis=1)
        excess = temperature - warmest - np.maximum(top, 0.0)
        level = np.maximum(top, 1.0)
        spread = np.hypot(spread, level * (slower + np.where(air | self._own_air[path], 0.0, SHARED)))
        lighter = np.where(air | ~rows_live, 0.0, laws.lighter(middle)) * np.maximum(
            level, np.where(rows_live, rise, 0.0)
        )
        spread = np.hypot(spread, np.where(air, 0.0, np.hypot(self._wet, lighter)))
        z = excess / spread
        ready = laws.ready(now)
        much = np.where(air, np.maximum(LEAST_AIR, LESS_AIR * level), np.maximum(LEAST_HOT, HOTTER * level))
        holding = np.zeros(len(path), dtype=bool)
        judged = rows_live & ready
        # between rounds far apart a load may have gone that warmed all of these
        off = judged & (z >= SURE) & (excess > 0.5 * much) & (seconds <= SPARSE)
        beside = np.bincount(path[off], minlength=count)
        for row in np.nonzero(judged & (excess > 0.5 * much))[0].tolist():
            shown = self._shown(row)
            if (z[row] >= LIKELY and excess[row] >= much[row]) or (shown and z[row] >= 0.5 * SURE):
                holding[row] = True
                borne_out = bool(off[row]) and int(beside[path[row]]) > 1
                self._tell(row, now, float(excess[row]), float(level[row]), float(z[row]), speed, borne_out)
        self._as_learnt = judged & (excess < 0.5 * much) & ~holding
        self._hold(rows_live)
        learning = rows_live & ~holding & (~ready | (np.abs(rise - np.clip(rise, bottom, top)) < 4.0 * spread))
        pace = LEARN_EVERY if laws.samples.min() < ENOUGH else LEARNT_EVERY
        if now - self._learnt >= pace or now < self._learnt:
            self._learnt = now
            laws.learn(middle, rise, learning, now)
        if now - self._compared >= COMPARE_EVERY or now < self._compared:
            self._compared = now
            self._odd = self._compare(ready)
        for row, ratio in self._odd.items():
            if rows_live[row] and not holding[row]:
                self._tell_odd(row, now, ratio)

    def _away(self, idle: frozenset[str]) -> bool:
        """Whether other blades are off than when the laws of what they share were learnt."""
        off = idle & self._blades
        if not self._home.away(off):
            return False
        if self._home.left:
            if self._home.known:
                self._laws.forget(~self._own_air[self._path])
            self._home.settle(off)
        return True

    def _keys(self, row: int) -> tuple[tuple[str, Sign, str | None], ...]:
        owner = self._owners[row]
        if row >= self._air_rows:
            return ((owner, Sign.HOT, self._names[row]),)
        if self._wiring is not None and self._wiring.paths[int(self._path[row])].kind is Kind.BLADE:
            return ((owner, Sign.SHORT_OF_AIR, None),)
        return ((owner, Sign.SHORT_OF_AIR, None), (owner, Sign.WORKS_HARD, None))

    def _shown(self, row: int) -> bool:
        return self._keys(row)[0] in self._signs.present

    def _hold(self, judged: Flags) -> None:
        """Rows of which nothing can be said keep what they showed."""
        if not self._signs.present:
            return
        for row in np.nonzero(~judged)[0].tolist():
            for key in self._keys(row):
                self._signs.keep(*key)

    def _tell(
        self, row: int, now: Seconds, excess: float, level: float, z: float, speed: float, borne_out: bool
    ) -> None:
        """``borne_out``: other sensors in the same air say the same, each by itself beyond doubt: no slip of one."""
        part = self._parts[self._owners[row]]
        weight = min(1.0, 0.45 + 0.05 * z)
        rounds = 1 if borne_out else 2 if z >= SURE else 6
        if row >= self._air_rows:
            text = (
                f"{part.name}: {self._names[row]} is {excess:.1f} K above the {level:.0f} K over its inlet air that "
                f"power, fan speed and inlet explain"
            )
            self._signs.see(part.id, Sign.HOT, text, now, weight, self._names[row], rounds)
            return
        less = 1.0 - level / (level + excess)
        warms = f"air warms by {level + excess:.1f} K where {level:.1f} K was learnt at this power and fan speed"
        for _, sign, _ in self._keys(row):
            if sign is Sign.WORKS_HARD:
                said = f"{part.name}: fans at {percent(speed)} move {percent(less)} less air than was learnt of them"
            else:
                said = f"{part.name}: {warms}: {percent(less)} less air"
            self._signs.see(part.id, sign, said, now, weight, rounds=rounds)

    def _tell_odd(self, row: int, now: Seconds, ratio: float) -> None:
        part = self._parts[self._owners[row]]
        weight = min(0.6, 0.2 + 0.5 * (ratio - 1.0))
        if row >= self._air_rows:
            more = percent(ratio - 1.0)
            text = f"{part.name}: {self._names[row]} rises {more} more a watt than its peers of the same design"
            self._signs.see(part.id, Sign.HOT, text, now, weight, self._names[row])
        else:
            more = percent(ratio - 1.0)
            text = f"{part.name}: its air warms {more} more a watt than that of its peers of the same design"
            self._signs.see(part.id, Sign.SHORT_OF_AIR, text, now, weight)

    def _compare(self, ready: Flags) -> dict[int, float]:
        """Rows that stand out among those alike, in this sled and in others: ratio to their median."""
        rises = self._laws.per_watt()
        by_group: dict[str, dict[int, float]] = {}
        for row in np.nonzero(ready)[0].tolist():
            if rises[row] > 0.0 and self._comparable[row]:
                by_group.setdefault(self._groups[row], {})[row] = float(rises[row])
        found: dict[int, float] = {}
        for group, own in by_group.items():
            found |= self._peers.standing_out(group, self._controller, own)
        return found
