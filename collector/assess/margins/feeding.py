"""An inventory compiled to what feeds what: voltages, supplies, sums that should agree, loads with limits, coolant."""

from __future__ import annotations

from typing import Any, NamedTuple

from collector.assess.margins.wiring import own_power
from collector.model import Inventory, Kind, Part, Quantity, Sensor

MOST_WATTS = 1e6
"""No part takes more: a reading above is none (common practice, no source)."""


class Line(NamedTuple):
    """A voltage that a part is fed with."""

    name: str
    part: str
    column: int
    low: float | None
    high: float | None
    nominal: float | None
    """Middle of the told limits, V."""


class Supply(NamedTuple):
    """A power supply."""

    part: str
    power_in: int | None
    power_out: int | None


class Adds(NamedTuple):
    """Two sums in W that should differ by a steady share only."""

    name: str
    part: str
    sensor: str | None
    left_columns: tuple[int, ...]
    right_columns: tuple[int, ...]
    product: tuple[int, int] | None
    """Columns of V and A whose product stands on the right instead."""
    left_text: str
    right_text: str
    one_way: bool
    """Whether the right can't be more than the left."""
    least: float
    """W below which a difference says nothing."""

    def left(self, values: Any) -> float | None:
        """Its sum; None where a reading is absent, negative or absurd."""
        return _total(values, self.left_columns)

    def right(self, values: Any) -> float | None:
        """The other sum."""
        if self.product is not None:
            volts, amperes = values[self.product[0]], values[self.product[1]]
            return float(volts * amperes) if volts >= 0.0 and amperes >= 0.0 else None
        return _total(values, self.right_columns)


class Feeding(NamedTuple):
    """Columns of one controller's layout."""

    lines: tuple[Line, ...]
    supplies: tuple[Supply, ...]
    sums: tuple[Adds, ...]
    loads: tuple[tuple[int, float], ...]
    """(column, limit) of power and load readings with a rating."""
    flows: tuple[int, ...]


def _total(values: Any, columns: tuple[int, ...]) -> float | None:
    total = 0.0
    for column in columns:
        value = values[column]
        if not 0.0 <= value < MOST_WATTS:
            return None
        total += value
    return total


def _find(own: list[tuple[int, Sensor]], quantity: Quantity, *words: str) -> int | None:
    for column, sensor in own:
        low = sensor.sensor.lower()
        if sensor.quantity is quantity and "average" not in low and all(word in low for word in words):
            return column
    return None


def feed(inventory: Inventory) -> Feeding:
    """Compile."""
    sensors = inventory.layout.sensors
    by_part: dict[str, list[tuple[int, Sensor]]] = {}
    for column, sensor in enumerate(sensors):
        by_part.setdefault(sensor.part, []).append((column, sensor))
    kinds: dict[Kind, list[Part]] = {}
    for part in inventory.parts:
        kinds.setdefault(part.kind, []).append(part)
    supplies = tuple(
        Supply(
            part.id,
            _find(by_part.get(part.id, []), Quantity.POWER, "input"),
            _find(by_part.get(part.id, []), Quantity.POWER, "output"),
        )
        for part in kinds.get(Kind.POWER_SUPPLY, ())
    )
    supplies = tuple(one for one in supplies if one.power_in is not None or one.power_out is not None)
    lines = tuple(_line(column, sensor) for column, sensor in enumerate(sensors) if _feeds(sensor))
    once: dict[str, Line] = {}
    for line in lines:
        once.setdefault(line.part, line)
    flows = tuple(column for column, sensor in enumerate(sensors) if sensor.quantity is Quantity.LIQUID_FLOW)
    loads = []
    for column, sensor in enumerate(sensors):
        caution = sensor.thresholds.upper_caution or sensor.thresholds.upper_critical
        if sensor.quantity is Quantity.POWER and caution is not None:
            loads.append((column, caution.value))
        elif sensor.quantity is Quantity.LOAD_RATIO:
            loads.append((column, 100.0))
    return Feeding(tuple(once.values()), supplies, tuple(_sums(kinds, by_part, supplies, sensors)), tuple(loads), flows)


def _feeds(sensor: Sensor) -> bool:
    return sensor.quantity is Quantity.VOLTAGE and "rail" not in sensor.sensor.lower()


def _line(column: int, sensor: Sensor) -> Line:
    limits = sensor.thresholds
    low = limits.lower_caution or limits.lower_critical
    high = limits.upper_caution or limits.upper_critical
    nominal = 0.5 * (low.value + high.value) if low is not None and high is not None else None
    return Line(
        f"volts|{sensor.part}|{sensor.sensor}",
        sensor.part,
        column,
        None if low is None else low.value,
        None if high is None else high.value,
        nominal,
    )


def _sums(
    kinds: dict[Kind, list[Part]],
    by_part: dict[str, list[tuple[int, Sensor]]],
    supplies: tuple[Supply, ...],
    sensors: tuple[Sensor, ...],
) -> list[Adds]:
    found: list[Adds] = []
    taken = tuple(one.power_in for one in supplies if one.power_in is not None)
    given = tuple(one.power_out for one in supplies if one.power_out is not None)
    holders = kinds.get(Kind.SLED, []) + kinds.get(Kind.ENCLOSURE, [])
    holder = next((part for part in holders if own_power(by_part.get(part.id, [])) is not None), None)
    feed_column = None if holder is None else own_power(by_part[holder.id])
    if holder is not None and feed_column is not None and len(taken) == len(supplies) > 0:
        sensor = sensors[feed_column].sensor
        found.append(_plain("feed", holder.id, sensor, (feed_column,), taken, "input", "supplies' input"))
    for one in supplies:
        if one.power_in is not None and one.power_out is not None:
            name = f"supply|{one.part}"
            found.append(
                _plain(name, one.part, None, (one.power_in,), (one.power_out,), "input", "output", one_way=True)
            )
    blades = [
        column for part in kinds.get(Kind.BLADE, ()) if (column := own_power(by_part.get(part.id, []))) is not None
    ]
    if holder is not None and blades and len(blades) == len(kinds.get(Kind.BLADE, ())):
        fans = [
            column
            for column, sensor in by_part.get(holder.id, [])
            if sensor.quantity is Quantity.POWER and sensor.context == "CoolingSubsystem"
        ][:1]
        source = given if given and len(given) == len(supplies) else None
        if source is None and feed_column is not None:
            source = (feed_column,)
        if source is not None:
            text = "supplies' output" if source is given else "input"
            sum_ = _plain("blades", holder.id, None, source, tuple(blades + fans), text, "sum of blades and fans")
            found.append(sum_._replace(one_way=True, least=40.0))
    for kind in (Kind.BLADE, Kind.OUTLET, Kind.CIRCUIT, Kind.SLED):
        for part in kinds.get(kind, ()):
            own = by_part.get(part.id, [])
            power = own_power(own)
            volts, amperes = _find(own, Quantity.VOLTAGE), _find(own, Quantity.CURRENT)
            if power is not None and volts is not None and amperes is not None:
                name = f"product|{part.id}"
                sum_ = _plain(name, part.id, sensors[power].sensor, (power,), (), "told power", "voltage times current")
                found.append(sum_._replace(product=(volts, amperes), least=12.0))
    _shelf(kinds, by_part, holder, given, found)
    return found


def _shelf(
    kinds: dict[Kind, list[Part]],
    by_part: dict[str, list[tuple[int, Sensor]]],
    holder: Part | None,
    given: tuple[int, ...],
    found: list[Adds],
) -> None:
    def of(kind: Kind) -> tuple[int, ...]:
        parts = kinds.get(kind, [])
        columns = [own_power(by_part.get(part.id, [])) for part in parts]
        return tuple(column for column in columns if column is not None)

    circuits, outlets = of(Kind.CIRCUIT), of(Kind.OUTLET)
    if holder is None:
        return
    own = own_power(by_part.get(holder.id, []))
    if circuits and own is not None:
        found.append(_plain("circuits", holder.id, None, (own,), circuits, "input", "sum of circuits"))
    if outlets and given:
        for part in kinds.get(Kind.POWER_FEED, [])[:1]:
            text = "supplies' output"
            found.append(_plain("outlets", part.id, None, given, outlets, text, "sum of outlets", one_way=True))


def _plain(
    name: str,
    part: str,
    sensor: str | None,
    left: tuple[int, ...],
    right: tuple[int, ...],
    left_text: str,
    right_text: str,
    *,
    one_way: bool = False,
) -> Adds:
    return Adds(name, part, sensor, left, right, None, left_text, right_text, one_way, 25.0)
