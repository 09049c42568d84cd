"""The telemetry service: a metric report that brings every sensor of a sled in one body."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from simulators.service import live
from simulators.service.live import Hole, Moment
from simulators.service.query import Body
from simulators.service.template import Live
from simulators.service.tree import ROOT, Tree, link
from simulators.telemetry import SensorSpec

TELEMETRY = "/redfish/v1/TelemetryService"
REPORT = f"{TELEMETRY}/MetricReports/Sensors"
_DEFINITION = f"{TELEMETRY}/MetricReportDefinitions/Sensors"


def add(tree: Tree, specs: Sequence[SensorSpec]) -> None:
    """Add the telemetry service to a tree whose sensors are Sensor resources, and the link to it."""
    found = [(spec.id, path) for spec in specs if (path := _path(tree, spec.id)) is not None]
    if len(found) != len(specs):
        raise ValueError(f"only {len(found)} of {len(specs)} sensors are resources that a report could point to")
    values: list[Body] = []
    for id_, path in found:
        values.append(_value(id_, f"{path}#/Reading", tree.resources[path].body["Reading"]))
    tree.add(
        REPORT,
        "MetricReport.v1_2_7.MetricReport",
        "All sensors",
        {
            "ReportSequence": _sequence(),
            "Timestamp": live.acquired(),
            "MetricReportDefinition": link(_DEFINITION),
            "MetricValues": values,
        },
    )
    tree.add(
        _DEFINITION,
        "MetricReportDefinition.v1_4_7.MetricReportDefinition",
        "All sensors",
        {
            "MetricReportDefinitionType": "OnRequest",
            "MetricReportDefinitionEnabled": True,
            "ReportActions": ["LogToMetricReportsCollection"],
            "ReportUpdates": "Overwrite",
            "MetricProperties": [str(value["MetricProperty"]) for value in values],
            "MetricReport": link(REPORT),
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    definitions = tree.collect(
        f"{TELEMETRY}/MetricReportDefinitions", "MetricReportDefinition", "Metric report definitions", [_DEFINITION]
    )
    tree.add(
        TELEMETRY,
        "TelemetryService.v1_4_1.TelemetryService",
        "Telemetry service",
        {
            "ServiceEnabled": True,
            "MaxReports": 1,
            "SupportedCollectionFunctions": [],
            "MetricReportDefinitions": link(definitions),
            "MetricReports": link(
                tree.collect(f"{TELEMETRY}/MetricReports", "MetricReport", "Metric reports", [REPORT])
            ),
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    tree.resources[ROOT].body["TelemetryService"] = link(TELEMETRY)


def _path(tree: Tree, sensor: str) -> str | None:
    return next((path for path in tree.resources if path.endswith(f"/Sensors/{sensor}")), None)


def _value(id_: str, pointer: str, reading: Hole) -> Body:
    """One row; the schema has its values as strings, whatever they are."""

    def fill(now: Moment) -> bytes:
        number = reading.fill(now)
        return number if number == b"null" else b'"%b"' % number

    return {"MetricId": id_, "MetricProperty": pointer, "MetricValue": Live(fill), "Timestamp": live.acquired()}


def _sequence() -> Hole:
    """Rises with every acquisition."""
    return Live(lambda now: msgspec.json.encode(str(int(now.telemetry.time))))
