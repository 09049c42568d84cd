"""A sled's readings, each with its nearest limit and the margin to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from collector.model import Condition, Health, Quantity, Reading, Seconds, Sensor
from dashboard.drawings.trace import Line
from dashboard.views.places import Places, label
from dashboard.views.units import PLAIN, Units
from dashboard.views.words import difference, figure, limits, nearest


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
    closeness: float | None
    """Distance to the limit over the distance between the innermost limits, or over the limit; negative beyond."""
    part: str = ""
    """The measured part's name."""
    unit: str = ""
    """The unit as the viewer reads it, of the value, the limits and the ends of the range."""
    low: float | None = None
    """The lower end of the sensor's range; None where not told."""
    high: float | None = None
    """The upper end of the sensor's range; None where not told."""

    @property
    def key(self) -> str:
        """Names the sensor in an address: part and sensor."""
        return key_of(self.sensor)


@dataclass(frozen=True, slots=True)
class Section:
    """The readings of one blade and all in it, or of the sled and what its blades share."""

    part: str
    """Id of the blade or the sled."""
    name: str
    lines: tuple[ReadingLine, ...]

    @property
    def worst(self) -> Health:
        """The worst of what crossed limits mean and what is reported; OK where nothing is wrong."""
        return max((max(line.crossed, line.health) for line in self.lines), default=Health.UNKNOWN)

    @property
    def closest(self) -> ReadingLine | None:
        """The line that has crossed its limit furthest or come closest to it, as a share of its scale."""
        near = [(line.closeness, place) for place, line in enumerate(self.lines) if line.closeness is not None]
        return self.lines[min(near)[1]] if near else None


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


def reading_line(reading: Reading, units: Units = PLAIN) -> ReadingLine:
    """One reading in words, as the viewer reads it."""
    sensor = reading.sensor
    quantity, unit = sensor.quantity, sensor.unit
    lines = limits(sensor)
    close = nearest(reading.value, lines)
    limit = margin = ""
    crossed, closeness = Health.UNKNOWN, None
    if close is not None:
        line, distance = close
        limit = f"{line.words} {figure(line.value, quantity, unit, units)}"
        margin = difference(abs(distance), quantity, unit, units) + (" beyond" if distance < 0 else " left")
        crossed = line.health if distance < 0 else Health.OK
        closeness = distance / _scale(line, lines)
    elif lines:
        limit = f"{lines[0].words} {figure(lines[0].value, quantity, unit, units)}"

    def shown(value: float | None) -> float | None:
        return None if value is None else units.value(value, unit)

    return ReadingLine(
        sensor,
        shown(reading.value),
        figure(reading.value, quantity, unit, units),
        reading.health,
        reading.time,
        tuple(replace(line, value=units.value(line.value, unit)) for line in lines),
        limit,
        margin,
        crossed,
        closeness,
        unit=units.word(unit),
        low=shown(sensor.range_min),
        high=shown(sensor.range_max),
    )


def _scale(limit: Line, lines: Sequence[Line]) -> float:
    upper = [line.value for line in lines if line.upper]
    lower = [line.value for line in lines if not line.upper]
    if upper and lower and min(upper) > max(lower):
        return min(upper) - max(lower)
    return abs(limit.value) or 1.0


def sections(readings: Iterable[Reading], places: Places, controller: str, units: Units = PLAIN) -> tuple[Section, ...]:
    """Readings by blade, the sled's and shared parts' together: troubled ones first, then the sled, then by slot."""
    order = {part.id: place for place, part in enumerate(places.of_controller.get(controller, ()))}
    blades = {blade.id: place for place, blade in enumerate(places.blades(controller))}
    front = places.front(controller)
    rest = front.id if front is not None else controller
    groups: dict[str, list[ReadingLine]] = {}
    for reading in readings:
        part = places.parts.get(reading.sensor.part)
        holder = next((each.id for each in places.lineage(part) if each.id in blades), rest) if part else rest
        name = label(part) if part is not None else reading.sensor.part
        groups.setdefault(holder, []).append(replace(reading_line(reading, units), part=name))
    found = []
    for holder, lines in groups.items():
        lines.sort(key=lambda line: (-_loudness(line), order.get(line.sensor.part, 1 << 30)))
        found.append(Section(holder, _name(holder, blades, places, controller), tuple(lines)))
    return tuple(sorted(found, key=lambda each: (-max(Health.OK, each.worst), blades.get(each.part, -1))))


def _name(holder: str, blades: Mapping[str, int], places: Places, controller: str) -> str:
    part = places.parts.get(holder)
    name = label(part) if part is not None else controller
    return f"{name} and what its blades share" if blades and holder not in blades else name


def _loudness(line: ReadingLine) -> int:
    return max(Health.OK, line.crossed, line.health)


def first_to_show(groups: Sequence[Section], wanted: str | None, troubled: Sequence[str]) -> ReadingLine | None:
    """The sensor whose history is shown.

    The one asked for, else the worst one beyond a limit, else one in trouble, else the first temperature, else any.

    ``troubled`` are sensor keys of open conditions, worst first.
    """
    lines = {line.key: line for group in groups for line in group.lines}
    if wanted is not None and wanted in lines:
        return lines[wanted]
    worth = [lines[key] for key in troubled if key in lines]
    crossed = [line for line in (*worth, *lines.values()) if line.crossed > Health.OK]
    crossed.sort(key=lambda line: -line.crossed)
    temperatures = [line for line in lines.values() if line.sensor.quantity is Quantity.TEMPERATURE]
    return next(iter((*crossed, *worth, *temperatures, *lines.values())), None)
