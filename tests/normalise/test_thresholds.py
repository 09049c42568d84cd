"""Thresholds. Sources: DSP8010 2025.4 Sensor_v1.xml, and the published examples of DSP2043 and DSP2046."""

from __future__ import annotations

import json
from typing import Any

import pytest

from collector.model import DefectKind, Limit, Quantity, Thresholds
from collector.normalise import thresholds
from collector.normalise.findings import Findings
from collector.normalise.units import Measure, of_code
from tests.conftest import standard

KELVIN_LIKE = Measure(Quantity.TEMPERATURE, "Cel")


def of_sensor(told: Any, measure: Measure = KELVIN_LIKE) -> tuple[Thresholds, list[tuple[DefectKind, str]]]:
    findings = Findings("n1")
    found = thresholds.of_sensor({"Thresholds": told}, measure, findings, "/redfish/v1/S")
    return found, [(defect.kind, defect.property) for defect in findings.take()]


def limits(**values: float) -> dict[str, Any]:
    return {name: {"Reading": value} for name, value in values.items()}


def test_the_published_example_of_a_sensor() -> None:
    path = standard("redfish", "mockups", "DSP2046-examples", "Sensor-v1-example.json")
    told = json.loads(path.read_bytes())["Thresholds"]
    found, defects = of_sensor(told)
    assert found.lower_caution is not None  # told as "Increasing": the name wins
    assert found.lower_caution.value == told["LowerCaution"]["Reading"]
    assert (DefectKind.CONTRADICTION, "/Thresholds/LowerCaution/Activation") in defects


def test_hysteresis_points_back_whatever_its_sign() -> None:
    for sign in (-1, 1):
        told = {"UpperCaution": {"Reading": 42, "HysteresisReading": 2 * sign}}
        found, defects = of_sensor(told)
        assert found.upper_caution == Limit(value=42, hysteresis=2)
        assert defects == []


def test_values_and_hysteresis_come_in_the_sensors_unit() -> None:
    measure = of_code(Quantity.TEMPERATURE, "[degF]")
    found, _ = of_sensor({"UpperCaution": {"Reading": 212, "HysteresisReading": -9}}, measure)
    assert found.upper_caution is not None
    assert found.upper_caution.value == pytest.approx(100)
    assert found.upper_caution.hysteresis == pytest.approx(5)


def test_a_disabled_threshold_is_none() -> None:
    assert of_sensor({"UpperCaution": {"Reading": 42, "Activation": "Disabled"}}) == (Thresholds(), [])


def test_equal_limits_on_one_side_are_in_order() -> None:
    found, defects = of_sensor(limits(UpperCaution=42, UpperCritical=42, UpperFatal=42))
    assert defects == []
    assert found.upper_fatal == Limit(value=42)


@pytest.mark.parametrize(
    "told",
    [
        limits(UpperCaution=5800, UpperCritical=60.1),  # public-pdu PDUPower
        limits(UpperCritical=4200, UpperFatal=42),  # public-telemetry fans
        limits(LowerCaution=42, UpperCaution=42),
        limits(LowerCritical=10, LowerCaution=5),
        limits(LowerFatal=50, UpperFatal=40),
    ],
)
def test_a_set_out_of_order_is_rejected_whole(told: dict[str, Any]) -> None:
    assert of_sensor(told) == (Thresholds(), [(DefectKind.BAD_THRESHOLDS, "/Thresholds")])


def test_the_users_set_is_judged_apart_from_the_makers() -> None:
    found, defects = of_sensor(limits(UpperCaution=42, UpperCautionUser=50, UpperCriticalUser=45))
    assert found == Thresholds(upper_caution=Limit(value=42))
    assert defects == [(DefectKind.BAD_THRESHOLDS, "/Thresholds")]
    found, defects = of_sensor(limits(UpperCaution=42, UpperCautionUser=40))  # below the maker's: the user may
    assert defects == []
    assert found.upper_caution_user == Limit(value=40)


def test_limits_of_a_negative_supply_are_sorted_by_magnitude() -> None:
    # redfish-notes.md section 7.22: a -48 V supply told as if its sign were not there
    told = limits(LowerCritical=-40, LowerCaution=-44, UpperCaution=-52, UpperCritical=-56)
    found, defects = of_sensor(told)
    assert defects == []
    assert found == Thresholds(
        lower_critical=Limit(value=-56),
        lower_caution=Limit(value=-52),
        upper_caution=Limit(value=-44),
        upper_critical=Limit(value=-40),
    )


def test_negative_limits_in_their_numeric_order_stay() -> None:
    found, defects = of_sensor(limits(LowerCaution=-20, UpperCaution=-5))
    assert (found.lower_caution, defects) == (Limit(value=-20), [])


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({"UpperCaution": {"Reading": "42"}}, (DefectKind.WRONG_TYPE, "/Thresholds/UpperCaution/Reading")),
        ({"UpperCaution": {"Reading": True}}, (DefectKind.WRONG_TYPE, "/Thresholds/UpperCaution/Reading")),
        (
            {"UpperCaution": {"Reading": 42, "DwellTime": "5 min"}},
            (DefectKind.BAD_TIME, "/Thresholds/UpperCaution/DwellTime"),
        ),
        (
            {"UpperCaution": {"Reading": 42, "HysteresisReading": []}},
            (DefectKind.WRONG_TYPE, "/Thresholds/UpperCaution/HysteresisReading"),
        ),
        (
            {"UpperCaution": {"Reading": 42, "Activation": "Often"}},
            (DefectKind.UNKNOWN_WORD, "/Thresholds/UpperCaution/Activation"),
        ),
        ([], (DefectKind.WRONG_TYPE, "/Thresholds")),
    ],
)
def test_what_is_told_wrongly_is_named(told: Any, expected: tuple[DefectKind, str]) -> None:
    assert expected in of_sensor(told)[1]


def test_null_and_unknown_thresholds_are_none() -> None:
    assert of_sensor(None) == (Thresholds(), [])
    assert of_sensor({"UpperCaution": {"Reading": None}, "UpperCosy": {"Reading": 1}}) == (Thresholds(), [])


def test_rows_of_the_older_resources() -> None:
    row = {"UpperThresholdNonCritical": 42, "UpperThresholdCritical": 45, "LowerThresholdUser": 5}
    findings = Findings("n1")
    found = thresholds.of_row(row, KELVIN_LIKE, findings, "/redfish/v1/T", "/Temperatures/0")
    assert found == Thresholds(
        upper_caution=Limit(value=42), upper_critical=Limit(value=45), lower_caution_user=Limit(value=5)
    )
    assert findings.take() == ()


def test_sensors_with_the_same_thresholds_share_them() -> None:
    assert of_sensor(limits(UpperCaution=42))[0] is of_sensor(limits(UpperCaution=42))[0]


def test_limits_that_their_unit_makes_infinite_are_defects() -> None:
    energy = of_code(Quantity.ENERGY, "kW.h")
    found, defects = of_sensor(limits(UpperCaution=1e308, UpperCritical=1), energy)
    assert (found.upper_caution, found.upper_critical) == (None, Limit(value=3.6e6))
    assert defects == [(DefectKind.OUT_OF_RANGE, "/Thresholds/UpperCaution/Reading")]
