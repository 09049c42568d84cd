"""A sled's readings, each with its nearest limit and the margin to it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.model import Condition, Health, Kind, Reading, Seconds, Sensor
from dashboard.drawings.trace import Line
from dashboard.views.places import Places, label
from dashboard.views.words import figure, limits, nearest


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One sensor's newest reading."""

    sensor: Sensor
    value: float | None
    words: str
    """Value with unit, or ``no value``."""
    health: Health
    """As the controller reports it for the sensor."""
    time: Seconds
    lines: tuple[Line, ...]
    limit: str
    """The limit that matters, e.g. ``upper caution 42.0 °C``; "" without limits."""
    margin: str
    """e.g. ``3.1 °C left`` or ``2.0 °C beyond``; "" without limits or value."""
    crossed: Health
    """What the crossed limits mean; OK when none is, unknown without value or limits."""

    @property
    def key(self) -> str:
        """Names the sensor in an address: part and sensor."""
        return key_of(self.sensor)


@dataclass(frozen=True, slots=True)
class PartReadings:
    """The readings of one part."""

    part: str
    name: str
    kind: Kind
    lines: tuple[ReadingLine, ...]


def key_of(sensor: Sensor) -> str:
    """A sensor's name in an address, unique within its controller."""
    tail = sensor.part.removeprefix(f"{sensor.controller}:")
    return f"{tail}|{sensor.sensor}"


def troubled_keys(conditions: Iterable[Condition], readings: Iterable[Reading]) -> list[str]:
    """Keys of the sensors that open conditions are about, worst first; those of a part's conditions without a sensor
    are the part's own."""
    sensors = [reading.sensor for reading in readings]
    found = []
    for condition in sorted(conditions, key=lambda each: (-each.severity, each.opened)):
        for sensor in sensors:
            if sensor.part == condition.part and condition.sensor in (None, sensor.sensor):
                found.append(key_of(sensor))
    return found


def reading_line(reading: Reading) -> ReadingLine:
    """One reading in words."""
    sensor = reading.sensor
    lines = limits(sensor)
    close = nearest(reading.value, lines)
    limit = margin = ""
    crossed = Health.UNKNOWN
    if close is not None:
        line, distance = close
        limit = f"{line.words} {figure(line.value, sensor.quantity, sensor.unit)}"
        margin = figure(abs(distance), sensor.quantity, sensor.unit) + (" beyond" if distance < 0 else " left")
        crossed = line.health if distance < 0 else Health.OK
    elif lines:
        limit = f"{lines[0].words} {figure(lines[0].value, sensor.quantity, sensor.unit)}"
    return ReadingLine(
        sensor,
        reading.value,
        figure(reading.value, sensor.quantity, sensor.unit),
        reading.health,
        reading.time,
        lines,
        limit,
        margin,
        crossed,
    )


def by_part(readings: Iterable[Reading], places: Places, controller: str) -> tuple[PartReadings, ...]:
    """Readings grouped by part: those with a crossed limit first, then as the parts stand in the tree."""
    groups: dict[str, list[ReadingLine]] = {}
    for reading in readings:
        groups.setdefault(reading.sensor.part, []).append(reading_line(reading))
    order = {part.id: position for position, part in enumerate(places.of_controller.get(controller, ()))}
    found = []
    for part_id, lines in groups.items():
        part = places.parts.get(part_id)
        name = _name(places, part_id)
        found.append(PartReadings(part_id, name, part.kind if part else lines[0].sensor.kind, tuple(lines)))
    return tuple(sorted(found, key=lambda group: (-_loudest(group.lines), order.get(group.part, 1 << 30))))


def _name(places: Places, part_id: str) -> str:
    part = places.parts.get(part_id)
    if part is None:
        return part_id
    lineage = places.lineage(part)
    blade = next((outer for outer in lineage[1:] if outer.kind is Kind.BLADE), None)
    return f"{label(blade)} / {label(part)}" if blade is not None else label(part)


def _loudest(lines: Sequence[ReadingLine]) -> int:
    return max((max(line.crossed, line.health) for line in lines if max(line.crossed, line.health) > 1), default=0)


def first_to_show(groups: Sequence[PartReadings], wanted: str | None, troubled: Sequence[str]) -> ReadingLine | None:
    """The sensor whose history is shown: the one asked for, else one in trouble, else the first temperature, else any.

    ``troubled`` are sensor keys of open conditions, worst first.
    """
    lines = {line.key: line for group in groups for line in group.lines}
    for key in (wanted, *troubled):
        if key is not None and key in lines:
            return lines[key]
    temperatures = (line for line in lines.values() if line.sensor.quantity.value == "temperature")
    return next(temperatures, next(iter(lines.values()), None))
