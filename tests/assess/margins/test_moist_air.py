"""Moist air against ASHRAE's tables, ISO 2533 and two reference libraries."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from collector.assess.margins import moist_air

psychrolib = pytest.importorskip("psychrolib")
coolprop = pytest.importorskip("CoolProp.CoolProp")
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(("celsius", "pascal"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)])
def test_saturation_pressure_of_the_handbook(celsius: float, pascal: float) -> None:
    """ASHRAE Fundamentals 2017, ch. 1, table 3; 0.03 %."""
    assert moist_air.saturation_pressure(celsius) == pytest.approx(pascal, rel=3e-4)


@pytest.mark.parametrize(("metres", "pascal"), [(0, 101325), (500, 95461), (1000, 89875), (4000, 61640)])
def test_pressure_by_altitude_of_the_handbook(metres: float, pascal: float) -> None:
    """The same, table 1; 1 Pa."""
    assert moist_air.pressure_at(metres) == pytest.approx(pascal, abs=1.0)


@pytest.mark.parametrize(
    ("celsius", "humidity", "dew"),
    [(25, 0.50, 13.87), (18, 0.60, 10.13), (24, 0.50, 12.95), (27, 0.60, 18.58), (20, 0.20, -3.21)],
)
def test_dew_points(celsius: float, humidity: float, dew: float) -> None:
    """Check values on which two libraries agree within 0.01 K, and one of them here."""
    assert moist_air.dew_point(celsius, humidity) == pytest.approx(dew, abs=0.02)
    reference = psychrolib.GetTDewPointFromRelHum(celsius, humidity)
    assert moist_air.dew_point(celsius, humidity) == pytest.approx(reference, abs=0.01)


def test_absolute_humidity() -> None:
    """25 Cel at 50 %: 11.52 g/m3 (two libraries)."""
    assert moist_air.absolute_humidity(25.0, 0.5) == pytest.approx(11.52, rel=2e-3)


@pytest.mark.parametrize("celsius", [-10.0, 5.0, 22.0, 35.0, 45.0])
@pytest.mark.parametrize("humidity", [0.05, 0.5, 0.9])
@pytest.mark.parametrize("altitude", [0.0, 1500.0, 3050.0])
def test_density_as_two_libraries_have_it(celsius: float, humidity: float, altitude: float) -> None:
    pressure = moist_air.pressure_at(altitude)
    ours = moist_air.density(celsius, pressure, moist_air.vapour_pressure(celsius, humidity))
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pressure)
    assert ours == pytest.approx(psychrolib.GetMoistAirDensity(celsius, ratio, pressure), rel=1e-4)
    real = 1.0 / coolprop.HAPropsSI("Vha", "T", celsius + 273.15, "P", pressure, "R", humidity)
    assert ours == pytest.approx(real, rel=2e-3)  # ours is an ideal gas


@pytest.mark.parametrize("humidity", [0.0, 0.4, 0.9])
def test_heat_capacity_as_a_library_has_it(humidity: float) -> None:
    ours = moist_air.heat_capacity(moist_air.vapour_pressure(30.0, humidity))
    real = coolprop.HAPropsSI("Cha", "T", 303.15, "P", 101325.0, "R", humidity)
    assert ours == pytest.approx(real, rel=4e-3)


@pytest.mark.parametrize(
    ("metres", "celsius", "density"), [(0, 15.0, 1.2250), (2000, 2.0, 1.0066), (3000, -4.5, 0.9093)]
)
def test_standard_atmosphere(metres: float, celsius: float, density: float) -> None:
    """ISO 2533 at its own temperatures: 6.5 K less a kilometre."""
    assert moist_air.density(celsius, moist_air.pressure_at(metres)) == pytest.approx(density, rel=1e-3)


def test_what_has_no_answer_is_refused() -> None:
    calls: tuple[Callable[[], float], ...] = (
        lambda: moist_air.vapour_pressure(20.0, 1.2),
        lambda: moist_air.vapour_pressure(20.0, math.nan),
        lambda: moist_air.saturation_pressure(500.0),
        lambda: moist_air.pressure_at(20_000.0),
        lambda: moist_air.dew_point(20.0, 0.0),
    )
    for call in calls:
        with pytest.raises(ValueError):
            call()
