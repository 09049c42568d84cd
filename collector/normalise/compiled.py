"""What a controller's rounds will read, worked out once: for each GET, what comes from where in its body."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from operator import attrgetter
from typing import Any, NamedTuple

from collector.normalise.bodies import whole
from collector.normalise.inventory import Recipe
from collector.normalise.reading import Reader
from collector.normalise.reports import Metric, Report
from collector.normalise.shapes import NUMBER, NUMBERS, STATE, STATUS, TEXT, Shape, attribute
from collector.normalise.statuses import TELLING
from collector.redfish.resources import SELECT, Fetch

Steps = tuple[str | int, ...]
Identities = tuple[tuple[tuple[str, str], ...], ...]


class PartSlot(NamedTuple):
    """A part whose status stands somewhere in a body."""

    position: int
    """Among the parts of which a status is told."""
    steps: Steps


class Wanted:
    """All that is read of one resource."""

    __slots__ = ("name", "parts", "readings", "rows", "uri")

    def __init__(self, uri: str, name: str, rows: Mapping[Steps, Identities]) -> None:
        self.uri = uri
        self.name = name
        """Its ``@odata.id`` as its own body spells it: by that it is found in an expanded collection."""
        self.rows = rows
        self.readings: list[tuple[int, Reader]] = []
        self.parts: list[PartSlot] = []

    @property
    def anything(self) -> bool:
        """Whether anything is read of it."""
        return bool(self.readings or self.parts)

    def used_rows(self) -> dict[Steps, set[int]]:
        """The arrays that something is read from, and of each the rows that it stands in."""
        used: dict[Steps, set[int]] = {}
        for steps in [reader.steps for _, reader in self.readings] + [slot.steps for slot in self.parts]:
            for index, step in enumerate(steps):
                if isinstance(step, int):
                    used.setdefault(steps[:index], set()).add(step)
        return used

    @property
    def is_sensor(self) -> bool:
        """Whether nothing but the numbers of a Sensor is wanted, or nothing at all."""
        judged = sum(reader.judged for _, reader in self.readings)
        return not self.parts and judged <= 1 and all(reader.sensor for _, reader in self.readings)


Number = tuple[str, int, float, float, float, float, Reader]
"""Attribute, column, scale, offset, low, high, reader: what reading one number takes."""


Other = tuple[str, int, Reader]
"""Attribute, column, reader: a number that takes more than its unit."""


class Row:
    """One object of a decoded body, and what is read from it and below it."""

    __slots__ = ("identity", "identity_of", "lists", "numbers", "objects", "others", "part", "stated", "steps", "timed")

    def __init__(self, steps: Steps, identity: tuple[tuple[str, str], ...] = ()) -> None:
        self.steps = steps
        self.identity: object = None
        """What :attr:`identity_of` gave of this row when it was walked."""
        self.identity_of: Callable[[Any], object] | None = None
        if identity:
            texts = tuple(text for _, text in identity)
            self.identity = texts if len(texts) > 1 else texts[0]
            self.identity_of = attrgetter(*(attribute(name) for name, _ in identity))
        self.numbers: tuple[Number, ...] = ()
        self.others: tuple[Other, ...] = ()
        self.part: PartSlot | None = None
        self.stated = False
        """Whether it is decoded with its Status."""
        self.timed = False
        """Whether it is a Sensor, which may tell when its reading was taken."""
        self.objects: tuple[tuple[str, Row], ...] = ()
        self.lists: tuple[tuple[str, tuple[Row | None, ...]], ...] = ()


class _Clash(ValueError):
    """One property is wanted as two things."""


class Plan:
    """What one GET is read for."""

    __slots__ = ("beside", "columns", "fetch", "metrics", "names", "numbers", "report", "roots", "shape", "wanted")

    def __init__(self, fetch: Fetch, wanted: list[Wanted]) -> None:
        self.fetch = fetch
        self.wanted = wanted
        """Of an expanded collection every member, in the order walked, whether or not anything is read of it."""
        self.names = [one.name for one in wanted]
        self.columns = [column for one in wanted for column, _ in one.readings]
        self.numbers: list[Number | None] = []
        """Beside ``wanted``, where it brings Sensor resources and nothing else is wanted of it; else empty."""
        self.beside: list[tuple[int, Number]] = []
        """Further numbers of those: which of ``wanted`` tells them."""
        self.roots: list[Row] = []
        """Beside ``wanted``, where it brings anything else."""
        self.shape: Shape | None = ()
        """None: of one property a number is read here and an object there, so that no type fits; it is read the careful
        way."""
        self.report: Report | None = None
        """The metric report that it brings, and nothing else."""
        self.metrics: list[Metric] = []
        """What is read of that report."""
        if self.columns and all(one.is_sensor for one in wanted):
            self.numbers = [_main(one) for one in wanted]
            self.beside = [
                (index, number(column, reader))
                for index, one in enumerate(wanted)
                for column, reader in one.readings
                if not reader.judged
            ]
            return
        self.roots = [_grow(one) for one in wanted]
        try:
            shape = _merged([_shape(root, one) for root, one in zip(self.roots, wanted, strict=True)])
        except _Clash:
            self.shape = None
            return
        if fetch.expanded:
            shape["@odata.id"] = TEXT
        self.shape = _frozen({"Members": [shape]} if fetch.expanded else shape)


@lru_cache(maxsize=1024)
def compile_plans(recipe: Recipe, fetches: tuple[Fetch, ...]) -> tuple[Plan, ...]:
    """How to read every fetch: once for all controllers of one design, so nothing in it may change.

    A sensor is read at the first of its places that any fetch brings; in a report where that copies an earlier one.
    """
    brought = {uri for fetch in fetches for uri in fetch.brings}
    reported = _reported(recipe, brought)
    readings: dict[str, list[tuple[int, Reader]]] = {}
    for column, places in enumerate(recipe.readers):
        for index, reader in enumerate(places):
            if column in reported and reported[column][1].place < index:
                break
            if reader.uri in brought:
                readings.setdefault(reader.uri, []).append((column, reader))
                reported.pop(column, None)
                break
    parts: dict[str, list[PartSlot]] = {}
    for index, uri in enumerate(recipe.told):
        if whole(uri) in brought:
            parts.setdefault(whole(uri), []).append(PartSlot(index, _steps(uri.partition("#")[2])))
    members, rows = dict(recipe.members), {uri: dict(told) for uri, told in recipe.rows}
    taken: set[str] = set()
    plans = []
    for fetch in fetches:
        plain = tuple((uri, uri) for uri in fetch.brings)
        wanted = []
        for uri, name in members.get(fetch.path.partition(SELECT)[0], plain) if fetch.expanded else plain:
            one = Wanted(uri, name, rows.get(uri, {}))
            if uri in fetch.brings and uri not in taken:
                one.readings, one.parts = readings.get(uri, []), parts.get(uri, [])
                taken.add(uri)
            wanted.append(one)
        plan = Plan(fetch, wanted)
        told = [(report, metric) for report, metric in reported.values() if fetch.brings == (report.uri,)]
        if told:
            plan.report, plan.metrics = told[0][0], [metric for _, metric in told]
            plan.columns = [metric.column for metric in plan.metrics]
        plans.append(plan)
    return tuple(plans)


def _reported(recipe: Recipe, brought: set[str]) -> dict[int, tuple[Report, Metric]]:
    """Column -> the metric report that tells it, of those that any fetch brings, and as what."""
    found: dict[int, tuple[Report, Metric]] = {}
    for report in recipe.reports:
        if report.uri in brought:
            for metric in report.metrics:
                found.setdefault(metric.column, (report, metric))
    return found


def number(column: int, reader: Reader) -> Number:
    """A reader laid open, so that a round need not look into it."""
    return attribute(reader.key), column, reader.scale, reader.offset, reader.low, reader.high, reader


def _main(wanted: Wanted) -> Number | None:
    return next((number(column, reader) for column, reader in wanted.readings if reader.judged), None)


def _steps(fragment: str) -> Steps:
    steps = [step.replace("~1", "/").replace("~0", "~") for step in fragment.split("/")[1:]]
    return tuple(int(step) if step.isdecimal() else step for step in steps)


def _grow(wanted: Wanted) -> Row:
    """The rows of one resource, from its body down."""
    grown: dict[Steps, Row] = {}

    def row(steps: Steps) -> Row:
        if steps not in grown:
            array = wanted.rows.get(steps[:-1], ()) if steps and isinstance(steps[-1], int) else ()
            index = steps[-1] if steps else 0
            identity = array[index] if isinstance(index, int) and index < len(array) else ()
            grown[steps] = Row(steps, identity)
            if steps:
                row(steps[:-1])
        return grown[steps]

    root = row(())
    for column, reader in wanted.readings:
        holder = row(reader.steps)
        if reader.plain:
            holder.numbers += (number(column, reader),)
        else:
            holder.others += ((attribute(reader.key), column, reader),)
        holder.stated = root.stated = True
        holder.timed = holder.timed or reader.sensor
    for slot in wanted.parts:
        holder = row(slot.steps)
        holder.part, holder.stated = slot, True
    for steps, child in grown.items():
        if steps and isinstance(steps[-1], str) and not _is_array(steps, grown):
            grown[steps[:-1]].objects += ((attribute(steps[-1]), child),)
    for steps in grown:
        if steps and _is_array(steps, grown):
            length = max(len(wanted.rows.get(steps, ())), *(one[-1] + 1 for one in _indexes(steps, grown)))
            rows = tuple(grown.get((*steps, index)) for index in range(length))
            grown[steps[:-1]].lists += ((attribute(str(steps[-1])), rows),)
    return root


def _is_array(steps: Steps, grown: Iterable[Steps]) -> bool:
    return any(True for _ in _indexes(steps, grown))


def _indexes(steps: Steps, grown: Iterable[Steps]) -> list[Any]:
    return [one for one in grown if len(one) == len(steps) + 1 and one[:-1] == steps and isinstance(one[-1], int)]


def _shape(row: Row, wanted: Wanted) -> dict[str, Any]:
    """What must be decoded of a row, properties by name."""
    shape: dict[str, Any] = {one[-1].key: NUMBER for one in row.numbers}
    for _, _, reader in row.others:
        shape[reader.key] = TEXT if reader.duration else NUMBER if reader.index is None else NUMBERS
    if row.stated:
        shape["Status"] = STATUS if row.part is not None else STATE
    if row.timed:
        shape["ReadingTime"] = TEXT
    if row.part is not None:
        shape |= TELLING
    if row.steps and isinstance(row.steps[-1], int):
        array = wanted.rows.get(row.steps[:-1], ())
        shape |= {name: TEXT for name, _ in (array[row.steps[-1]] if row.steps[-1] < len(array) else ())}
    for _, child in row.objects:
        _put(shape, str(child.steps[-1]), _shape(child, wanted))
    for _, rows in row.lists:
        known = [child for child in rows if child is not None]
        _put(shape, str(known[0].steps[-2]), [_merged([_shape(child, wanted) for child in known])])
    return shape


def _put(shape: dict[str, Any], name: str, wanted: dict[str, Any] | list[dict[str, Any]]) -> None:
    if name in shape:
        raise _Clash(name)
    shape[name] = wanted


_STATUSES = (STATE, STATUS)


def _merged(shapes: list[dict[str, Any]]) -> dict[str, Any]:
    """One shape that has what any of several has."""
    merged: dict[str, Any] = {}
    for shape in shapes:
        for name, wanted in shape.items():
            before = merged.get(name)
            if isinstance(before, dict) and isinstance(wanted, dict):
                merged[name] = _merged([before, wanted])
            elif isinstance(before, list) and isinstance(wanted, list):
                merged[name] = [_merged([before[0], wanted[0]])]
            elif before is not None and before != wanted and not (before in _STATUSES and wanted in _STATUSES):
                raise _Clash(name)
            elif before != STATUS:
                merged[name] = wanted
    return merged


def _frozen(shape: dict[str, Any]) -> Shape:
    return tuple(
        (name, wanted if isinstance(wanted, str) else _frozen_below(wanted)) for name, wanted in sorted(shape.items())
    )


def _frozen_below(wanted: dict[str, Any] | list[dict[str, Any]]) -> Any:
    return ("list", _frozen(wanted[0])) if isinstance(wanted, list) else _frozen(wanted)
