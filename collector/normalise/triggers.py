"""Triggers of the telemetry service: limits for sensors that tell none themselves.

Source: DSP8010 2025.4 ``Triggers_v1.xml``. A trigger names the properties that it watches, as a metric report does: by
URI and JSON pointer, with wildcards, or by the Id of a MetricDefinition that names them. Its warning is a Sensor's
caution. What a Sensor or a row tells of itself is never overridden: a trigger is set by whoever manages the service.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from itertools import islice

from collector.model import DefectKind, Thresholds
from collector.normalise import thresholds
from collector.normalise.bodies import Body, at, place, record, resource_type, rows, text
from collector.normalise.findings import Findings, shown
from collector.normalise.places import Found, Rank
from collector.normalise.units import Measure
from collector.redfish.resources import Resource

MAX_PROPERTIES = 2_000
"""Properties of one trigger that are looked at."""
MAX_PATTERNS = 200
"""Properties with wildcards of one service: each is held against every sensor without limits."""
_NO_STATES = frozenset({"Disabled", "Absent", "UnavailableOffline"})
_MARK = "0wildcard0"
"""Stands for a wildcard while its path is written as we write paths; no service names a resource so."""
_WILDCARD = re.compile(r"\{([^{}]*)\}")
_Trigger = tuple[str, Body]
"""Path of a trigger and its NumericThresholds."""


class Triggers:
    """What the numeric triggers of one walk set."""

    def __init__(self, resources: Mapping[str, Resource], findings: Findings) -> None:
        self._exact: dict[str, list[_Trigger]] = {}
        self._patterns: list[tuple[re.Pattern[str], _Trigger]] = []
        self._resources = resources
        for uri, resource in resources.items():
            if resource_type(resource.body) == "Triggers":
                self._take(uri, resource.body, findings)

    def thresholds(self, found: Found, measure: Measure, findings: Findings) -> Thresholds:
        """The limits that triggers set for one place of a sensor, in ``measure``; none where none does."""
        if not self._exact and not self._patterns:
            return Thresholds()
        own = found.rank is Rank.SENSOR and found.of is None
        names = (f"{found.uri}#/Reading", found.uri) if own else (found.source,)
        setting = [trigger for name in names for trigger in self._exact.get(name, ())]
        setting += [trigger for pattern, trigger in self._patterns if any(pattern.fullmatch(name) for name in names)]
        told: dict[str, tuple[str, object]] = {}
        for uri, limits in dict(setting).items():
            for name, limit in limits.items():
                if name in told and told[name][1] != limit:
                    detail = f"{name} of {shown(names[0])} is set otherwise by {told[name][0]}, which is taken"
                    findings.add(uri, f"/NumericThresholds/{name}", DefectKind.CONTRADICTION, detail)
                told.setdefault(name, (uri, limit))
        return thresholds.of_triggers(told, measure, findings) if told else Thresholds()

    def _take(self, uri: str, body: Body, findings: Findings) -> None:
        limits = body.get("NumericThresholds")
        if limits is None or body.get("TriggerEnabled") is False or body.get("MetricType") == "Discrete":
            return
        if text(record(body.get("Status")).get("State")) in _NO_STATES:
            return
        if not isinstance(limits, dict):
            detail = f"NumericThresholds is {shown(limits)}, not an object"
            findings.add(uri, "/NumericThresholds", DefectKind.WRONG_TYPE, detail)
            return
        trigger = (uri, limits)
        for told, wildcards, pointer in islice(self._properties(uri, body, findings), MAX_PROPERTIES):
            if not _WILDCARD.search(told):
                self._exact.setdefault(place(told), []).append(trigger)
                self._look_for(uri, pointer, place(told), findings)
            elif len(self._patterns) < MAX_PATTERNS:
                self._patterns.append((_pattern(told, wildcards), trigger))
            else:
                detail = f"more than {MAX_PATTERNS} properties with wildcards; the rest are not looked at"
                findings.add(uri, pointer, DefectKind.TOO_BIG, detail)
                return

    def _properties(
        self, uri: str, body: Body, findings: Findings
    ) -> Iterator[tuple[str, Mapping[str, list[str]], str]]:
        """Every property that a trigger watches, with the wildcards that hold for it and where it is told."""
        for index, told in enumerate(rows(body.get("MetricProperties"))):
            if isinstance(told, str):
                yield told, _wildcards(body), f"/MetricProperties/{index}"
            else:
                detail = f"is {shown(told)}, not text"
                findings.add(uri, f"/MetricProperties/{index}", DefectKind.WRONG_TYPE, detail)
        ids = {id_ for id_ in rows(body.get("MetricIds")) if isinstance(id_, str)}
        for resource in self._resources.values() if ids else ():
            definition = resource.body
            if resource_type(definition) == "MetricDefinition" and text(definition.get("Id")) in ids:
                if definition.get("CalculationAlgorithm") is not None:
                    continue  # worked out of readings over a time: none of them is one
                for told in rows(definition.get("MetricProperties")):
                    if isinstance(told, str):
                        yield told, _wildcards(definition), "/MetricIds"

    def _look_for(self, uri: str, pointer: str, told: str, findings: Findings) -> None:
        """A property that is not where it is said to be is a defect; one that is no reading is none of ours."""
        path, _, fragment = told.partition("#")
        home = self._resources.get(path)
        if home is None:
            return
        steps = [step.replace("~1", "/").replace("~0", "~") for step in fragment.split("/")[1:]]
        holder = at(home.body, tuple(int(step) if step.isdecimal() else step for step in steps[:-1]))
        if steps and not (isinstance(holder, dict) and steps[-1] in holder):
            detail = f"MetricProperty {shown(told)} leads to nothing; the trigger sets no limit there"
            findings.add(uri, pointer, DefectKind.DANGLING_LINK, detail)


def _wildcards(body: Body) -> Mapping[str, list[str]]:
    """Name -> values; an empty list stands for all there are."""
    found: dict[str, list[str]] = {}
    for wildcard in rows(body.get("Wildcards")):
        name = text(record(wildcard).get("Name"))
        values = [value for value in rows(record(wildcard).get("Values")) if isinstance(value, str)]
        if name is not None:
            found[name] = [] if "*" in values else values
    return found


def _pattern(told: str, wildcards: Mapping[str, list[str]]) -> re.Pattern[str]:
    """What a property with wildcards matches: each stands for one step of a path, or for one of its values.

    Without an entry of its own a wildcard stands for all, as one without values does.
    """
    names = _WILDCARD.findall(told)
    marks = iter(range(len(names)))
    words = re.escape(place(_WILDCARD.sub(lambda found: f"{_MARK}{next(marks)}{_MARK}", told)))
    for index, name in enumerate(names):
        values = "|".join(re.escape(place(value).strip("/")) for value in wildcards.get(name, []))
        words = words.replace(f"{_MARK}{index}{_MARK}", f"(?:{values})" if values else "[^/#]+")
    return re.compile(words)
