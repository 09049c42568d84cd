"""Published figures of air and power that stand in no other test here: check-values sections 2 and 3, line by line."""

from __future__ import annotations

import pytest

from collector.assess.margins import ashrae, energy, fan_laws, heat, moist_air, power

psychrolib = pytest.importorskip("psychrolib")
coolprop = pytest.importorskip("CoolProp.CoolProp")
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize(
    ("name", "low", "high"), [("A1", 15.0, 32.0), ("A2", 10.0, 35.0), ("A3", 5.0, 40.0), ("A4", 5.0, 45.0)]
)
def test_allowable_dry_bulb(name: str, low: float, high: float) -> None:
    """ASHRAE TC 9.9, 5th edition 2021: allowable dry bulb at sea level; recommended 18 to 27 Cel in all classes."""
    one = ashrae.CLASSES[name]
    assert ashrae.upper_limit(one, 0.0) == high
    assert ashrae.breaches(one, 0.0, high, 0.3 if high < 40.0 else None) == []
    assert ashrae.breaches(one, 0.0, low, 0.5) == []
    assert ashrae.breaches(one, 0.0, high + 0.1) != []
    assert ashrae.breaches(one, 0.0, low - 0.1) != []
    assert ashrae.RECOMMENDED == (18.0, 27.0)
    assert ashrae.breaches(one, 0.0, 18.0, 0.5) == ashrae.breaches(one, 0.0, 27.0, 0.3) == []


@pytest.mark.parametrize(
    ("name", "dew", "humidity"), [("A1", 17.0, 0.80), ("A2", 21.0, 0.80), ("A3", 24.0, 0.85), ("A4", 24.0, 0.90)]
)
def test_allowable_humidity(name: str, dew: float, humidity: float) -> None:
    """The same, from memory in check-values: highest dew point and humidity by class; lowest -12 Cel and 8 %."""
    one = ashrae.CLASSES[name]
    cool = 16.0  # where the ratio is reached before the dew point
    assert ashrae.breaches(one, 0.0, cool, humidity - 0.005) == []
    assert len(ashrae.breaches(one, 0.0, cool, humidity + 0.005)) == 1
    warm = 31.0
    ratio = moist_air.saturation_pressure(dew) / moist_air.saturation_pressure(warm)
    assert ashrae.breaches(one, 0.0, warm, 0.995 * ratio) == []
    assert len(ashrae.breaches(one, 0.0, warm, 1.005 * ratio)) == 1
    assert ashrae.breaches(one, 0.0, 25.0, 0.085) == []
    assert ashrae.breaches(one, 0.0, 25.0, 0.075) != []
    driest = moist_air.saturation_pressure(-12.0) / moist_air.saturation_pressure(15.0)
    assert driest > 0.08
    assert ashrae.breaches(one, 0.0, 15.0, 1.01 * driest) == []
    assert ashrae.breaches(one, 0.0, 15.0, 0.99 * driest) != []


@pytest.mark.parametrize(("name", "metres"), [("A1", 300.0), ("A2", 300.0), ("A3", 175.0), ("A4", 125.0)])
def test_derating_starts_at_900_metres_and_ends_at_3050(name: str, metres: float) -> None:
    """ASHRAE TC 9.9, 2021: a kelvin for 300, 300, 175, 125 m above 900 m; ceiling 3050 m."""
    one = ashrae.CLASSES[name]
    top = ashrae.upper_limit(one, 0.0)
    assert top is not None
    assert ashrae.upper_limit(one, 900.0) == top
    assert ashrae.upper_limit(one, 900.0 + metres) == pytest.approx(top - 1.0)
    assert ashrae.upper_limit(one, 3050.0) is not None
    assert ashrae.upper_limit(one, 3050.1) is None


@pytest.mark.parametrize(
    ("limits", "points", "broken"),
    [
        (ashrae.Rates.OTHER, [(0, 20.0), (15, 24.9), (30, 29.8), (45, 34.7), (59, 39.6)], []),
        (ashrae.Rates.OTHER, [(0, 20.0), (15, 25.0), (30, 30.0), (45, 35.0), (60, 40.1)], [900.0, 3600.0]),
        (ashrae.Rates.TAPE, [(0, 20.0), (5, 21.0)], []),
        (ashrae.Rates.TAPE, [(0, 20.0), (5, 21.1)], [300.0]),
        (ashrae.Rates.TAPE, [(at, 20.0 + 0.09 * at) for at in range(0, 60, 5)], []),
        (ashrae.Rates.TAPE, [(at, 20.0 + 0.09 * at) for at in range(0, 61, 5)], [3600.0]),
    ],
)
def test_rates_of_change(
    limits: tuple[tuple[float, float], ...], points: list[tuple[int, float]], broken: list[float]
) -> None:
    """ASHRAE TC 9.9 (from memory in check-values): 5 K in 15 min, 20 in an hour; with tape 1 K in 5 min, 5 an hour."""
    rates = ashrae.Rates(limits)
    told = [rates.add(60.0 * minute, celsius) for minute, celsius in points]
    assert [seconds for seconds, _, _ in told[-1]] == broken


def test_example_1_of_the_handbook() -> None:
    """ASHRAE Fundamentals 2017 ch. 1, as PsychroLib's tests have it: 40 Cel, wet bulb 20 Cel, 101325 Pa: 14 % (1),
    W 0.0065 (1e-4), dew point 7 Cel (0.5), v 0.896 m3 a kilogram of dry air (1 %). The wet bulb is PsychroLib's to
    work out; neither it nor enthalpy is computed here."""
    humidity = psychrolib.GetRelHumFromTWetBulb(40.0, 20.0, 101_325.0)
    assert humidity == pytest.approx(0.14, abs=0.01)
    vapour = moist_air.vapour_pressure(40.0, humidity)
    ratio = moist_air.humidity_ratio(vapour)
    assert ratio == pytest.approx(0.0065, abs=1e-4)
    assert moist_air.dew_point(40.0, humidity) == pytest.approx(7.0, abs=0.5)
    assert (1.0 + ratio) / moist_air.density(40.0, 101_325.0, vapour) == pytest.approx(0.896, rel=0.01)


def test_dry_air() -> None:
    """ASHRAE Fundamentals 2017: 0.8443 m3/kg at 25 Cel; CoolProp at 20 Cel: cp 1006.1 J/(kg K), 1.2046 kg/m3."""
    # the handbook's real gas is a little denser than an ideal one, PsychroLib's and ours
    assert 1.0 / moist_air.density(25.0) == pytest.approx(0.8443, rel=5e-4)
    assert 1.0 / moist_air.density(25.0) == pytest.approx(psychrolib.GetDryAirVolume(25.0, 101_325.0), rel=1e-6)
    assert moist_air.heat_capacity() == pytest.approx(1006.1, rel=1e-3)
    assert moist_air.density(20.0) == pytest.approx(1.2046, rel=5e-4)
    assert coolprop.PropsSI("C", "T", 293.15, "P", 101_325.0, "Air") == pytest.approx(1006.1, abs=0.1)
    assert coolprop.PropsSI("D", "T", 293.15, "P", 101_325.0, "Air") == pytest.approx(1.2046, abs=1e-4)


@pytest.mark.parametrize(("metres", "density"), [(0, 1.2250), (1000, 1.1117), (2000, 1.0066), (3000, 0.9093)])
def test_standard_atmosphere(metres: float, density: float) -> None:
    """ISO 2533, geometric height, at its own temperatures (15 Cel, 6.5 K less a kilometre). Two libraries agree within
    1e-4; ours is the handbook's formula for pressure with a lapse by geometric height: 5e-4."""
    ours = moist_air.density(15.0 - 0.0065 * metres, moist_air.pressure_at(metres))
    assert ours == pytest.approx(density, rel=5e-4)


def test_cubic_feet_a_minute() -> None:
    """1 m3/s = 2118.88 CFM; 500 W and 10 K at sea level: 0.0413 m3/s."""
    assert pytest.approx(2118.88, abs=0.005) == 1.0 / heat.CFM
    flow = heat.air_flow(500.0, 10.0, moist_air.density(20.0), 1005.0)
    assert flow == pytest.approx(0.0413, rel=5e-3)


def test_pressure_and_power_of_a_fan_go_with_density() -> None:
    """Fan laws: flow as n, pressure as n^2, power as n^3, the latter two as density; half the speed, 12.5 % power."""
    thin = 0.9093 / 1.2250
    assert fan_laws.pressure_ratio(0.9, thin) == pytest.approx(0.81 * thin)
    assert fan_laws.power_ratio(0.9, thin) == pytest.approx(0.729 * thin)
    assert fan_laws.power_ratio(0.5) == pytest.approx(0.125)
    assert fan_laws.flow_ratio(0.9) == 0.9
    assert fan_laws.speed_ratio_for(0.9) == 0.9


def test_power_factor_at_resonance_and_away_from_it() -> None:
    """OpenStax College Physics ex. 23.14 (from memory): 120 V, 60 Hz: 0.226 A, factor 0.0753, 85.7 degrees, 2.04 W;
    at resonance 3.00 A, 360 W, factor 1. 0.5 %."""
    apparent = 120.0 * 0.226
    factor = power.power_factor(2.04, apparent)
    assert factor == pytest.approx(0.0753, rel=5e-3)
    assert power.reactive(2.04, apparent) == pytest.approx(apparent * 0.99718, rel=5e-3)  # sin 85.7 degrees
    assert power.power_factor(360.0, 120.0 * 3.0) == 1.0
    assert power.reactive(360.0, 360.0) == 0.0


def test_energy_of_the_trapezium_in_kilowatt_hours() -> None:
    """6000 J = 0.0016667 kWh; 1 kWh = 3.6e6 J."""
    joules = energy.energy_of([(0, 100), (10, 200), (25, 200), (40, 0)])
    assert joules / 3.6e6 == pytest.approx(0.0016667, abs=5e-8)
