"""One physical sensor is one sensor: brings together the places where a service tells the same one.

The rules, in this order (the notes' precedence Sensor > excerpt > legacy row decides which place is read):

1. A Sensor resource is a sensor. Sensors of power and cooling equipment stand again below the chassis it sits in (the
   standard moved them there): same last step, name and ReadingType make them one, the chassis' first.
2. An excerpt is the sensor that its DataSourceUri names, unless the two measure different things (a defect). Excerpts
   naming the same missing sensor, of the same quantity, are one. An excerpt that names none is a sensor of its own.
3. A legacy row is the newer sensor

   a. of the power supply or fan that the row itself is, where the schemas name the successor (``LineInputVoltage`` ->
      ``InputVoltage``), and the chassis' ``PowerWatts`` for the only row of PowerControl;
   b. of the same quantity for the same part (no chassis), where either side has one only for that part and they are
      akin: the same PhysicalContext, or names that agree in their numbers and share a word;
   c. of the same chassis, quantity and PhysicalContext, again one on either side and akin by name;
   d. of the same chassis, quantity and name, one on either side, unless each is of another part.

4. Legacy rows of different chassis are one where part (no chassis), quantity, name, PhysicalContext and SensorNumber
   are the same.
5. All else stays apart: a sensor listed twice is a nuisance, two taken for one a lie.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping

from collector.model import DefectKind, Kind, Quantity
from collector.normalise.attribution import part_of, strangers
from collector.normalise.bodies import pointer
from collector.normalise.findings import Findings, shown
from collector.normalise.parts import Draft, Parts
from collector.normalise.places import Found, Rank, find_places
from collector.normalise.units import Measure, Trouble, commensurable, measure_of, of_code, refined

_SUCCESSORS: Mapping[str, str] = {
    "Fans/Reading": "SpeedPercent",
    "PowerSupplies/LineInputVoltage": "InputVoltage",
    "PowerSupplies/PowerInputWatts": "InputPowerWatts",
    "PowerSupplies/PowerOutputWatts": "OutputPowerWatts",
    "PowerControl/PowerConsumedWatts": "PowerWatts",
}
"""Property of a legacy row -> the excerpt that took its place (DSP2064, and the descriptions in DSP8010)."""

_EQUIPMENT = frozenset({"PowerDistribution", "CoolingUnit"})


class Group:
    """One sensor while it is put together."""

    __slots__ = ("chassis", "lister", "measure", "part", "places", "troubles")

    def __init__(self, place: Found, lister: Draft | None, chassis: Draft | None) -> None:
        self.places = [place]
        self.lister = lister
        """The part that tells of the resource it stands in."""
        self.chassis = chassis
        """The chassis that lists it."""
        self.measure = Measure(Quantity.OTHER, "")
        self.troubles: tuple[Trouble, ...] = ()
        self.part: Draft | None = None

    @property
    def first(self) -> Found:
        """The place that outranks the others."""
        return self.places[0]


def fold(parts: Parts, findings: Findings) -> list[Group]:
    """All sensors of a walk, each once, its places by rank."""
    found = [place for uri, resource in parts.resources.items() for place in find_places(parts.types[uri], resource)]
    folder = _Folder(parts, findings)
    for rank in Rank:
        for place in found:
            if place.rank is rank:
                folder.take(place)
        folder.settle(rank)
    return folder.groups


class _Folder:
    def __init__(self, parts: Parts, findings: Findings) -> None:
        self.groups: list[Group] = []
        self._parts = parts
        self._findings = findings
        self._sensors: dict[str, Group] = {}
        self._missing: dict[tuple[str, Quantity], Group] = {}
        self._by_step: dict[str, list[Group]] = {}
        self._rows: list[Group] = []

    def take(self, place: Found) -> None:
        """Adds one place to the sensor that it tells, or starts one."""
        if place.rank is Rank.SENSOR:
            self._take_sensor(place)
        elif place.rank is Rank.EXCERPT:
            self._take_excerpt(place)
        else:
            self._rows.append(self._group(place))

    def settle(self, rank: Rank) -> None:
        """What needs all places of a rank to be known."""
        if rank is Rank.EXCERPT:
            for group in self.groups:
                self._describe(group)
        elif rank is Rank.LEGACY:
            for row in self._rows:
                self._describe(row)
            _Rows(self.groups, self._rows, self._parts).match()

    def _group(self, place: Found) -> Group:
        lister = self._parts.owner(place.uri)
        return Group(place, lister, self._parts.chassis(lister))

    def _take_sensor(self, place: Found) -> None:
        group = self._group(place)
        twin = self._twin(place, group)
        if twin is not None:
            twin.places.append(place)
            twin.places.sort(key=lambda place: "/Chassis/" not in place.uri)
            group = twin
        else:
            self.groups.append(group)
            self._by_step.setdefault(_last_step(place), []).append(group)
        self._sensors[place.uri] = group

    def _twin(self, place: Found, group: Group) -> Group | None:
        """The same sensor under its other URI, taken before."""
        for other in self._by_step.get(_last_step(place), []):
            if other.chassis is not group.chassis:
                continue
            listers = [one for one in (other.lister, group.lister) if one is not None]
            apart = other.lister is not group.lister and any(one.type in _EQUIPMENT for one in listers)
            mine, theirs = place.holder, other.first.holder
            if apart and all(mine.get(key) == theirs.get(key) for key in ("Name", "ReadingType")):
                return other
        return None

    def _take_excerpt(self, place: Found) -> None:
        source = place.data_source
        if source is None:
            self.groups.append(self._group(place))
            return
        sensor = self._sensors.get(source)
        if sensor is not None and self._agrees(place, sensor):
            sensor.places.append(place)
        elif sensor is None and "#" in source:
            self.groups.append(self._group(place))  # it copies a legacy row, which will find it
        elif sensor is None:
            self._take_orphan(place, source)
        else:
            self.groups.append(self._group(place))

    def _take_orphan(self, place: Found, source: str) -> None:
        at = pointer(*place.steps)
        foreign = "://" in source
        detail = f"DataSourceUri {shown(source)} {'is on another service' if foreign else 'leads to no sensor'}"
        kind = DefectKind.FOREIGN_LINK if foreign else DefectKind.DANGLING_LINK
        self._findings.add(place.uri, f"{at}/DataSourceUri", kind, f"{detail}; its thresholds are unknown")
        key = (source, place.implied[0] if place.implied is not None else Quantity.OTHER)
        if key in self._missing:
            self._missing[key].places.append(place)
        else:
            self._missing[key] = self._group(place)
            self.groups.append(self._missing[key])

    def _agrees(self, place: Found, sensor: Group) -> bool:
        """Whether an excerpt can be a copy of a sensor by what the two measure."""
        body = sensor.first.holder
        told = measure_of(body.get("ReadingType"), body.get("ReadingUnits"), place.implied)[0]
        if place.implied is None or not told.unit or commensurable(told.unit, place.implied[1]):
            return True
        detail = f"{place.implied[0]} in {place.implied[1]} is said to copy {shown(sensor.first.uri)}, in {told.unit}"
        at = f"{pointer(*place.steps)}/DataSourceUri"
        self._findings.add(place.uri, at, DefectKind.CONTRADICTION, f"{detail}; the two are kept apart")
        return False

    def _describe(self, group: Group) -> None:
        group.measure, group.troubles = _measure(group, self._parts)
        group.part = part_of(group.places, group.chassis or group.lister, self._parts)
        for place, owner in strangers(group.places, group.part, self._parts):
            detail = f"tells of {shown(owner.uri)} what {shown(group.first.uri)} measures of {shown(_uri(group.part))}"
            at = f"{pointer(*place.steps)}/DataSourceUri"
            self._findings.add(place.uri, at, DefectKind.CONTRADICTION, detail)


def _uri(part: Draft | None) -> str:
    return part.uri if part is not None else ""


def _measure(group: Group, parts: Parts) -> tuple[Measure, tuple[Trouble, ...]]:
    place = group.first
    implied = next((one.implied for one in group.places if one.implied is not None), None)
    if place.rank is not Rank.SENSOR:
        return (of_code(*implied) if implied is not None else Measure(Quantity.OTHER, "")), ()
    body = place.holder
    delta = body.get("ReadingBasis") in ("Delta", "Headroom")
    measure, troubles = measure_of(body.get("ReadingType"), body.get("ReadingUnits"), implied, delta=delta)
    if implied is not None:
        measure = refined(measure, implied[0])
    if _turns(place, parts):
        measure = refined(measure, Quantity.SPEED_RATIO)
    return measure, troubles


def _turns(place: Found, parts: Parts) -> bool:
    """Whether a percentage is that of a fan's or pump's speed: DSP8010 wants those as Percent, with SpeedRPM."""
    if place.context in ("Fan", "Pump") or "SpeedRPM" in place.holder:
        return True
    related = [parts.find(one) for one in place.related]
    return len(related) == 1 and related[0] is not None and related[0].kind in (Kind.FAN, Kind.PUMP)


class _Rows:
    """Rules 3 and 4: finds the newer sensor that a legacy row is."""

    def __init__(self, groups: list[Group], rows: list[Group], parts: Parts) -> None:
        self._groups = groups
        self._newer = list(groups)
        sources = [(group.first.data_source, group) for group in groups]
        self._copies = {source: group for source, group in sources if source is not None and "#" in source}
        """Excerpts that copy a row, by how their DataSourceUri may name it: the row, or the number in it."""
        self._rows = rows
        self._parts = parts

    def match(self) -> None:
        """Folds every row into a sensor, or makes it one."""
        for row in self._rows:
            same = self._successor(row) or self._same_part(row) or self._same_context(row) or self._same_name(row)
            same = same or self._elsewhere(row)
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
            siblings = [one for one in self._rows if one.first.uri == row.first.uri and one.first.steps[0] == array]
            part = row.chassis if len(siblings) == 1 else None
        else:
            part = self._parts.find(f"{row.first.uri}#{pointer(*row.first.steps)}")
            part = part if part is not None and not part.steps else None
        if part is None:
            return None
        found = [group for group in self._newer if self._tells(group, successor, part)]
        return _only(group for group in found if group.measure.quantity is row.measure.quantity)

    def _tells(self, group: Group, schema_key: str, part: Draft) -> bool:
        return any(
            place.schema_key == schema_key and self._parts.owner(place.uri) is part
            for place in group.places
            if place.rank is Rank.EXCERPT
        )

    def _same_part(self, row: Group) -> Group | None:
        if row.part is None or row.part.type == "Chassis" or row.first.schema_key in _SUCCESSORS:
            return None
        return self._pair(row, lambda one: one.part is row.part, lambda one: one.first.uri == row.first.uri)

    def _same_context(self, row: Group) -> Group | None:
        context = row.first.context
        if context is None or row.first.schema_key in _SUCCESSORS:
            return None

        def alike(one: Group) -> bool:
            return one.chassis is row.chassis and _context(one) == context

        found = self._pair(row, alike, lambda one: True)
        return found if found is not None and _akin(row, found) else None

    def _same_name(self, row: Group) -> Group | None:
        name = _words(row.first.name)

        def alike(one: Group) -> bool:
            return one.chassis is row.chassis and _words(one.first.name) == name and not _apart(one, row)

        return self._pair(row, alike, lambda one: True)

    def _pair(self, row: Group, alike: Callable[[Group], bool], beside: Callable[[Group], bool]) -> Group | None:
        """The newer sensor of the row's quantity that is alike, if there is one such, and one such row."""
        quantity = row.measure.quantity
        found = _only(one for one in self._newer if one.measure.quantity is quantity and alike(one))
        rivals = [one for one in self._rows if one.measure.quantity is quantity and beside(one) and alike(one)]
        if found is None or len(rivals) != 1:
            return None
        same_context = row.first.context is not None and _context(found) == row.first.context
        return found if same_context or _akin(row, found) else None

    def _elsewhere(self, row: Group) -> Group | None:
        if row.part is None or row.part.type == "Chassis" or row.first.holder.get("SensorNumber") is None:
            return None
        for group in self._groups:
            other = group.first
            if other.rank is Rank.LEGACY and other.uri != row.first.uri and _key(group) == _key(row):
                return group
        return None


def _last_step(place: Found) -> str:
    return place.uri.rpartition("/")[2]


def _key(row: Group) -> tuple[object, ...]:
    first = row.first
    number = first.holder.get("SensorNumber")
    return (row.part, row.measure.quantity, first.schema_key, first.name, first.context, str(number))


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
