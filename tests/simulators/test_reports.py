"""The metric report that brings every sensor of a sled (DSP0268, MetricReport)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from simulators.sensors import layout_of
from simulators.service.reports import REPORT, TELEMETRY
from tests.simulators.event_kit import scene
from tests.simulators.service_kit import sled_of, tree_of


@pytest.mark.parametrize("design", ["quad", "duo"])
def test_one_report_has_every_sensor_once_with_the_value_that_its_pointer_shows(design: str) -> None:
    one, _ = scene("reports", design)
    report = one.get(REPORT)
    rows = {row["MetricProperty"]: row for row in report["MetricValues"]}
    assert len(rows) == len(report["MetricValues"]) == len(layout_of(sled_of(design, "reports")).specs)
    sensors = {path for path in one.service.tree.resources if "/Sensors/" in path}
    assert {pointer.partition("#")[0] for pointer in rows} == sensors
    for pointer, row in rows.items():
        path, _, member = pointer.partition("#/")
        assert member == "Reading"
        sensor = one.get(path)
        assert float(row["MetricValue"]) == sensor["Reading"]
        assert isinstance(row["MetricValue"], str)
        assert row["Timestamp"] == sensor["ReadingTime"]


def test_a_reading_that_is_not_there_is_null() -> None:
    one, source = scene("reports")
    source.sensor("SledInlet", None)
    rows = {row["MetricId"]: row["MetricValue"] for row in one.get(REPORT)["MetricValues"]}
    assert rows["SledInlet"] is None
    assert rows["SledExhaust"] is not None


def test_the_sequence_rises_with_every_acquisition_and_only_then() -> None:
    one, source = scene("reports")
    first = int(one.get(REPORT)["ReportSequence"])
    assert int(one.get(REPORT)["ReportSequence"]) == first
    source._told = replace(source.telemetry(), time=source.telemetry().time + 1.0)
    assert int(one.get(REPORT)["ReportSequence"]) == first + 1


def test_the_definition_lists_what_the_report_has() -> None:
    one, _ = scene("reports")
    service = one.get(TELEMETRY)
    members = one.get(service["MetricReportDefinitions"]["@odata.id"])["Members"]
    assert len(members) == 2
    for member in members:
        definition = one.get(member["@odata.id"])
        report = one.get(definition["MetricReport"]["@odata.id"])
        assert definition["MetricProperties"] == [row["MetricProperty"] for row in report["MetricValues"]]
        assert report["MetricReportDefinition"] == member


def test_a_report_brings_the_errors_of_every_memory_module() -> None:
    one, _ = scene("modern")
    rows = one.get(f"{TELEMETRY}/MetricReports/MemoryErrors")["MetricValues"]
    blade = one.sled.design.blade
    assert len({row["MetricId"] for row in rows}) == 2 * blade.memories * len(one.sled.blades)
    for row in rows[:6]:
        path, _, pointer = row["MetricProperty"].partition("#/CurrentPeriod/")
        assert row["MetricValue"] == str(one.get(path)["CurrentPeriod"][pointer])


@pytest.mark.parametrize("dialect", ["modern", "classic", "push"])
def test_no_other_dialect_reports_all_sensors(dialect: str) -> None:
    one, _ = scene(dialect)
    assert not any(path == REPORT for path in tree_of("quad", dialect).resources)
    assert one.error("GET", REPORT) == (404, ["ResourceMissingAtURI"])


def test_the_older_model_has_no_telemetry_service() -> None:
    one, _ = scene("classic")
    assert "TelemetryService" not in one.get("/redfish/v1/")
    assert not any("TelemetryService" in path for path in tree_of("quad", "classic").resources)
