"""Where numbers stand: finds every place of a walked resource that tells a reading, by tables of the standard.

A Sensor resource is one place. Other resources repeat sensors in excerpts (``excerpts.py``), which one rule finds at
any depth; both may have further numbers beside the reading. Metrics tell plain numbers (``numbers.py``), the older
Thermal and Power resources rows; see ``LEGACY``. What later schemas add goes into a table.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from enum import IntEnum

from msgspec import Struct

from collector.model import Quantity
from collector.normalise.bodies import Body, at, finite, link_list, place, pointer, record, rows, text
from collector.normalise.excerpts import EXCERPTS, GROUPED, GROUPS, UNNAMED, readable, singular
from collector.normalise.numbers import COMPANIONS, DURATION, plain_numbers, power_factor
from collector.normalise.parts import MAX_ROWS
from collector.normalise.units import quantity_of
from collector.redfish.resources import Resource

_SKIPPED = frozenset({"Links", "Oem", "Actions", "Thresholds", "NumericThresholds", "RelatedItem", "Members"})
_SKIPPED_TYPES = frozenset({"MetricReport", "MetricDefinition", "MetricReportDefinition", "Triggers", "TelemetryData"})
MAX_DEPTH = 6
"""Objects and arrays inside one another that we look into; the standard's excerpts stand at most three deep."""
MAX_PLACES = 5_000
"""Excerpts of one resource."""

_IDENTITY = ("MemberId", "Name", "DeviceName")
"""Properties that tell one row of an array from another, beside DataSourceUri in whatever case."""


class Rank(IntEnum):
    """What outranks what where one sensor is told in several places."""

    SENSOR = 0
    EXCERPT = 1
    PLAIN = 2
    LEGACY = 3


class Found(Struct, kw_only=True, eq=False):
    """One place of one reading, as told."""

    uri: str
    steps: tuple[str | int, ...]
    """From the body to the object that holds the number; empty where that is the body itself."""
    key: str
    """The property that is the number."""
    rank: Rank
    holder: Body
    schema_key: str
    """The schema's property this is: ``Sensor``, ``InputVoltage``, ``Temperatures/ReadingCelsius``…"""
    name: str | None
    """What the place calls the sensor, or words made of its property's name."""
    implied: tuple[Quantity, str] | None = None
    """Quantity and UCUM code that the property's name implies."""
    data_source: str | None = None
    """The place that an excerpt says it copies."""
    related: tuple[str, ...] = ()
    context: str | None = None
    identity: tuple[tuple[str, str], ...] = ()
    """Properties that a row of an array had when it was walked, by which it is known again."""
    of: Found | None = None
    """The reading that this number stands beside: of the same sensor, with the same status."""
    index: int | None = None
    """In the array that the property is."""
    duration: bool = False
    """Whether it is told as an ISO 8601 duration."""
    hundredths: bool = False
    """Whether it is told in hundredths of its unit, against the schema's unit."""

    @property
    def source(self) -> str:
        """The place as we write it: the Sensor's path, else path, ``#`` and JSON pointer to the number."""
        if self.rank is Rank.SENSOR and self.of is None:
            return self.uri
        return f"{self.uri}#{pointer(*self.steps, self.key, *(() if self.index is None else (self.index,)))}"


class LegacyArray(Struct, frozen=True):
    """An array of a legacy resource whose rows tell readings."""

    array: str
    numbers: Mapping[str, tuple[Quantity, str] | None]
    """Property -> quantity and code; None: ReadingUnits says it."""
    always: bool
    """Whether a row without the property is a sensor without a value, not no sensor."""


LEGACY: Mapping[str, tuple[LegacyArray, ...]] = {
    "Thermal": (
        LegacyArray("Temperatures", {"ReadingCelsius": (Quantity.TEMPERATURE, "Cel")}, True),
        LegacyArray("Fans", {"Reading": None}, True),
    ),
    "Power": (
        LegacyArray("PowerControl", {"PowerConsumedWatts": (Quantity.POWER, "W")}, False),
        LegacyArray("Voltages", {"ReadingVolts": (Quantity.VOLTAGE, "V")}, True),
        LegacyArray(
            "PowerSupplies",
            {
                "LineInputVoltage": (Quantity.VOLTAGE, "V"),
                "PowerInputWatts": (Quantity.POWER, "W"),
                "PowerOutputWatts": (Quantity.POWER, "W"),
                "LastPowerOutputWatts": (Quantity.POWER, "W"),
                "EfficiencyPercent": (Quantity.PERCENT, "%"),
            },
            False,
        ),
    ),
}
"""Source: DSP8010 2025.4 ``Thermal_v1.xml`` and ``Power_v1.xml``; deprecated, and in most machines that run today."""

_ROW_NAMES: Mapping[str, str] = {
    "LineInputVoltage": "line input voltage",
    "PowerInputWatts": "input power",
    "PowerOutputWatts": "output power",
    "LastPowerOutputWatts": "average output power",
    "EfficiencyPercent": "efficiency",
}
"""Readings of a row that is a part itself: the part carries the row's name, the reading its own."""


def find_places(type_: str, resource: Resource) -> list[Found]:
    """All places of one resource, in the order told."""
    if type_ == "Sensor":
        sensor = _sensor(resource)
        return [sensor, *_companions(sensor)]
    if type_ in _SKIPPED_TYPES:
        return []
    found = list(_legacy(type_, resource)) if type_ in LEGACY else []
    for key, value in resource.body.items():
        if isinstance(value, dict | list) and key not in _SKIPPED:
            _excerpts(resource.uri, (key,), value, None, found)
    found += _plain(type_, resource)
    return found


def _companions(main: Found) -> Iterator[Found]:
    """The numbers that stand beside a reading."""
    for key in COMPANIONS.keys() & main.holder.keys():
        unit, words, replaced = COMPANIONS[key]
        yield Found(
            uri=main.uri,
            steps=main.steps,
            key=key,
            rank=main.rank,
            holder=main.holder,
            schema_key=f"{main.schema_key}/{key}",
            name=_beside(main.name or "", words, replaced),
            implied=unit,
            context=main.context,
            identity=main.identity,
            of=main,
            hundredths=key == "PowerFactor" and power_factor(finite(main.holder[key])) != 1.0,
        )


def _beside(name: str, words: str, replaced: str) -> str:
    """``Fan 1 Speed`` -> ``Fan 1 rotational speed``; a name that does not end in the word keeps all of it."""
    base = name.rstrip()
    if replaced and base.casefold().endswith(replaced):
        base = base[: -len(replaced)].rstrip()
    return f"{base} {words}".strip()[:80]


def _plain(type_: str, resource: Resource) -> Iterator[Found]:
    for count, plain in enumerate(plain_numbers(type_, resource.body, MAX_ROWS)):
        if count >= MAX_PLACES:
            return
        duration = plain.unit is DURATION
        words = [readable(step) if isinstance(step, str) else f"{step + 1}" for step in (*plain.steps, plain.key)]
        for index, step in enumerate(plain.steps):
            if isinstance(step, int):
                words[index - 1] = singular(words[index - 1])
        if plain.index is not None:
            words[-1] = f"{singular(words[-1])} {plain.index + 1}"
        yield Found(
            uri=resource.uri,
            steps=tuple(sys.intern(step) if isinstance(step, str) else step for step in plain.steps),
            key=plain.key,
            index=plain.index,
            rank=Rank.PLAIN,
            holder=record(at(resource.body, plain.steps)),
            schema_key=f"{type_}/{plain.key}",
            name=" ".join(filter(None, words))[:80],
            implied=(Quantity.TIME, "s") if duration else plain.unit,
            duration=duration,
        )


def _sensor(resource: Resource) -> Found:
    body = resource.body
    return Found(
        uri=resource.uri,
        steps=(),
        key="Reading",
        rank=Rank.SENSOR,
        holder=body,
        schema_key="Sensor",
        name=text(body.get("Name"), 80) or text(body.get("Id"), 80) or text(resource.uri.rpartition("/")[2], 80),
        related=tuple(link_list(body.get("RelatedItem"))),
        context=text(body.get("PhysicalContext"), 40),
    )


def _legacy(type_: str, resource: Resource) -> Iterator[Found]:
    for table in LEGACY[type_]:
        for index, row in enumerate(rows(resource.body.get(table.array))[:MAX_ROWS]):
            if not isinstance(row, dict):
                continue
            for key, implied in table.numbers.items():
                if not table.always and key not in row:
                    continue
                name = _ROW_NAMES.get(key) or text(row.get("Name") or row.get("FanName"), 80)
                yield Found(
                    uri=resource.uri,
                    steps=(table.array, index),
                    key=key,
                    rank=Rank.LEGACY,
                    holder=row,
                    schema_key=f"{table.array}/{key}",
                    name=name or f"{singular(readable(table.array))} {index + 1}",
                    implied=implied or _fan_units(row),
                    related=tuple(link_list(row.get("RelatedItem"))),
                    context=text(row.get("PhysicalContext"), 40),
                    identity=identity(row),
                )


def _fan_units(row: Body) -> tuple[Quantity, str] | None:
    """Thermal.Fan.ReadingUnits is a word of its own: ``RPM`` or ``Percent``."""
    told = row.get("ReadingUnits")
    if told == "RPM":
        return (Quantity.ROTATION, "{rev}/min")
    return (Quantity.SPEED_RATIO, "%") if told == "Percent" else None


def _excerpts(
    uri: str, steps: tuple[str | int, ...], value: Body | list[object], group: str | None, found: list[Found]
) -> None:
    if len(steps) > MAX_DEPTH or len(found) >= MAX_PLACES:
        return
    if isinstance(value, list):
        for index, item in enumerate(value[:MAX_ROWS]):
            if isinstance(item, dict | list):
                _excerpts(uri, (*steps, index), item, group, found)
        return
    name = next(step for step in reversed(steps) if isinstance(step, str))
    source = data_source(value)
    known = name in EXCERPTS or name in UNNAMED or (group is not None and name in GROUPED)
    if ("Reading" in value and source is not None) or (known and ("Reading" in value or source is not None)):
        excerpt = _excerpt(uri, steps, value, name, group, source)
        found.append(excerpt)
        found += _companions(excerpt)
        return
    inner = name if name in GROUPS else group
    for key, below in value.items():
        if isinstance(below, dict | list) and key not in _SKIPPED:
            _excerpts(uri, (*steps, key), below, inner, found)


def _excerpt(
    uri: str, steps: tuple[str | int, ...], value: Body, name: str, group: str | None, source: str | None
) -> Found:
    row = steps[-1] if isinstance(steps[-1], int) else None
    words = readable(name, group if name in GROUPED else None)
    if row is not None:
        words = text(value.get("DeviceName"), 80) or f"{singular(words)} {row + 1}"
    return Found(
        uri=uri,
        steps=tuple(sys.intern(step) if isinstance(step, str) else step for step in steps),
        key="Reading",
        rank=Rank.EXCERPT,
        holder=value,
        schema_key=f"{group}/{name}" if group is not None and name in GROUPED else name,
        name=words,
        implied=EXCERPTS.get(name)
        or (GROUPS[group] if group is not None and name in GROUPED else None)
        or _told_unit(value),
        data_source=source,
        context=text(value.get("PhysicalContext"), 40),
        identity=identity(value) if row is not None else (),
    )


def _told_unit(value: Body) -> tuple[Quantity, str] | None:
    """What an excerpt of a Control says of its reading: its name says nothing."""
    told = value.get("ReadingUnits")
    quantity = quantity_of(told)
    return (quantity, told) if quantity is not None and isinstance(told, str) else None


def data_source(holder: Body) -> str | None:
    """The place that an excerpt copies; some services spell the property ``DataSourceURI``."""
    told = holder.get("DataSourceUri")
    if told is None:
        told = next((value for key, value in holder.items() if key.lower() == "datasourceuri"), None)
    return place(told) if isinstance(told, str) and told else None


def identity(row: Body) -> tuple[tuple[str, str], ...]:
    """What tells a row from its neighbours, should the array be shifted between two rounds."""
    keys = [key for key in row if key in _IDENTITY or key.lower() == "datasourceuri"]
    return tuple((sys.intern(key), sys.intern(row[key])) for key in keys if isinstance(row[key], str))


def state_of(holder: Body, body: Body) -> object:
    """The State that governs a reading: of the object that holds it, else of the resource it stands in."""
    own = record(holder.get("Status")).get("State")
    return own if own is not None else record(body.get("Status")).get("State")
