"""Which newer sensor a row of the older Thermal and Power resources is: rules 4 and 5 of ``fold.py``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from collector.model import Quantity
from collector.normalise.bodies import pointer
from collector.normalise.groups import Group, uri_of
from collector.normalise.parts import Parts
from collector.normalise.places import Found, Rank

_SUCCESSORS: Mapping[str, str] = {
    "Fans/Reading": "SpeedPercent",
    "PowerSupplies/LineInputVoltage": "InputVoltage",
    "PowerSupplies/PowerInputWatts": "InputPowerWatts",
    "PowerSupplies/PowerOutputWatts": "OutputPowerWatts",
    "PowerControl/PowerConsumedWatts": "PowerWatts",
}
"""Property of a legacy row -> the excerpt that took its place (descriptions in DSP8010 2025.4)."""


class Rows:
    """The rows of a walk beside its newer sensors; ``groups`` takes in the rows that are none of those."""

    def __init__(self, groups: list[Group], rows: list[Group], parts: Parts) -> None:
        self._groups = groups
        self._rows = rows
        self._parts = parts
        # Numbers beside a reading, and plain ones, are other numbers than a row tells: only a successor's may be its.
        self._newer = _Index([one for one in groups if one.main is None and one.first.rank is not Rank.PLAIN])
        self._older = _Index(rows)
        self._copies: dict[str, Group] = {}
        """Excerpts that copy a row, by how their DataSourceUri may name it: the row, or the number in it."""
        self._told: dict[tuple[str, str], list[Group]] = {}
        """Sensors by property and owner of the excerpts that tell them."""
        for group in groups:
            if group.first.data_source is not None and "#" in group.first.data_source:
                self._copies[group.first.data_source] = group
            for place in group.places:
                owner = parts.owner(place.uri)
                if place.rank is Rank.EXCERPT and place.of is None and owner is not None:
                    told = self._told.setdefault((place.schema_key, owner.uri), [])
                    if group not in told:
                        told.append(group)

    def match(self) -> None:
        """Folds every row into a sensor, or makes it one."""
        alone: dict[tuple[object, ...], Group] = {}
        for row in self._rows:
            same = self._successor(row) or self._same_part(row) or self._same_context(row) or self._same_name(row)
            if same is None and _elsewhere_too(row):
                same = alone.setdefault(_key(row), row)
                same = None if same is row or same.first.uri == row.first.uri else same
            if same is not None:
                same.places.append(row.first)
            else:
                self._groups.append(row)

    def _successor(self, row: Group) -> Group | None:
        pointed = self._copies.get(_row_name(row.first)) or self._copies.get(row.first.source)
        if pointed is not None:
            return pointed
        successor = _SUCCESSORS.get(row.first.schema_key)
        if successor is None:
            return None
        array = row.first.steps[0]
        if array == "PowerControl":
            siblings = self._older.of_chassis(row)
            siblings = [one for one in siblings if one.first.uri == row.first.uri and one.first.steps[0] == array]
            part = row.chassis if len(siblings) == 1 else None
        else:
            part = self._parts.find(_row_name(row.first))
            part = part if part is not None and not part.steps else None
        if part is None:
            return None
        found = self._told.get((successor, part.uri), [])
        beside = [group for one in found for group in one.companions.values()]
        return _only(group for group in [*found, *beside] if group.measure.quantity is row.measure.quantity)

    def _same_part(self, row: Group) -> Group | None:
        if row.part is None or row.part.type == "Chassis" or row.first.schema_key in _SUCCESSORS:
            return None
        rivals = [one for one in self._older.of_part(row) if one.first.uri == row.first.uri]
        return _pair(row, self._newer.of_part(row), rivals)

    def _same_context(self, row: Group) -> Group | None:
        context = row.first.context
        if context is None or row.first.schema_key in _SUCCESSORS:
            return None
        newer = [one for one in self._newer.of_chassis(row) if _context(one) == context]
        older = [one for one in self._older.of_chassis(row) if _context(one) == context]
        found = _pair(row, newer, older)
        return found if found is not None and _akin(row, found) else None

    def _same_name(self, row: Group) -> Group | None:
        name = _words(row.first.name)

        def alike(groups: list[Group]) -> list[Group]:
            return [one for one in groups if _words(one.first.name) == name and not _apart(one, row)]

        return _pair(row, alike(self._newer.of_chassis(row)), alike(self._older.of_chassis(row)))


class _Index:
    """Sensors of one quantity, by part and by chassis."""

    def __init__(self, groups: list[Group]) -> None:
        self._parts: dict[tuple[str, Quantity], list[Group]] = {}
        self._chassis: dict[tuple[str, Quantity], list[Group]] = {}
        for group in groups:
            self._parts.setdefault((uri_of(group.part), group.measure.quantity), []).append(group)
            self._chassis.setdefault((uri_of(group.chassis), group.measure.quantity), []).append(group)

    def of_part(self, row: Group) -> list[Group]:
        """Those of a row's part and quantity."""
        return self._parts.get((uri_of(row.part), row.measure.quantity), [])

    def of_chassis(self, row: Group) -> list[Group]:
        """Those of a row's chassis and quantity."""
        return self._chassis.get((uri_of(row.chassis), row.measure.quantity), [])


def _pair(row: Group, newer: list[Group], older: list[Group]) -> Group | None:
    """The one newer sensor among those alike, if the row is the only one alike on its side, and the two are akin."""
    found = _only(newer)
    if found is None or len(older) != 1:
        return None
    same_context = row.first.context is not None and _context(found) == row.first.context
    return found if same_context or _akin(row, found) else None


def _elsewhere_too(row: Group) -> bool:
    """Whether a row says enough of itself to be known again in another chassis."""
    return row.part is not None and row.part.type != "Chassis" and row.first.holder.get("SensorNumber") is not None


def _key(row: Group) -> tuple[object, ...]:
    first = row.first
    number = first.holder.get("SensorNumber")
    return (uri_of(row.part), row.measure.quantity, first.schema_key, first.name, first.context, str(number))


def _apart(one: Group, other: Group) -> bool:
    """Whether two sensors measure different parts, each more than the chassis that lists it."""
    parts = [group.part for group in (one, other) if group.part is not None and group.part.type != "Chassis"]
    return len(parts) == 2 and parts[0] is not parts[1]


def _row_name(place: Found) -> str:
    return f"{place.uri}#{pointer(*place.steps)}"


def _context(group: Group) -> str | None:
    return next((place.context for place in group.places if place.context is not None), None)


def _only(groups: Iterable[Group]) -> Group | None:
    found = list(groups)
    return found[0] if len(found) == 1 else None


_WORD = re.compile(r"\d+|[^\W\d_]+")
_SAME_WORD = {"temp": "temperature", "volt": "voltage", "volts": "voltage"}
_IDLE_WORDS = frozenset(
    {"sensor", "reading", "the", "of", "temperature", "voltage", "power", "current", "speed", "fan"}
)


def _words(name: str | None) -> tuple[str, ...]:
    return tuple(_SAME_WORD.get(word, word) for word in _WORD.findall((name or "").casefold()))


def _akin(one: Group, other: Group) -> bool:
    """Whether two names agree in their numbers and share a word that says more than the quantity does."""
    mine, theirs = set(_words(one.first.name)), set(_words(other.first.name))
    numbers = {word for word in mine | theirs if word.isdigit()}
    if (mine & numbers) != (theirs & numbers):
        return False
    return bool((mine & theirs) - numbers - _IDLE_WORDS)
