"""Metric reports: one body that tells the readings of many sensors, matched to them by where each value comes from.

Sources: DSP8010 2025.4 ``MetricReport_v1.xml`` and ``MetricReportDefinition_v1.xml``; DSP0266 section 'Telemetry'.

A report's value names the property that it copies: a URI with a JSON pointer. Where that is a place of a sensor, the
sensor may be read from the report. Averages, minima and the like (CollectionFunction) are no readings and match
nothing. A report is of use to rounds where it is made often enough and it can be told when it stops: on request; or
periodically, or on change with a heartbeat, at most :data:`MAX_PERIOD` seconds apart, with a Timestamp that is not
old by the service's own clock.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice, product

from msgspec import Struct

from collector.model import DefectKind, Seconds
from collector.normalise.bodies import Body, at, link, place, record, resource_type, rows, text
from collector.normalise.findings import Findings, shown
from collector.normalise.reading import Reader
from collector.normalise.times import duration, seconds
from collector.redfish.resources import Walked

MAX_PERIOD = 60.0
"""Seconds between two reports; one made less often would make rounds worse, not cheaper."""
MAX_VALUES = 20_000
"""Values of one report that are looked at."""
_GONE_AFTER = 3
"""Periods without a new report after which it has stopped."""
_NO_STATES = frozenset({"Disabled", "Absent", "UnavailableOffline"})


class Metric(Struct, frozen=True):
    """One value of a report and the sensor that it is."""

    key: str
    """MetricProperty as told; MetricId where the value tells no property."""
    column: int
    place: int
    """Which of the sensor's places it copies: 0 is the one that it is read at first."""
    reader: Reader
    """How to read that place: a report's value is in the unit of what it copies."""


class Report(Struct, frozen=True, kw_only=True):
    """A report that rounds may read."""

    uri: str
    metrics: tuple[Metric, ...]
    limit: Seconds
    """How long it may stay the same before it counts as stopped; 0 for one that is made on request."""
    suppressed: bool = False
    """Whether values that did not change are left out."""
    heartbeat: Seconds = 0.0
    """After how long they are told all the same; 0 where that is not said."""


def find_reports(walked: Walked, readers: tuple[tuple[Reader, ...], ...], findings: Findings) -> tuple[Report, ...]:
    """The reports of a walk that tell sensors, as far as rounds can rely on them. ``readers``: of each column."""
    bodies = {uri: one.body for uri, one in walked.resources.items() if resource_type(one.body) == "MetricReport"}
    if not bodies:
        return ()
    known = dict(_places(readers))
    found = []
    for uri, body in bodies.items():
        home = walked.resources.get(link(body.get("MetricReportDefinition")) or "")
        definition = home.body if home is not None else {}
        metrics = tuple(_metrics(uri, body, definition, known, walked, findings))
        limit = _limit(body, definition, walked)
        if metrics and limit is not None:
            found.append(
                Report(
                    uri=uri,
                    metrics=metrics,
                    limit=limit,
                    suppressed=definition.get("SuppressRepeatedMetricValue") is True,
                    heartbeat=_duration(definition.get("MetricReportHeartbeatInterval")) or 0.0,
                )
            )
    return tuple(found)


def _places(readers: tuple[tuple[Reader, ...], ...]) -> Iterator[tuple[str, tuple[int, int, Reader]]]:
    """Every place that a MetricProperty may name."""
    for column, places in enumerate(readers):
        for index, reader in enumerate(places):
            yield f"{reader.uri}#{reader.pointer}", (column, index, reader)
            if reader.sensor and reader.judged:
                yield reader.uri, (column, index, reader)  # common practice, no source: the Sensor for its Reading


def _metrics(
    uri: str,
    body: Body,
    definition: Body,
    known: Mapping[str, tuple[int, int, Reader]],
    walked: Walked,
    findings: Findings,
) -> Iterator[Metric]:
    computed = _Computed(definition)
    by_id = dict(_properties_by_id(definition))
    taken: set[int] = set()
    for index, value in enumerate(rows(body.get("MetricValues"))[:MAX_VALUES]):
        value = record(value)
        id_, told = value.get("MetricId"), value.get("MetricProperty")
        if told is None:
            told = by_id.get(id_) if isinstance(id_, str) else None
            key = id_
        else:
            key = told
        if not isinstance(told, str) or not isinstance(key, str) or computed.has(told, id_):
            continue
        match = known.get(place(told))
        if match is None:
            _blame(uri, index, told, walked, findings)
        elif match[0] not in taken:
            taken.add(match[0])
            yield Metric(key, *match)
    for told in _told_properties(definition):
        match = known.get(place(told))
        if match is not None and match[0] not in taken and not computed.has(told, None):
            taken.add(match[0])
            yield Metric(told, *match)  # left out now since it did not change


def _blame(uri: str, index: int, told: str, walked: Walked, findings: Findings) -> None:
    """A value that copies something else than a reading is none of ours; one that copies nothing is a defect."""
    path, _, pointer = place(told).partition("#")
    home = walked.resources.get(path)
    if home is not None:
        steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
        holder = at(home.body, tuple(int(step) if step.isdecimal() else step for step in steps[:-1]))
        if not steps or (isinstance(holder, dict) and steps[-1] in holder):
            return
    detail = f"MetricProperty {shown(told)} leads to nothing; the value is not used"
    findings.add(uri, f"/MetricValues/{index}/MetricProperty", DefectKind.DANGLING_LINK, detail)


# Definitions


class _Computed:
    """The metrics of a definition that are worked out of readings over a time."""

    def __init__(self, definition: Body) -> None:
        entries = [record(one) for one in rows(definition.get("Metrics"))]
        entries = [one for one in entries if one.get("CollectionFunction") is not None]
        self._ids = {one["MetricId"] for one in entries if isinstance(one.get("MetricId"), str)}
        self._properties = {
            told for one in entries for told in _expanded(one.get("MetricProperties"), _wildcards(definition))
        }

    def has(self, told: str, id_: object) -> bool:
        """Whether a value, by its property or its id, is such a one."""
        return (isinstance(id_, str) and id_ in self._ids) or place(told) in self._properties


def _properties_by_id(definition: Body) -> Iterator[tuple[str, str]]:
    for entry in rows(definition.get("Metrics")):
        told = rows(record(entry).get("MetricProperties"))
        id_ = record(entry).get("MetricId")
        if isinstance(id_, str) and len(told) == 1 and isinstance(told[0], str) and "{" not in told[0]:
            yield id_, told[0]


def _told_properties(definition: Body) -> Iterator[str]:
    wildcards = _wildcards(definition)
    yield from _expanded(definition.get("MetricProperties"), wildcards)
    for entry in rows(definition.get("Metrics")):
        yield from _expanded(record(entry).get("MetricProperties"), wildcards)


def _wildcards(definition: Body) -> dict[str, list[str]]:
    """Name -> values. One that stands for all there is, ``*``, is left out: it can't be spelt out here."""
    found = {}
    for wildcard in rows(definition.get("Wildcards")):
        name = text(record(wildcard).get("Name"))
        values = [value for value in rows(record(wildcard).get("Values")) if isinstance(value, str)]
        if name is not None and values and "*" not in values:
            found[name] = values
    return found


_WILDCARD = re.compile(r"\{([^{}]*)\}")


def _expanded(properties: object, wildcards: Mapping[str, list[str]]) -> Iterator[str]:
    """Properties with their wildcards filled in every way; at most :data:`MAX_VALUES` of them."""
    yield from islice((told for one in rows(properties) for told in _fillings(one, wildcards)), MAX_VALUES)


def _fillings(told: object, wildcards: Mapping[str, list[str]]) -> Iterable[str]:
    if not isinstance(told, str):
        return
    names = list(dict.fromkeys(_WILDCARD.findall(told)))
    if not all(name in wildcards for name in names):
        return
    for values in product(*(wildcards[name] for name in names)):
        filled = told
        for name, value in zip(names, values, strict=True):
            filled = filled.replace(f"{{{name}}}", value)
        yield place(filled)


# Whether it can be relied on


def _limit(body: Body, definition: Body, walked: Walked) -> Seconds | None:
    """How long the report may stay the same; None where rounds must not rely on it."""
    if definition.get("MetricReportDefinitionEnabled") is False or definition.get("ReportUpdates") == "NewReport":
        return None
    if text(record(definition.get("Status")).get("State")) in _NO_STATES:
        return None
    kind = definition.get("MetricReportDefinitionType")
    if kind == "OnRequest":
        return 0.0
    period = _duration(record(definition.get("Schedule")).get("RecurrenceInterval"))
    if kind == "OnChange":
        period = _duration(definition.get("MetricReportHeartbeatInterval"))
    made = stamp_of(body)
    if period is None or period > MAX_PERIOD or made is None:
        return None
    limit = _GONE_AFTER * max(period, MAX_PERIOD / _GONE_AFTER)
    return limit if _clock(walked) - made <= limit else None


def _duration(told: object) -> Seconds | None:
    return duration(told) if isinstance(told, str) else None


def stamp_of(report: Body) -> Seconds | None:
    """When a report was made: its own Timestamp, else the newest of its values."""
    own = report.get("Timestamp")
    told = [own] if own is not None else [record(one).get("Timestamp") for one in rows(report.get("MetricValues"))]
    known = [taken for one in told if isinstance(one, str) and (taken := seconds(one)) is not None]
    return max(known, default=None)


def _clock(walked: Walked) -> Seconds:
    """What time it is by the service, which may be wrong; ours where no manager tells it."""
    for resource in walked.resources.values():
        told = resource.body.get("DateTime")
        if isinstance(told, str) and resource_type(resource.body) == "Manager":
            now = seconds(told)
            if now is not None:
                return now
    return walked.time
