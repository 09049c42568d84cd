"""One physical sensor is one sensor: brings together the places where a service tells the same one.

The rules, in this order (the notes' precedence Sensor > excerpt > legacy row decides which place is read):

1. A Sensor resource is a sensor. Sensors of power and cooling equipment stand again below the chassis it sits in (the
   standard moved them there): same last step, name and ReadingType make them one, the chassis' first.
2. An excerpt is the sensor that its DataSourceUri names, unless the two measure different things (a defect). Excerpts
   naming the same missing sensor, of the same quantity, are one. An excerpt that names none is a sensor of its own.
3. A number beside a reading (SpeedRPM, ApparentVA…) is one sensor for all places of that reading. A plain number of a
   metrics resource is a sensor of its own, but for deprecated ones whose successor the same part tells.
4. A legacy row is the newer sensor

   a. of the power supply or fan that the row itself is, where the schemas name the successor (``LineInputVoltage`` ->
      ``InputVoltage``), and the chassis' ``PowerWatts`` for the only row of PowerControl;
   b. of the same quantity for the same part (no chassis), where either side has one only for that part and they are
      akin: the same PhysicalContext, or names that agree in their numbers and share a word;
   c. of the same chassis, quantity and PhysicalContext, again one on either side and akin by name;
   d. of the same chassis, quantity and name, one on either side, unless each is of another part.

5. Legacy rows of different chassis are one where part (no chassis), quantity, name, PhysicalContext and SensorNumber
   are the same.
6. All else stays apart: a sensor listed twice is a nuisance, two taken for one a lie.
"""

from __future__ import annotations

from collector.model import DefectKind, Quantity
from collector.normalise.attribution import part_of, strangers
from collector.normalise.bodies import pointer
from collector.normalise.findings import Findings, shown
from collector.normalise.groups import Group, measured, uri_of
from collector.normalise.numbers import SUCCESSORS
from collector.normalise.parts import Parts
from collector.normalise.places import Found, Rank, find_places
from collector.normalise.rows import Rows
from collector.normalise.units import commensurable, measure_of

_EQUIPMENT = frozenset({"PowerDistribution", "CoolingUnit"})


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
        self._home: dict[int, Group] = {}
        """By identity of a place, the sensor that it became a place of."""
        self._missing: dict[tuple[str, Quantity], Group] = {}
        self._by_step: dict[str, list[Group]] = {}
        self._plain: list[Group] = []
        self._rows: list[Group] = []

    def take(self, place: Found) -> None:
        """Adds one place to the sensor that it tells, or starts one."""
        if place.of is not None:
            self._take_companion(place, self._home[id(place.of)])
        elif place.rank is Rank.SENSOR:
            self._home[id(place)] = self._take_sensor(place)
        elif place.rank is Rank.EXCERPT:
            self._home[id(place)] = self._take_excerpt(place)
        elif place.rank is Rank.PLAIN:
            self._plain.append(self._group(place))
        else:
            self._rows.append(self._group(place))

    def settle(self, rank: Rank) -> None:
        """What needs all places of a rank to be known."""
        if rank is Rank.EXCERPT:
            for group in self.groups:
                self._describe(group)
        elif rank is Rank.PLAIN:
            self._settle_plain()
        elif rank is Rank.LEGACY:
            for row in self._rows:
                self._describe(row)
            Rows(self.groups, self._rows, self._parts).match()

    def _group(self, place: Found) -> Group:
        lister = self._parts.owner(place.uri)
        return Group(place, lister, self._parts.chassis(lister))

    def _take_companion(self, place: Found, main: Group) -> None:
        group = main.companions.get(place.key)
        if group is None:
            group = main.companions[place.key] = self._group(place)
            group.main = main
            self.groups.append(group)
        else:
            group.places.append(place)

    def _settle_plain(self) -> None:
        """Plain numbers, each a sensor, but for the deprecated ones of which the successor is told as well."""
        told: dict[tuple[str, str], list[Group]] = {}
        for group in self.groups:
            for place in group.places:
                owner = self._parts.owner(place.uri)
                if place.rank is Rank.EXCERPT and place.of is None and owner is not None:
                    told.setdefault((place.schema_key, owner.uri), []).append(group)
        for group in self._plain:
            self._describe(group)
            type_ = self._parts.types[group.first.uri]
            successor = SUCCESSORS.get((type_, group.first.key)) if not group.first.steps else None
            newer = told.get((successor, uri_of(group.part)), []) if successor is not None else []
            if len(newer) == 1:
                newer[0].places.append(group.first)
            else:
                self.groups.append(group)

    def _take_sensor(self, place: Found) -> Group:
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
        return group

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

    def _take_excerpt(self, place: Found) -> Group:
        source = place.data_source
        sensor = self._sensors.get(source) if source is not None else None
        if sensor is not None and self._agrees(place, sensor):
            sensor.places.append(place)
            return sensor
        # An excerpt that names nothing stands for itself, as one of something else than it names; one that copies a
        # legacy row will be found by that.
        if source is not None and sensor is None and "#" not in source:
            return self._take_orphan(place, source)
        self.groups.append(self._group(place))
        return self.groups[-1]

    def _take_orphan(self, place: Found, source: str) -> Group:
        if self._parts.types.get(source) != "Control":  # whose own readings are told in such copies only
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
        return self._missing[key]

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
        group.measure, group.troubles = measured(group, self._parts)
        if group.main is not None:
            group.part = group.main.part
            _own_first(group)
            return
        group.part = part_of(group.places, group.chassis or group.lister, self._parts)
        _own_first(group)
        for place, owner in strangers(group.places, group.part, self._parts):
            detail = (
                f"tells of {shown(owner.uri)} what {shown(group.first.uri)} measures of {shown(uri_of(group.part))}"
            )
            at = f"{pointer(*place.steps)}/DataSourceUri"
            self._findings.add(place.uri, at, DefectKind.CONTRADICTION, detail)


def _own_first(group: Group) -> None:
    """Of copies of a sensor that is not there itself, that of the part comes before those in summaries."""
    if group.first.rank is Rank.EXCERPT and len(group.places) > 1:
        group.places.sort(key=lambda place: place.uri != uri_of(group.part))


def _last_step(place: Found) -> str:
    return place.uri.rpartition("/")[2]
