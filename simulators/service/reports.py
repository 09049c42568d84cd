"""The telemetry service: metric reports that bring every sensor, or every counted memory error, in one body."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from simulators.service import live, triggers
from simulators.service.live import Hole, Moment
from simulators.service.query import Body
from simulators.service.template import Live
from simulators.service.tree import ROOT, Tree, link
from simulators.telemetry import SensorSpec

TELEMETRY = "/redfish/v1/TelemetryService"
REPORT = f"{TELEMETRY}/MetricReports/Sensors"


def add(tree: Tree, specs: Sequence[SensorSpec], *, sensors: bool) -> None:
    """Add the telemetry service to a tree, and the link to it; ``sensors``: with a report of all sensors, and
    triggers that keep the limits of some.

    Where memory modules have metrics, a report brings the errors of all of them: what would be a GET each.
    """
    made: list[tuple[str, str]] = []
    limits: Body = {}
    if sensors:
        found = [(spec.id, path) for spec in specs if (path := _path(tree, spec.id)) is not None]
        if len(found) != len(specs):
            raise ValueError(f"only {len(found)} of {len(specs)} sensors are resources that a report could point to")
        values = [_value(id_, f"{path}#/Reading", tree.resources[path].body["Reading"]) for id_, path in found]
        made.append(_report(tree, "Sensors", "All sensors", values))
        limits = {"Triggers": link(triggers.move(tree, TELEMETRY, [path for _, path in found]))}
    errors = [
        _value(f"{path.split('/')[4]}{path.split('/')[6]}{short}", f"{path}#/CurrentPeriod/{name}", hole)
        for path, resource in tree.resources.items()
        if path.endswith("/MemoryMetrics")
        for (name, hole), short in zip(
            resource.body["CurrentPeriod"].items(), ("Corrected", "Uncorrected"), strict=True
        )
    ]
    if errors:
        made.append(_report(tree, "MemoryErrors", "Errors of all memory modules", errors))
    if not made:
        return
    definitions = tree.collect(
        f"{TELEMETRY}/MetricReportDefinitions",
        "MetricReportDefinition",
        "Metric report definitions",
        [definition for _, definition in made],
    )
    tree.add(
        TELEMETRY,
        "TelemetryService.v1_4_1.TelemetryService",
        "Telemetry service",
        {
            "ServiceEnabled": True,
            "MaxReports": len(made),
            "SupportedCollectionFunctions": [],
            "MetricReportDefinitions": link(definitions),
            "MetricReports": link(
                tree.collect(
                    f"{TELEMETRY}/MetricReports", "MetricReport", "Metric reports", [report for report, _ in made]
                )
            ),
            **limits,
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    tree.resources[ROOT].body["TelemetryService"] = link(TELEMETRY)


def _report(tree: Tree, id_: str, name: str, values: list[Body]) -> tuple[str, str]:
    """A report and its definition."""
    report, definition = f"{TELEMETRY}/MetricReports/{id_}", f"{TELEMETRY}/MetricReportDefinitions/{id_}"
    tree.add(
        report,
        "MetricReport.v1_2_7.MetricReport",
        name,
        {
            "ReportSequence": _sequence(),
            "Timestamp": live.acquired(),
            "MetricReportDefinition": link(definition),
            "MetricValues": values,
        },
    )
    tree.add(
        definition,
        "MetricReportDefinition.v1_4_7.MetricReportDefinition",
        name,
        {
            "MetricReportDefinitionType": "OnRequest",
            "MetricReportDefinitionEnabled": True,
            "ReportActions": ["LogToMetricReportsCollection"],
            "ReportUpdates": "Overwrite",
            "MetricProperties": [str(value["MetricProperty"]) for value in values],
            "MetricReport": link(report),
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    return report, definition


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
