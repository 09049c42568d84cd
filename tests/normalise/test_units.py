"""Units: factors against published ones, and which of two contradicting words is believed."""

from __future__ import annotations

import pytest

from collector.model import DefectKind, Quantity
from collector.normalise.units import Measure, commensurable, measure_of, of_code, refined

HINT = (Quantity.LOAD_RATIO, "%")


@pytest.mark.parametrize(
    ("reading_type", "units", "told", "expected", "unit"),
    [
        # UCUM (ucum.org), as recomputed with ucumvert in shared/standards/check-values.md section 8
        ("EnergykWh", "kW.h", 1.0, 3.6e6, "J"),
        ("ChargeAh", "A.h", 1.0, 3600.0, "C"),
        ("AirFlow", "[ft_i]3/min", 1.0, 4.719474e-4, "m3/s"),
        ("LiquidFlowLPM", "L/min", 60.0, 60.0, "L/min"),
        ("LiquidFlow", "L/s", 1.0, 60.0, "L/min"),
        ("Barometric", "mm[Hg]", 1.0, 133.322, "Pa"),
        ("Rotational", "{rev}/min", 9000.0, 9000.0, "{rev}/min"),
        ("Rotational", "RPM", 9000.0, 9000.0, "{rev}/min"),  # deprecated, still allowed: DSP8010 Sensor_v1.xml
        ("Percent", "%", 45.0, 45.0, "%"),
        ("AbsoluteHumidity", "g/m3", 11.52, 11.52, "g/m3"),
        ("PressurekPa", "kPa", 101.325, 101325.0, "Pa"),
        ("LiquidLevel", "cm", 12.0, 0.12, "m"),
        ("Heat", "kW", 25.48, 25480.0, "W"),
        ("AirFlowCMM", "m3/min", 6.0, 0.1, "m3/s"),
        ("EnergyWh", "W.h", 2.0, 7200.0, "J"),
    ],
)
def test_readings_come_out_in_the_canonical_unit(
    reading_type: str, units: str, told: float, expected: float, unit: str
) -> None:
    measure, troubles = measure_of(reading_type, units)
    assert measure.canonical(told) == pytest.approx(expected, rel=1e-6)
    assert measure.unit == unit
    assert troubles == ()


def test_cubic_feet_a_minute_and_cubic_metres_a_second() -> None:
    # shared/standards/check-values.md section 2: 1 m3/s = 2118.88 CFM
    assert of_code(Quantity.AIR_FLOW, "[ft_i]3/min").canonical(2118.88) == pytest.approx(1.0, rel=1e-5)


def test_zeros_of_temperature_scales() -> None:
    assert of_code(Quantity.TEMPERATURE, "K").canonical(273.15) == pytest.approx(0.0)
    assert of_code(Quantity.TEMPERATURE, "[degF]").canonical(212.0) == pytest.approx(100.0)
    assert of_code(Quantity.TEMPERATURE, "[degF]").distance(9.0) == pytest.approx(5.0)


def test_a_difference_of_temperatures_has_no_zero() -> None:
    measure, _ = measure_of("Temperature", "K", delta=True)
    assert measure.canonical(10.0) == 10.0


@pytest.mark.parametrize("units", ["C", "degrees", "W"])
def test_the_type_is_believed_where_the_unit_does_not_fit_it(units: str) -> None:
    measure, troubles = measure_of("Temperature", units)
    assert measure == Measure(Quantity.TEMPERATURE, "Cel")
    assert [trouble.kind for trouble in troubles] == [DefectKind.WRONG_UNIT]


def test_another_unit_of_the_same_quantity_is_converted_and_flagged() -> None:
    measure, troubles = measure_of("Pressure", "kPa")  # the standard demands Pa
    assert measure.canonical(1.0) == 1000.0
    assert [trouble.kind for trouble in troubles] == [DefectKind.WRONG_UNIT]


def test_without_a_type_the_unit_decides() -> None:
    assert measure_of(None, "Cel") == (Measure(Quantity.TEMPERATURE, "Cel"), ())
    assert measure_of(None, "kW")[0].canonical(1.5) == 1500.0


def test_an_unknown_type_is_named_and_the_unit_decides() -> None:
    measure, troubles = measure_of("Warmth", "Cel")
    assert measure.quantity is Quantity.TEMPERATURE
    assert [trouble.kind for trouble in troubles] == [DefectKind.UNKNOWN_WORD]


def test_an_unknown_unit_is_kept_named_and_flagged() -> None:
    measure, troubles = measure_of(None, "furlong")
    assert measure == Measure(Quantity.OTHER, "furlong")
    assert [trouble.kind for trouble in troubles] == [DefectKind.UNKNOWN_UNIT]


def test_known_units_of_no_quantity_of_ours_are_kept_without_complaint() -> None:
    assert measure_of("LinearVelocity", "m/s") == (Measure(Quantity.OTHER, "m/s"), ())
    assert measure_of(None, "m") == (Measure(Quantity.OTHER, "m"), ())  # a level, a height or a position?


def test_the_property_that_lists_a_sensor_helps_where_it_says_nothing() -> None:
    assert measure_of(None, None, HINT) == (Measure(Quantity.LOAD_RATIO, "%"), ())
    measure, troubles = measure_of(None, "per cent", HINT)
    assert measure.quantity is Quantity.LOAD_RATIO
    assert [trouble.kind for trouble in troubles] == [DefectKind.WRONG_UNIT]


def test_nothing_told_is_nothing_known() -> None:
    assert measure_of(None, None) == (Measure(Quantity.OTHER, ""), ())


@pytest.mark.parametrize("junk", [5, True, [], {}, "\x1b[2J"])
def test_junk_is_a_defect_and_no_exception(junk: object) -> None:
    assert measure_of(junk, junk)[0].quantity is Quantity.OTHER
    assert measure_of(junk, junk)[1]


def test_a_bare_percentage_takes_the_name_that_another_place_gives_it() -> None:
    percent = measure_of("Percent", "%")[0]
    assert refined(percent, Quantity.SPEED_RATIO).quantity is Quantity.SPEED_RATIO
    assert refined(percent, Quantity.TEMPERATURE) is percent
    assert refined(measure_of("Humidity", "%")[0], Quantity.SPEED_RATIO).quantity is Quantity.HUMIDITY


def test_what_can_be_compared() -> None:
    assert commensurable("L/min", "m3/s")
    assert not commensurable("W", "V.A")
    assert not commensurable("Cel", "C")  # degrees and coulombs
