"""States, healths and indicators as told. Source: DSP8010 2025.4 Resource_v1.xml."""

from __future__ import annotations

from typing import Any

import pytest

from collector.model import DefectKind, Health, LedState, PowerState, State, Status
from collector.normalise import statuses
from collector.normalise.findings import Findings


def read(body: dict[str, Any]) -> tuple[Status | None, list[tuple[DefectKind, str]]]:
    findings = Findings("n1")
    found = statuses.read(body, findings, "/redfish/v1/Chassis/1", "/Fans/0")
    return found, [(defect.kind, defect.property) for defect in findings.take()]


def test_all_that_can_be_told() -> None:
    body = {
        "Status": {"State": "Enabled", "Health": "OK", "HealthRollup": "Critical"},
        "PowerState": "PoweringOff",
        "LocationIndicatorActive": True,
        "IndicatorLED": "Blinking",
        "FailurePredicted": False,
    }
    expected = Status(
        state=State.ENABLED,
        health=Health.OK,
        health_rollup=Health.CRITICAL,
        power=PowerState.POWERING_OFF,
        locate=True,
        led=LedState.BLINKING,
        failure_predicted=False,
    )
    assert read(body) == (expected, [])


def test_nothing_told_is_no_status() -> None:
    assert read({"Name": "Fan"}) == (None, [])


@pytest.mark.parametrize("body", [{"Status": None}, {"Status": {}}, {"PowerState": None}, {"IndicatorLED": "Unknown"}])
def test_null_is_unknown_and_no_defect(body: dict[str, Any]) -> None:
    assert read(body) == (Status(), [])


@pytest.mark.parametrize(
    ("body", "kind", "at"),
    [
        ({"Status": {"State": "Offline"}}, DefectKind.UNKNOWN_WORD, "/Fans/0/Status/State"),
        ({"Status": {"Health": "ok"}}, DefectKind.UNKNOWN_WORD, "/Fans/0/Status/Health"),
        ({"Status": {"HealthRollup": 3}}, DefectKind.WRONG_TYPE, "/Fans/0/Status/HealthRollup"),
        ({"Status": "OK"}, DefectKind.WRONG_TYPE, "/Fans/0/Status"),
        ({"PowerState": "Sleeping"}, DefectKind.UNKNOWN_WORD, "/Fans/0/PowerState"),
        ({"IndicatorLED": "Amber"}, DefectKind.UNKNOWN_WORD, "/Fans/0/IndicatorLED"),
        ({"LocationIndicatorActive": "true"}, DefectKind.WRONG_TYPE, "/Fans/0/LocationIndicatorActive"),
        ({"FailurePredicted": 1}, DefectKind.WRONG_TYPE, "/Fans/0/FailurePredicted"),
    ],
)
def test_other_words_are_unknown_and_named(body: dict[str, Any], kind: DefectKind, at: str) -> None:
    assert read(body) == (Status(), [(kind, at)])


def test_reasons_are_the_conditions_texts_worst_first() -> None:
    conditions = [
        {"Severity": "Warning", "Message": "warm"},
        {"Severity": "Critical", "Message": "hot"},
        {"Severity": "Critical", "MessageId": "Environmental.1.2.PumpFailed"},
        {"Severity": "Warning", "Message": "warm"},
        {"Severity": "Peculiar", "Message": "odd"},
        {"Message": 5},
        None,
        {"Severity": "Critical", "Message": "red\x1b[31m\n" + "x" * 900},
    ]
    status, _ = read({"Status": {"Conditions": conditions}})
    assert status is not None
    assert status.reasons[:2] == ("hot", "Environmental.1.2.PumpFailed")
    assert status.reasons[3:] == ("warm", "odd")
    assert len(status.reasons[2]) == 300
    assert status.reasons[2].isprintable()


def test_reasons_are_bounded() -> None:
    status, _ = read({"Status": {"Conditions": [{"Message": f"m{number}"} for number in range(5000)]}})
    assert status is not None
    assert len(status.reasons) == statuses.MAX_REASONS


@pytest.mark.parametrize(
    ("state", "health"),
    [("Critical", Health.CRITICAL), ("Warning", Health.WARNING), ("OK", Health.OK), ("Absent", Health.OK)],
)
def test_a_leak_is_bad_health_whatever_else_is_said(state: str, health: Health) -> None:
    found, defects = read({"Status": {"State": "Enabled", "Health": "OK"}, "DetectorState": state})
    assert found is not None
    assert (found.health, defects) == (health, [])
    assert found.reasons == ((f"detector state is {state}",) if health > Health.OK else ())
