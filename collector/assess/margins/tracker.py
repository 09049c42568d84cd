"""One controller's margins: kelvin and watts left, told when they have changed by enough to tell."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from collector.assess.looking import Seen
from collector.assess.margins.pace import Pace
from collector.assess.margins.places import Place, place_of
from collector.assess.margins.wiring import is_inlet, is_outlet, output_of, own_power, phase_of
from collector.model import Inventory, Kind, Location, Margin, MarginKind, Quantity, Seconds, Sensor, SettingKind

KELVIN, WATTS_RATIO = 1.0, 0.02
"""Changes worth telling: K, and a ratio of the limit in W."""

LEAST_CURRENT = 0.05
"""Share of what it is rated for below which a current says too little of how power goes with it."""

_NO_LOAD = ("neutral", "peak", "average")
"""Words in the names of currents that are none of a phase right now."""

PerWatt = Callable[[int], tuple[float, float] | None]
"""K a further W of a column, with its deviation; None where the data do not carry it."""


class _Column(NamedTuple):
    column: int
    limit: float
    basis: str


class _Spare(NamedTuple):
    """A shared feed told with its load: what remains when one of its supplies is lost."""

    part: str
    power: int
    load: int
    supplies: int
    sensor: str


class _Shared(NamedTuple):
    """Supplies that tell their ratings and share what they give: what remains when one of them is lost."""

    part: str
    outputs: tuple[int, ...]
    ratings: tuple[float, ...]


class _Carried(NamedTuple):
    """A circuit or an outlet with the current that it may carry."""

    part: str
    power: int
    currents: tuple[int, ...]
    """Of its phases, or of all of it."""
    rated: float
    sensor: str


class Margins:
    """Fed walks and rounds of one controller."""

    def __init__(
        self,
        controller: str,
        places: Sequence[Place] = (),
        location: Location | None = None,
        per_watt: PerWatt | None = None,
    ) -> None:
        """``location``: where the controller is as the fleet file says; ``per_watt``: see :data:`PerWatt`."""
        self._controller = controller
        self._places = tuple(places)
        self._location = location if location is not None else Location()
        self._per_watt: PerWatt = per_watt if per_watt is not None else lambda column: None
        self._sensors: tuple[Sensor, ...] = ()
        self._plan: dict[tuple[str, MarginKind], tuple[_Column, ...]] = {}
        self._spare: tuple[_Spare, ...] = ()
        self._shared: _Shared | None = None
        self._carried: dict[str, _Carried] = {}
        self._told: dict[tuple[str, MarginKind], Margin] = {}
        self._pace = Pace()

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        self._sensors = inventory.layout.sensors
        parts = {part.id: part for part in inventory.parts}
        plan: dict[tuple[str, MarginKind], list[_Column]] = {}
        for column, sensor in enumerate(self._sensors):
            limits = sensor.thresholds
            upper = limits.upper_critical or limits.upper_caution or limits.upper_fatal
            word = "critical" if limits.upper_critical is not None else "caution"
            if sensor.quantity is Quantity.TEMPERATURE and is_inlet(sensor):
                part = parts.get(sensor.part)
                place = place_of(
                    self._places, self._location if part is None else _merged(part.location, self._location)
                )
                allowed = None if place is None else place.inlet_limit
                if place is not None and allowed is not None:
                    basis = f"class {place.air_class} at {place.altitude:g} m (ASHRAE TC 9.9, 2021)"
                    plan.setdefault((sensor.part, MarginKind.AIR), []).append(_Column(column, allowed, basis))
                elif upper is not None:
                    basis = f"its own upper {word} threshold"
                    plan.setdefault((sensor.part, MarginKind.AIR), []).append(_Column(column, upper.value, basis))
            elif sensor.quantity is Quantity.TEMPERATURE and not is_outlet(sensor) and upper is not None:
                basis = f"{sensor.sensor}, upper {word} threshold"
                plan.setdefault((sensor.part, MarginKind.HEAT), []).append(_Column(column, upper.value, basis))
            elif sensor.quantity is Quantity.POWER and upper is not None:
                basis = f"{sensor.sensor}, upper {word} threshold"
                plan.setdefault((sensor.part, MarginKind.POWER), []).append(_Column(column, upper.value, basis))
        for setting in inventory.settings:
            if setting.kind is SettingKind.POWER_LIMIT and setting.active and (setting.value or 0.0) > 0.0:
                for column, sensor in enumerate(self._sensors):
                    if sensor.part == setting.part and sensor.quantity is Quantity.POWER:
                        basis = f"{sensor.sensor}, {setting.name} that its controller keeps"
                        limit = _Column(column, setting.value or 0.0, basis)
                        plan.setdefault((sensor.part, MarginKind.POWER), []).append(limit)
                        break
        for part_id, limit in _rated(inventory):
            plan.setdefault((part_id, MarginKind.POWER), []).append(limit)
        self._carried = {one.part: one for one in _carriers(inventory)}
        for part_id in self._carried:
            plan.setdefault((part_id, MarginKind.POWER), [])
        self._plan = {key: tuple(columns) for key, columns in plan.items()}
        self._spare = tuple(_spares(inventory))
        self._shared = None if self._spare else _shared(inventory)
        known = set(self._plan) | {(one.part, MarginKind.REDUNDANCY) for one in self._spare}
        if self._shared is not None:
            known.add((self._shared.part, MarginKind.REDUNDANCY))
        self._told = {key: margin for key, margin in self._told.items() if key in known}
        self._pace = Pace()  # what a walk finds is told with the next round
        self._pace.walked(inventory)

    @property
    def current(self) -> tuple[Margin, ...]:
        """The newest word on each."""
        return tuple(self._told.values())

    def round(self, seen: Seen) -> Sequence[Margin]:
        """Take a finished round; the margins that changed by enough to tell."""
        values = self._pace.values(seen)
        if values is None:
            return ()
        news = []
        for key, columns in self._plan.items():
            if key[0] in seen.idle:
                continue
            least: _Column | None = None
            if key[1] is MarginKind.POWER and (carried := self._carried.get(key[0])) is not None:
                least = self._up_to_rated(carried, values)
            for one in columns:
                value = values[one.column]
                if value == value and (least is None or one.limit - value < least.limit - values[least.column]):
                    least = one
            if least is None or not self._moved(key, values[least.column], least.limit):
                continue
            news.append(self._margin(key, least, values[least.column], seen.time))
        for spare in self._spare:
            margin = self._after_loss(spare, values[spare.power], values[spare.load], seen.time)
            if margin is not None:
                news.append(margin)
        if self._shared is not None and (margin := self._without_one(self._shared, values, seen.time)) is not None:
            news.append(margin)
        for margin in news:
            self._told[margin.part, margin.kind] = margin
        return news

    def _moved(self, key: tuple[str, MarginKind], value: float, limit: float) -> bool:
        told = self._told.get(key)
        if told is None or told.limit != limit:
            return True
        power = key[1] in (MarginKind.POWER, MarginKind.REDUNDANCY)
        least = WATTS_RATIO * abs(limit) if power else KELVIN
        return abs(value - told.value) >= least or (told.left < 0.0) is not (limit - value < 0.0)

    def _margin(self, key: tuple[str, MarginKind], one: _Column, value: float, now: Seconds) -> Margin:
        part, kind = key
        sensor = self._sensors[one.column]
        left = one.limit - value
        watts, basis = None, one.basis
        if kind is MarginKind.POWER:
            watts = max(0.0, left)
        elif kind is MarginKind.HEAT:
            slope = self._per_watt(one.column)
            if slope is not None:
                watts = max(0.0, left / slope[0])
                basis += f"; {slope[0]:.3f} K a watt, learnt to within {2.0 * slope[1]:.3f}"
            else:
                basis += "; too little learnt to say in watts"
        return Margin(
            controller=self._controller,
            part=part,
            kind=kind,
            time=now,
            value=value,
            limit=one.limit,
            left=left,
            unit="W" if kind is MarginKind.POWER else "Cel",
            watts=watts,
            sensor=sensor.sensor,
            basis=basis,
        )

    def _after_loss(self, spare: _Spare, power: float, load: float, now: Seconds) -> Margin | None:
        """The rating follows from power and load ratio; one supply's share of it is lost."""
        if not power > 0.0 or not load > 2.0:
            return None
        rating = 100.0 * power / load
        before = self._told.get((spare.part, MarginKind.REDUNDANCY))
        remaining = rating * (spare.supplies - 1) / spare.supplies
        if before is not None and abs(remaining - before.limit) < 0.03 * before.limit:
            remaining = before.limit  # a ratio told in whole percent makes the rating tremble
        basis = f"{spare.supplies - 1} of {spare.supplies} supplies left; rating from power and load ratio"
        return self._redundancy(spare.part, power, remaining, now, basis, spare.sensor)

    def _without_one(self, shared: _Shared, values: Sequence[float], now: Seconds) -> Margin | None:
        """What those that give power now give together, against what they can without the largest of them."""
        given = [values[column] for column in shared.outputs]
        working = [rating for rating, output in zip(shared.ratings, given, strict=True) if output > 0.0]
        if not working or not all(output >= 0.0 for output in given):
            return None
        load, remaining = math.fsum(given), math.fsum(working) - max(working)
        basis = f"{len(working) - 1} of {len(working)} supplies left, by their ratings"
        return self._redundancy(shared.part, load, remaining, now, basis)

    def _redundancy(
        self, part: str, load: float, remaining: float, now: Seconds, basis: str, sensor: str | None = None
    ) -> Margin | None:
        """What is left of the power that remains when one supply is lost, W; None where it is no news."""
        if not self._moved((part, MarginKind.REDUNDANCY), load, remaining):
            return None
        return Margin(
            controller=self._controller,
            part=part,
            kind=MarginKind.REDUNDANCY,
            time=now,
            value=load,
            limit=remaining,
            left=remaining - load,
            unit="W",
            watts=max(0.0, remaining - load),
            sensor=sensor,
            basis=basis,
        )

    def _up_to_rated(self, one: _Carried, values: Sequence[float]) -> _Column | None:
        """The power at which its current, the largest of its phases', would be what it is rated for, other things the
        same: voltage, power factor, how phases share."""
        told = [values[column] for column in one.currents]
        power, current = values[one.power], max((each for each in told if each == each), default=math.nan)
        if not power > 0.0 or not current > LEAST_CURRENT * one.rated:
            return None
        limit = power * one.rated / current
        before = self._told.get((one.part, MarginKind.POWER))
        if before is not None and abs(limit - before.limit) < 0.03 * before.limit:
            limit = before.limit  # what voltage and rounding make of it trembles
        basis = f"{one.sensor}; rated for {one.rated:g} A, {current:.1f} A now"
        return _Column(one.power, limit, basis + (" in the phase that carries most" if len(told) > 1 else ""))


def _carriers(inventory: Inventory) -> list[_Carried]:
    sensors = inventory.layout.sensors
    kinds = {part.id: part.kind for part in inventory.parts}
    found = []
    for setting in inventory.settings:
        if setting.kind is not SettingKind.RATED_CURRENT or not (setting.value or 0.0) > 0.0:
            continue
        if kinds.get(setting.part) not in (Kind.CIRCUIT, Kind.OUTLET):
            continue
        own = [(column, sensor) for column, sensor in enumerate(sensors) if sensor.part == setting.part]
        power = own_power(own)
        currents = tuple(
            column
            for column, sensor in own
            if sensor.quantity is Quantity.CURRENT
            and phase_of(sensor) != "Neutral"
            and not any(word in sensor.sensor.lower() for word in _NO_LOAD)
        )
        if power is not None and currents:
            found.append(_Carried(setting.part, power, currents, setting.value or 0.0, sensors[power].sensor))
    return found


def _rated(inventory: Inventory) -> list[tuple[str, _Column]]:
    """What parts may take, or supplies give, as they tell themselves, W: by part."""
    sensors = inventory.layout.sensors
    by_part: dict[str, list[tuple[int, Sensor]]] = {}
    for column, sensor in enumerate(sensors):
        by_part.setdefault(sensor.part, []).append((column, sensor))
    found = []
    for part in inventory.parts:
        if part.capacity is None or not part.capacity > 0.0:
            continue
        own = by_part.get(part.id, [])
        if part.kind is Kind.POWER_SUPPLY:
            given = output_of(own)
            if given is not None:
                basis = f"{sensors[given].sensor}, what it is rated to give"
                found.append((part.id, _Column(given, part.capacity, basis)))
        elif part.kind in (Kind.SLED, Kind.BLADE, Kind.MODULE) and (taken := own_power(own)) is not None:
            basis = f"{sensors[taken].sensor}, what it is rated for"
            found.append((part.id, _Column(taken, part.capacity, basis)))
    return found


def _shared(inventory: Inventory) -> _Shared | None:
    """The supplies of what holds them, where all tell what they give and can."""
    supplies = [part for part in inventory.parts if part.kind is Kind.POWER_SUPPLY]
    holders = {part.parent for part in supplies}
    if len(supplies) < 2 or len(holders) != 1 or None in holders:
        return None
    ratings = tuple(part.capacity for part in supplies if part.capacity is not None and part.capacity > 0.0)
    told = [
        output_of([(c, sensor) for c, sensor in enumerate(inventory.layout.sensors) if sensor.part == part.id])
        for part in supplies
    ]
    outputs = tuple(column for column in told if column is not None)
    if len(ratings) != len(supplies) or len(outputs) != len(supplies):
        return None
    return _Shared(next(iter(holders)) or "", outputs, ratings)


def _merged(told: Location, outer: Location) -> Location:
    return Location(site=told.site or outer.site, row=told.row or outer.row, rack=told.rack or outer.rack)


def _spares(inventory: Inventory) -> list[_Spare]:
    supplies = sum(part.kind is Kind.POWER_SUPPLY for part in inventory.parts)
    found: dict[str, dict[Quantity, int]] = {}
    for column, sensor in enumerate(inventory.layout.sensors):
        if sensor.kind is Kind.POWER_FEED:
            found.setdefault(sensor.part, {}).setdefault(sensor.quantity, column)
    return [
        _Spare(
            part,
            columns[Quantity.POWER],
            columns[Quantity.LOAD_RATIO],
            supplies,
            inventory.layout.sensors[columns[Quantity.POWER]].sensor,
        )
        for part, columns in found.items()
        if supplies > 1 and Quantity.POWER in columns and Quantity.LOAD_RATIO in columns
    ]
