"""From folded places to sensors: names, units, ranges, thresholds, and how each place of theirs is read."""

from __future__ import annotations

import re
import sys
from collections import Counter
from collections.abc import Iterable
from itertools import count

from msgspec import Struct

from collector.model import DefectKind, Kind, Layout, Quantity, Sensor, Thresholds
from collector.normalise import thresholds
from collector.normalise.bodies import finite, pointer, text
from collector.normalise.findings import Findings, shown
from collector.normalise.groups import Group
from collector.normalise.places import Found, Rank, state_of
from collector.normalise.reading import Reader
from collector.normalise.statuses import NO_READING_STATES
from collector.normalise.tree import natural
from collector.normalise.triggers import Triggers
from collector.normalise.units import FARTHEST, Measure, commensurable, of_code

_RANGES = {"Sensor": ("ReadingRangeMin", "ReadingRangeMax")}
_ROW_RANGES = {"Temperatures": ("MinReadingRangeTemp", "MaxReadingRangeTemp")}
_RANGE_OF_ROWS = ("MinReadingRange", "MaxReadingRange")
_STRAY_RANGES = {"Temperatures": _RANGE_OF_ROWS}
"""Names that belong to other rows, seen in the published examples."""

_MAX_NAME = 80
_PORT = re.compile(r"/Ports/([^/]+)")


class Columned(Struct, frozen=True):
    """All sensors of a controller with the readers of each: the place that it is read at first, then the others."""

    layout: Layout
    readers: tuple[tuple[Reader, ...], ...]


def build_sensors(
    controller: str,
    groups: list[Group],
    id_of: dict[str, str],
    fallback: str,
    triggers: Triggers,
    findings: Findings,
) -> Columned:
    """The layout of a controller, in the order of part and name; ``fallback``: id for what no part measures."""
    names = _names(groups)
    built = [
        _sensor(controller, group, name, id_of, fallback, triggers, findings)
        for group, name in zip(groups, names, strict=True)
    ]
    built.sort(key=lambda pair: (natural(pair[0].part), natural(pair[0].sensor)))
    layout = Layout(controller, tuple(sensor for sensor, _ in built))
    return Columned(layout, tuple(readers for _, readers in built))


def _sensor(
    controller: str,
    group: Group,
    name: str,
    id_of: dict[str, str],
    fallback: str,
    triggers: Triggers,
    findings: Findings,
) -> tuple[Sensor, tuple[Reader, ...]]:
    for place in group.places:
        _blame_strays(place, findings)
    low, high = _range(group, findings)
    _note_troubles(group, findings)
    sensor = Sensor(
        sensor=sys.intern(name),
        controller=controller,
        part=id_of[group.part.uri] if group.part is not None else fallback,
        kind=group.part.kind if group.part is not None else Kind.OTHER,
        quantity=group.measure.quantity,
        unit=group.measure.unit,
        source=sys.intern(group.first.source),
        also_at=tuple(dict.fromkeys(sys.intern(place.source) for place in group.places[1:])),
        context=next((place.context for place in group.places if place.context is not None), None),
        range_min=low,
        range_max=high,
        thresholds=_thresholds(group, triggers, findings),
    )
    readers = tuple(_reader(place, group.measure, low, high) for place in group.places)
    return sensor, readers


def _reader(place: Found, measure: Measure, low: float | None, high: float | None) -> Reader:
    own = _own_measure(place, measure)
    return Reader(
        uri=sys.intern(place.uri),
        steps=place.steps,
        key=place.key,
        scale=own.scale * (0.01 if place.hundredths else 1.0),
        offset=own.offset,
        low=-FARTHEST if low is None else max(low, -FARTHEST),
        high=FARTHEST if high is None else min(high, FARTHEST),
        sensor=place.rank is Rank.SENSOR,
        index=place.index,
        duration=place.duration,
        judged=place.of is None,
    )


def _own_measure(place: Found, measure: Measure) -> Measure:
    """How the numbers of one place become the sensor's: an excerpt may be in kW.h what its sensor tells in J."""
    own = place.rank is Rank.SENSOR and place.of is None
    if own or place.implied is None or not commensurable(place.implied[1], measure.unit):
        return measure
    return of_code(measure.quantity, place.implied[1])


def _thresholds(group: Group, triggers: Triggers, findings: Findings) -> Thresholds:
    """The Sensor's own; where it tells none, those of a row that is the same sensor; else what triggers set."""
    for place in group.places:
        found = Thresholds()
        if place.of is not None:
            continue
        if place.rank is Rank.SENSOR:
            found = thresholds.of_sensor(place.holder, group.measure, findings, place.uri)
        elif place.rank is Rank.LEGACY:
            own = _own_measure(place, group.measure)
            found = thresholds.of_row(place.holder, own, findings, place.uri, pointer(*place.steps))
        if not thresholds.empty(found):
            return found
    for place in group.places:
        if not place.duration:
            found = triggers.thresholds(place, _own_measure(place, group.measure), findings)
            if not thresholds.empty(found):
                return found
    return Thresholds()


def _blame_strays(place: Found, findings: Findings) -> None:
    array = str(place.steps[0]) if place.steps else ""
    for stray in _STRAY_RANGES.get(array, ()):
        if stray in place.holder:
            detail = f"{stray} is no property of a row of {array}; not used"
            findings.add(place.uri, pointer(*place.steps, stray), DefectKind.UNKNOWN_WORD, detail)


def _range(group: Group, findings: Findings) -> tuple[float | None, float | None]:
    if group.measure.quantity is Quantity.POWER_FACTOR:
        return -1.0, 1.0
    for place in group.places:
        if place.rank in (Rank.EXCERPT, Rank.PLAIN) or place.of is not None:
            continue
        array = str(place.steps[0]) if place.steps else ""
        names = _RANGES["Sensor"] if place.rank is Rank.SENSOR else _ROW_RANGES.get(array, _RANGE_OF_ROWS)
        if place.rank is Rank.LEGACY and array in ("PowerControl", "PowerSupplies"):
            continue
        own = _own_measure(place, group.measure)
        low, high = (_bound(place, name, own, findings) for name in names)
        if low is not None and high is not None and low > high:
            if high < 0:  # a negative supply told by magnitude
                return high, low
            detail = f"{names[0]} {low:g} lies above {names[1]} {high:g}; neither is used"
            findings.add(place.uri, pointer(*place.steps, names[0]), DefectKind.CONTRADICTION, detail)
        elif low is not None or high is not None:
            return low, high
    return None, None


def _bound(place: Found, name: str, measure: Measure, findings: Findings) -> float | None:
    told = place.holder.get(name)
    number = finite(told)
    if number is None:
        if told is not None:
            detail = f"{name} is {shown(told)}, not a number"
            findings.add(place.uri, pointer(*place.steps, name), DefectKind.WRONG_TYPE, detail)
        return None
    bound = measure.limit(number)
    if bound is None:
        detail = f"{name} is {shown(told)}, too large a number for its unit"
        findings.add(place.uri, pointer(*place.steps, name), DefectKind.OUT_OF_RANGE, detail)
    return bound


def _note_troubles(group: Group, findings: Findings) -> None:
    place = group.first
    for trouble in group.troubles:
        findings.add(place.uri, trouble.property, trouble.kind, trouble.detail)
    if group.measure.quantity is Quantity.OTHER and not group.measure.unit and _tells(place):
        detail = "neither quantity nor unit is told; values are kept as they are"
        findings.add(place.uri, pointer(*place.steps, place.key), DefectKind.UNKNOWN_UNIT, detail)


def _tells(place: Found) -> bool:
    state = state_of(place.holder, {})
    present = not (isinstance(state, str) and state in NO_READING_STATES)
    return present and finite(place.holder.get(place.key)) is not None


def _names(groups: list[Group]) -> list[str]:
    """A name for every sensor that none other of its part has.

    What the service calls it; where it calls several of one part the same, all of them get their Id behind it, so
    that a name does not depend on the order in which a walk finds them.
    """
    named = [_name(group) for group in groups]
    keys = [(group.part.uri if group.part is not None else "", name) for group, name in zip(groups, named, strict=True)]
    counts = Counter(keys)
    named = [
        f"{name} ({_id(group.first)})" if counts[key] > 1 else name
        for group, name, key in zip(groups, named, keys, strict=True)
    ]
    return list(_numbered(groups, named))


def _numbered(groups: list[Group], named: list[str]) -> Iterable[str]:
    seen: set[tuple[str, str]] = set()
    for group, name in zip(groups, named, strict=True):
        part = group.part.uri if group.part is not None else ""
        numbers = count(2)
        unique = name
        while (part, unique) in seen:
            unique = f"{name} {next(numbers)}"
        seen.add((part, unique))
        yield unique


def _name(group: Group) -> str:
    place = group.first
    name = place.name or place.key
    port = _PORT.search(place.uri)
    of_port = group.part is not None and group.part.kind is Kind.PORT
    if port is not None and place.rank is not Rank.SENSOR and not of_port:  # an inner port, which is no part
        return f"port {re.sub(r'[^!-~]', '_', port[1])[:20]} {name}"[:_MAX_NAME]
    if place.rank is Rank.LEGACY and place.steps[0] in ("Fans", "PowerSupplies"):
        own_part = group.part is not None and group.part.kind in (Kind.FAN, Kind.POWER_SUPPLY)
        if place.steps[0] == "Fans":
            return "speed" if own_part else f"{name} speed"[:_MAX_NAME]
        row = text(place.holder.get("Name"), 50)
        return name if own_part or row is None else f"{row} {name}"
    return name


def _id(place: Found) -> str:
    if place.rank is Rank.SENSOR:
        return re.sub(r"[^\x21-\x7e]", "_", place.uri.rpartition("/")[2])[:40]
    resource = place.uri.rpartition("/")[2]
    return "/".join([resource, *(str(step) for step in place.steps)])[:60]
