"""Metric reports: matched to their sensors, read instead of them where that is cheaper, given up when they stop.

Sources: DSP8010 2025.4 MetricReport_v1.xml, MetricReportDefinition_v1.xml; the published example ``public-telemetry``.
"""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from collector.model import DefectKind, Location
from collector.normalise.inventory import Normalised, build
from collector.normalise.polled import Decoded, Decoder
from collector.poll.plan import plan
from collector.redfish.resources import Fetch
from tests.normalise.services import (
    BMC,
    NAME,
    SLED,
    Bodies,
    chassis,
    collection,
    link,
    read,
    resource,
    root,
    sensors,
    sled,
    temperature,
    thermal,
)
from tests.normalise.walks import EXPAND, TIME, example, walk_of

SENSORS = f"{SLED}/Sensors"
TELEMETRY = "/redfish/v1/TelemetryService"
REPORT = f"{TELEMETRY}/MetricReports/All"
DEFINITION = f"{TELEMETRY}/MetricReportDefinitions/All"
ROUND = 30.0
STAMP = "2025-11-24T16:00:00Z"  # TIME


def stamp(seconds: float) -> str:
    """A time so many seconds after the walk."""
    return f"2025-11-24T16:{int(seconds) // 60:02}:{int(seconds) % 60:02}Z"


def value(property_: str, told: Any, **more: Any) -> dict[str, Any]:
    return {"MetricProperty": property_, "MetricValue": told, **more}


def report(*values: dict[str, Any], at: str | None = STAMP, **more: Any) -> dict[str, Any]:
    body = resource(REPORT, "MetricReport", MetricReportDefinition=link(DEFINITION), MetricValues=list(values), **more)
    return body if at is None else body | {"Timestamp": at}


def service(told: dict[str, Any], count: int = 3, **definition: Any) -> Bodies:
    """A sled with so many sensors and a report."""
    schedule = {"MetricReportDefinitionType": "Periodic", "Schedule": {"RecurrenceInterval": "PT10S"}}
    return {
        **root(TelemetryService=link(TELEMETRY)),
        **chassis(sled()),
        **sensors(*(temperature(f"T{number}", 20 + number) for number in range(count))),
        TELEMETRY: resource(TELEMETRY, "TelemetryService", MetricReports=link(f"{TELEMETRY}/MetricReports")),
        f"{TELEMETRY}/MetricReports": collection(f"{TELEMETRY}/MetricReports", REPORT),
        REPORT: told,
        DEFINITION: resource(DEFINITION, "MetricReportDefinition", **(schedule | definition)),
    }


def three(*told: Any, at: str | None = STAMP) -> dict[str, Any]:
    return report(*(value(f"{SENSORS}/T{index}#/Reading", one) for index, one in enumerate(told)), at=at)


class Rounds:
    """Rounds after a walk."""

    def __init__(self, bodies: Bodies, *, expand: bool = False) -> None:
        self.walked = walk_of(bodies, NAME, expand=expand)
        self.inventory: Normalised = build(self.walked, Location())
        self.fetches: tuple[Fetch, ...] = plan(self.walked, self.inventory)
        self._decoder = Decoder(self.inventory, self.fetches)
        self._bodies = bodies

    @property
    def paths(self) -> list[str]:
        return [fetch.path for fetch in self.fetches]

    def __call__(self, told: Any, at: float) -> Decoded:
        """A round so many seconds after the walk, in which the report is as given."""
        self._decoder.begin()
        for index, fetch in enumerate(self.fetches):
            body = told if fetch.path == REPORT else self._bodies[fetch.path]
            raw = body if isinstance(body, bytes) else json.dumps(body).encode()
            self._decoder.take(index, raw, TIME + at)
        return self._decoder.finish(TIME + at)

    def values(self, decoded: Decoded) -> list[float | None]:
        assert decoded.frame is not None
        return [None if math.isnan(one) else one for one in decoded.frame.values]

    def times(self, decoded: Decoded) -> list[float]:
        """Of each sensor, after the walk."""
        assert decoded.frame is not None
        assert decoded.frame.times is not None
        return [one - TIME for one in decoded.frame.times]


# What is read instead of what


def test_a_report_of_all_sensors_is_read_instead_of_them() -> None:
    rounds = Rounds(service(three("20", "21", "22")))
    assert REPORT in rounds.paths
    assert not [path for path in rounds.paths if "/Sensors" in path]
    decoded = rounds(three("30", "31.5", "-3e1", at=stamp(30)), 31)
    assert rounds.values(decoded) == [30, 31.5, -30]
    assert rounds.times(decoded) == [30, 30, 30]
    assert not decoded.shape_changed
    assert decoded.defects == ()


def test_a_report_goes_before_an_expanded_collection_that_brings_the_same() -> None:
    assert REPORT in Rounds(service(three("20", "21", "22")), expand=True).paths
    assert REPORT not in Rounds(service(three("20", "21")), expand=True).paths, "it would take both"
    some = Rounds(service(three("20", "21"))).paths
    assert [path for path in some if "/Sensors/" in path] == [f"{SENSORS}/T2"], "one by one the report is cheaper"
    assert REPORT in some


@pytest.mark.parametrize(
    ("at", "definition"),
    [
        (STAMP, {"Schedule": {"RecurrenceInterval": "PT1H"}}),
        (STAMP, {"Schedule": None}),
        (STAMP, {"MetricReportDefinitionEnabled": False}),
        (STAMP, {"Status": {"State": "Disabled"}}),
        (STAMP, {"ReportUpdates": "NewReport"}),
        (STAMP, {"MetricReportDefinitionType": "OnChange"}),
        (None, {}),
        ("2025-11-24T15:00:00Z", {}),
        ("yesterday", {}),
    ],
)
def test_a_report_that_cannot_be_relied_on_is_left_alone(at: str | None, definition: dict[str, Any]) -> None:
    assert REPORT not in Rounds(service(three("20", "21", "22", at=at), **definition)).paths


@pytest.mark.parametrize(
    "definition",
    [
        {"MetricReportDefinitionType": "OnRequest", "Schedule": None},
        {"MetricReportDefinitionType": "OnChange", "MetricReportHeartbeatInterval": "PT30S"},
        {"ReportUpdates": "AppendWrapsWhenFull"},
    ],
)
def test_reports_of_every_kind_that_can_be_relied_on(definition: dict[str, Any]) -> None:
    assert REPORT in Rounds(service(three("20", "21", "22"), **definition)).paths


def test_the_age_of_a_report_is_told_by_the_services_own_clock() -> None:
    """A clock that is off by a year makes no report old."""
    bodies = service(three("20", "21", "22", at="2024-11-24T16:00:00Z"))
    assert REPORT not in Rounds(bodies).paths
    bodies |= {BMC: resource(BMC, "Manager", ManagerType="BMC", DateTime="2024-11-24T16:00:05Z")}
    assert REPORT in Rounds(bodies).paths


# Which value is whose


def test_values_are_matched_by_uri_and_pointer_and_read_in_the_unit_of_the_place() -> None:
    rows = thermal(Temperatures=[{"Name": "Inlet", "ReadingCelsius": 20}, {"Name": "Outlet", "ReadingCelsius": 30}])
    metrics = f"{SLED}/EnvironmentMetrics"
    energy = {metrics: resource(metrics, "EnvironmentMetrics", EnergykWh={"Reading": 2})}
    told = report(
        value(f"{SLED}/Thermal#/Temperatures/1/ReadingCelsius", "31"),
        value(f"{SLED}/Thermal/#/Temperatures/0/ReadingCelsius", "21"),
        value(f"{metrics}#/EnergykWh/Reading", "3"),
    )
    bodies = service(told, count=0) | rows | energy
    rounds = Rounds(bodies)
    by_name = {
        one.sensor: value
        for one, value in zip(rounds.inventory.layout.sensors, rounds.values(rounds(told, 5)), strict=True)
    }
    assert by_name == {"Inlet": 21, "Outlet": 31, "energy": 1.08e7}
    assert [path for path in rounds.paths if path in (REPORT, f"{SLED}/Thermal", metrics)] == [REPORT]


def test_a_sensor_may_be_named_without_its_reading() -> None:
    told = report(*(value(f"{SENSORS}/T{index}", "5") for index in range(3)))
    rounds = Rounds(service(told))
    assert rounds.values(rounds(told, 5)) == [5, 5, 5]


def test_a_value_without_property_is_known_by_its_id() -> None:
    metrics = [{"MetricId": f"m{index}", "MetricProperties": [f"{SENSORS}/T{index}#/Reading"]} for index in range(3)]
    told = report(*({"MetricId": f"m{index}", "MetricValue": f"{index}"} for index in range(3)))
    rounds = Rounds(service(told, Metrics=metrics))
    assert rounds.values(rounds(told, 5)) == [0, 1, 2]


def test_averages_are_no_readings() -> None:
    told = three("20", "21", "22")
    wild: dict[str, Any] = {"Wildcards": [{"Name": "T", "Values": ["T0", "T1", "T2"]}]}
    entry = {"MetricProperties": [f"{SENSORS}/{{T}}#/Reading"], "CollectionFunction": "Average"}
    assert REPORT not in Rounds(service(told, Metrics=[entry], **wild)).paths
    named = report(*(row | {"MetricId": "avg"} for row in told["MetricValues"]))
    assert REPORT not in Rounds(service(named, Metrics=[{"MetricId": "avg", "CollectionFunction": "Maximum"}])).paths


@pytest.mark.parametrize(
    ("told", "blamed"),
    [
        (f"{SENSORS}/T0#/0/Reading", True),
        (f"{SENSORS}/Gone#/Reading", True),
        ("{wild}", True),
        (f"{SENSORS}/T0#/Name", False),
        (f"{SENSORS}/T0#/Status/State", False),
    ],
)
def test_what_leads_nowhere_is_a_defect_and_what_is_no_reading_is_none(told: str, blamed: bool) -> None:
    body = report(value(told, "1"), *three("20", "21", "22")["MetricValues"])
    found = [(one.resource, one.property, one.kind) for one in Rounds(service(body)).inventory.defects]
    at = (REPORT, "/MetricValues/0/MetricProperty", DefectKind.DANGLING_LINK)
    assert found == ([at] if blamed else [])


def test_the_published_example_names_its_bad_pointers() -> None:
    """redfish-notes.md section 7, case 21; its reports are of 2016, so none is read."""
    walked = example("public-telemetry")
    inventory = build(walked, Location())
    bad = {one.property for one in inventory.defects if "MetricReports/AvgPlatformPowerUsage" in one.resource}
    assert bad == {f"/MetricValues/{index}/MetricProperty" for index in range(3)}
    assert inventory.recipe.reports == ()
    others = [one for one in inventory.defects if "MetricReports" in one.resource and "AvgPlatform" not in one.resource]
    assert others == []


# Rounds


def test_of_several_values_of_one_sensor_the_newest_counts() -> None:
    rows = [
        value(f"{SENSORS}/T0#/Reading", "1", Timestamp=stamp(10)),
        value(f"{SENSORS}/T0#/Reading", "3", Timestamp=stamp(30)),
        value(f"{SENSORS}/T0#/Reading", "2", Timestamp=stamp(20)),
    ]
    told = report(*rows, at=None)
    rounds = Rounds(service(report(*rows), count=1))
    decoded = rounds(told, 40)
    assert (rounds.values(decoded), rounds.times(decoded)) == ([3], [30])


@pytest.mark.parametrize("wrong", ["", "hot", "nan", "inf", "1_000", "0x10", "1e999", "٣", "12 34"])
def test_what_is_no_number_is_a_defect_and_no_reading(wrong: str) -> None:
    rounds = Rounds(service(three("20", "21", "22")))
    decoded = rounds(three("20", wrong, "22"), 5)
    assert rounds.values(decoded) == [20, None, 22]
    assert [(one.property, one.kind) for one in decoded.defects] == [
        ("/MetricValues/1/MetricValue", DefectKind.NOT_A_NUMBER)
    ]


@pytest.mark.parametrize("wrong", [True, [], {}])
def test_one_value_of_a_wrong_type_costs_that_one_alone(wrong: Any) -> None:
    rounds = Rounds(service(three("20", "21", "22")))
    decoded = rounds(three("20", wrong, 22), 5)
    assert rounds.values(decoded) == [20, None, 22]
    assert [(one.property, one.kind) for one in decoded.defects] == [
        ("/MetricValues/1/MetricValue", DefectKind.WRONG_TYPE)
    ]
    assert rounds.values(rounds(three("20", None, 22), 6)) == [20, None, 22], "null is no value, and no defect"


@pytest.mark.parametrize("body", [b"", b"<html>", b"[]", b"{}", b'{"MetricValues": 7}', b'{"MetricValues": [7, null]}'])
def test_any_body_can_come_in_its_place(body: bytes) -> None:
    rounds = Rounds(service(three("20", "21", "22")))
    decoded = rounds(body, 5)
    assert decoded.frame is None or rounds.values(decoded) == [None, None, None]
    assert decoded.shape_changed or decoded.defects


def test_readings_outside_the_sensors_range_are_errors_of_it() -> None:
    bodies = service(three("20", "21", "22"))
    bodies[f"{SENSORS}/T1"] |= {"ReadingRangeMax": 100}
    rounds = Rounds(bodies)
    decoded = rounds(three("20", "255", "22"), 5)
    assert rounds.values(decoded) == [20, None, 22]
    assert [one.kind for one in decoded.defects] == [DefectKind.OUT_OF_RANGE]


# Repeats left out, and reports that stop


def test_repeats_that_are_left_out_still_hold() -> None:
    rounds = Rounds(service(three("20", "21", "22"), SuppressRepeatedMetricValue=True))
    first = rounds(report(value(f"{SENSORS}/T1#/Reading", "25"), at=stamp(10)), 11)
    assert rounds.values(first) == [20, 25, 22]
    assert rounds.times(first) == [10, 10, 10], "true when the report was made"
    assert not first.shape_changed
    second = rounds(report(at=stamp(40)), 41)
    assert rounds.values(second) == [20, 25, 22]
    assert rounds.times(second) == [40, 40, 40]


def test_what_was_left_out_at_the_walk_is_known_by_the_definition() -> None:
    properties: dict[str, Any] = {"MetricProperties": [f"{SENSORS}/{{T}}#/Reading"]}
    wild: dict[str, Any] = {
        "Wildcards": [{"Name": "T", "Values": ["T0", "T1", "T2"]}],
        "SuppressRepeatedMetricValue": True,
    }
    rounds = Rounds(service(report(value(f"{SENSORS}/T1#/Reading", "21")), **properties, **wild))
    assert not [path for path in rounds.paths if "/Sensors" in path]
    assert rounds.values(rounds(report(value(f"{SENSORS}/T2#/Reading", "30"), at=stamp(10)), 11)) == [20, 21, 30]


def test_a_repeat_is_not_believed_beyond_the_heartbeat() -> None:
    heartbeat: dict[str, Any] = {"SuppressRepeatedMetricValue": True, "MetricReportHeartbeatInterval": "PT1M"}
    rounds = Rounds(service(three("20", "21", "22"), **heartbeat))
    for at in range(30, 600, 30):
        decoded = rounds(report(value(f"{SENSORS}/T1#/Reading", "25"), at=stamp(at)), at)
        held = at <= 2 * 60 + 60
        assert rounds.values(decoded) == [20 if held else None, 25, 22 if held else None], at


def test_a_value_that_is_missing_is_no_value_and_asks_for_a_walk() -> None:
    rounds = Rounds(service(three("20", "21", "22")))
    decoded = rounds(three("20", "21", at=stamp(10)), 11)
    assert rounds.values(decoded) == [20, 21, None]
    assert decoded.shape_changed


def test_a_report_that_stops_is_found_out_and_another_way_found() -> None:
    rounds = Rounds(service(three("20", "21", "22")))
    for at in range(0, 90, 30):
        decoded = rounds(three("20", "21", "22", at=stamp(20)), at)
        assert rounds.values(decoded) == [20, 21, 22]
        assert rounds.times(decoded) == [20, 20, 20], "it does not get newer"
        assert not decoded.shape_changed
    decoded = rounds(three("20", "21", "22", at=stamp(20)), 120)
    assert decoded.shape_changed
    assert rounds.values(decoded) == [None, None, None]
    manager = {BMC: resource(BMC, "Manager", ManagerType="BMC", DateTime=stamp(130))}
    again = Rounds(service(three("20", "21", "22", at=stamp(20))) | manager, expand=True)
    assert REPORT not in again.paths
    assert SENSORS + EXPAND in again.paths


def test_one_made_on_request_never_stops() -> None:
    rounds = Rounds(service(three("20", "21", "22"), MetricReportDefinitionType="OnRequest"))
    for at in (0, 1000):
        decoded = rounds(three("20", "21", "22", at=None), at)
        assert not decoded.shape_changed
        assert rounds.values(decoded) == [20, 21, 22]


def test_a_thousand_wildcards_cost_nothing() -> None:
    names = [f"N{index}" for index in range(6)]
    wild = [{"Name": name, "Values": [str(number) for number in range(50)]} for name in names]
    endless = "/redfish/v1/" + "/".join(f"{{{name}}}" for name in names)
    inventory = read(service(three("20", "21", "22"), MetricProperties=[endless], Wildcards=wild))
    assert len(inventory.recipe.reports) == 1
