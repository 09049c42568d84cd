"""Triggers: limits that a telemetry service keeps in the Sensors' stead (DSP8010, Triggers)."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from simulators.service.query import Body
from simulators.service.tree import Tree

_NAMES = {
    "UpperCaution": "UpperWarning",
    "UpperCritical": "UpperCritical",
    "LowerCaution": "LowerWarning",
    "LowerCritical": "LowerCritical",
}


def move(tree: Tree, telemetry: str, sensors: Sequence[str]) -> str:
    """Take the limits from the Sensors that have no fatal ones, and tell them as triggers; the collection's path.

    Sensors with the same limits in one chassis share a trigger with a wildcard.
    """
    groups: dict[tuple[str, bytes], list[str]] = {}
    for path in sensors:
        body = tree.resources[path].body
        limits = body.get("Thresholds", {})
        if limits and limits.keys() <= _NAMES.keys():
            del body["Thresholds"]
            groups.setdefault((path.rpartition("/")[0], msgspec.json.encode(limits)), []).append(path)
    made = []
    for number, ((listing, limits), paths) in enumerate(groups.items(), 1):
        path = f"{telemetry}/Triggers/Limits{number}"
        ids = [each.rpartition("/")[2] for each in paths]
        watched: Body = {"MetricProperties": [f"{paths[0]}#/Reading"]}
        if len(ids) > 1:
            watched = {
                "MetricProperties": [f"{listing}/{{Sensor}}#/Reading"],
                "Wildcards": [{"Name": "Sensor", "Values": ids}],
            }
        told = {_NAMES[name]: limit for name, limit in msgspec.json.decode(limits).items()}
        body = {"MetricType": "Numeric", "TriggerActions": ["RedfishEvent"], "NumericThresholds": told, **watched}
        made.append(tree.add(path, "Triggers.v1_4_0.Triggers", f"Limits of {ids[0]}", body))
    return tree.collect(f"{telemetry}/Triggers", "Triggers", "Triggers", made)
