"""The air against published figures and CoolProp; bodies and ducts against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI

from simulators import air, thermal
from simulators.bodies import BODIES, Body
from simulators.flow import Network

CFM = 2118.88
"""1 m3/s in cubic feet a minute: check-values.md, section 2."""
BODY = pytest.mark.parametrize("body", BODIES.values(), ids=list(BODIES))


@pytest.mark.parametrize(("altitude", "pascal"), [(0, 101_325), (500, 95_461), (1000, 89_875), (4000, 61_640)])
def test_pressure_by_altitude(altitude: float, pascal: float) -> None:
    """ASHRAE Handbook Fundamentals 2017, chapter 1, table 1, as encoded in PsychroLib's tests: +-1 Pa."""
    assert air.pressure(altitude) == pytest.approx(pascal, abs=1.0)


@pytest.mark.parametrize(("altitude", "density"), [(0, 1.2250), (1000, 1.1117), (2000, 1.0066), (3000, 0.9093)])
def test_standard_atmosphere(altitude: float, density: float) -> None:
    """ISO 2533; its temperature falls by 6.5 K a kilometre from 15 Cel."""
    told = air.density(15.0 - 0.0065 * altitude, air.pressure(altitude), 0.0)
    assert told == pytest.approx(density, rel=5e-4)


@pytest.mark.parametrize(("temperature", "pascal"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12_351.3)])
def test_saturation_pressure(temperature: float, pascal: float) -> None:
    """ASHRAE Handbook Fundamentals 2017, chapter 1, table 3; Magnus' form is good to 0.5 %."""
    assert air.saturation_pressure(temperature) == pytest.approx(pascal, rel=5e-3)


@pytest.mark.parametrize(
    ("temperature", "humidity", "dew_point"), [(25, 50, 13.87), (18, 60, 10.13), (24, 50, 12.95), (27, 60, 18.58)]
)
def test_humidity_from_dew_point(temperature: float, humidity: float, dew_point: float) -> None:
    """check-values.md, section 2: dew points on which two reference libraries agree within 0.01 K."""
    assert air.relative_humidity(float(temperature), dew_point) == pytest.approx(humidity, abs=0.15)


@pytest.mark.parametrize("altitude", [0.0, 240.0, 1500.0, 3000.0])
@pytest.mark.parametrize("temperature", [10.0, 23.0, 35.0, 45.0])
@pytest.mark.parametrize("humidity", [0.1, 0.5, 0.8])
def test_moist_air_against_coolprop(altitude: float, temperature: float, humidity: float) -> None:
    pressure = air.pressure(altitude)
    vapour = humidity * air.saturation_pressure(temperature)
    state = ("T", temperature + air.KELVIN, "P", pressure, "R", humidity)
    volume = HAPropsSI("Vha", *state)  # of a kilogram of the mixture
    assert air.density(temperature, pressure, vapour) == pytest.approx(1.0 / volume, rel=2e-3)
    assert air.heat_capacity(pressure, vapour) == pytest.approx(HAPropsSI("cp_ha", *state), rel=5e-3)


def test_published_worked_example_of_sensible_heat() -> None:
    """check-values.md, section 2: 800 W, 3 K, 35 Cel, 98 066 Pa -> 0.265 kg/s, 1.109 kg/m3, 0.2393 m3/s."""
    mass_flow = 800.0 / (air.heat_capacity(98_066.0, 0.0) * 3.0)
    density = air.density(35.0, 98_066.0, 0.0)
    assert mass_flow == pytest.approx(0.265, rel=2e-3)
    assert density == pytest.approx(1.109, rel=1e-3)
    assert mass_flow / density == pytest.approx(0.2393, rel=2e-3)


@pytest.mark.parametrize(("altitude", "cfm"), [(1000, 98.7), (2000, 111.6), (3000, 126.5)])
def test_air_needed_at_altitude(altitude: float, cfm: float) -> None:
    """check-values.md, section 2: 500 W and 10 K at standard pressure and 20 Cel, 0.5 %."""
    pressure = air.pressure(altitude)
    flow = 500.0 / (air.density(20.0, pressure, 0.0) * air.heat_capacity(pressure, 0.0) * 10.0)
    assert flow * CFM == pytest.approx(cfm, rel=5e-3)


def test_exchange_is_the_air_warmed_along_a_body() -> None:
    """The exponential law against the air followed over the surface in small pieces."""
    conductance, carried, body, pieces = 5.0, 4.0, 70.0, 200_000
    temperature = 20.0
    for _ in range(pieces):
        temperature += conductance / pieces * (body - temperature) / carried
    given = thermal.exchange(np.array(conductance), np.array(carried))
    assert float(given) * (body - 20.0) == pytest.approx(carried * (temperature - 20.0), rel=1e-4)


def test_a_body_warms_with_its_time_constant_and_loses_no_joule() -> None:
    start, watts, air_in, given, capacity = 30.0, 100.0, 25.0, 4.0, 400.0
    args = (np.array(watts), np.array(air_in), np.array(given), np.array(capacity))
    after, heat = thermal.warm(np.array(start), *args, seconds=capacity / given)
    rest = air_in + watts / given
    assert float(after) == pytest.approx(rest + (start - rest) / math.e)
    assert float(heat) * 100.0 + capacity * (float(after) - start) == pytest.approx(watts * 100.0)
    # One long step is as good as many short ones.
    temperature, carried = np.array(start), 0.0
    for _ in range(50):
        temperature, part = thermal.warm(temperature, *args, seconds=2.0)
        carried += 2.0 * float(part)
    assert float(temperature) == pytest.approx(float(after))
    assert carried == pytest.approx(100.0 * float(heat))


@BODY
def test_the_network_meets_the_fan_curve(body: Body) -> None:
    """All fans and blades alike: the flow at which fan pressure and blade resistance balance has a closed form."""
    fans, blades = body.design.fans, len(body.design.slots)
    division = Network(body).divide(np.ones((1, fans)), np.ones((1, blades)))
    total = math.sqrt(body.fan_shutoff / (body.fan_resistance / fans**2 + body.blade_resistance / blades**2))
    # The duo's five fans stand unevenly behind its two blades, which costs next to nothing.
    assert float(division.cells.sum()) == pytest.approx(total, rel=1e-3)


@BODY
@pytest.mark.parametrize("speed", [0.9, 0.5])
@pytest.mark.parametrize("seized", [False, True])
def test_fan_laws_of_flow(body: Body, speed: float, seized: bool) -> None:
    """Flow grows as the speed, also with a fan that stands: check-values.md, section 2 (90 % speed, 90 % flow)."""
    fans, blades = body.design.fans, len(body.design.slots)
    turns = np.ones((1, fans))
    if seized:
        turns[0, 0] = 0.0
    full = Network(body).divide(turns, np.ones((1, blades)))
    slow = Network(body).divide(turns * speed, np.ones((1, blades)))
    assert slow.blades == pytest.approx(speed * full.blades, rel=3e-3)
    pressure = body.blade_resistance * full.blades[0, 0] ** 2
    assert body.blade_resistance * slow.blades[0, 0] ** 2 == pytest.approx(speed**2 * pressure, rel=6e-3)


@BODY
def test_air_is_neither_made_nor_lost_in_the_plenum(body: Body) -> None:
    rng = np.random.default_rng(4)
    turns = rng.choice([0.0, 0.4, 1.0], size=(40, body.design.fans), p=[0.2, 0.2, 0.6])
    turns[:, 0] = 1.0
    opened = rng.uniform(0.1, 1.0, size=(40, len(body.design.slots)))
    division = Network(body).divide(turns, opened)
    intake = division.cells.sum(axis=1)
    assert division.blades.sum(axis=1) == pytest.approx(intake, rel=1e-12)
    assert (division.out - division.back).sum(axis=1) == pytest.approx(intake, rel=1e-9)
    assert (division.blades > 0).all()
    # Air of one temperature stays of that temperature, whatever way it takes.
    same = np.einsum("scd,sd->sc", division.mixing, 31.0 * (division.cells + division.back))
    assert same == pytest.approx(np.full_like(same, 31.0), rel=1e-9)


@BODY
def test_a_standing_fan_lets_air_back_and_starves_the_nearest_blades_most(body: Body) -> None:
    fans, blades = body.design.fans, len(body.design.slots)
    turns = np.ones((1, fans))
    whole = Network(body).divide(turns, np.ones((1, blades)))
    turns[0, 0] = 0.0
    one_less = Network(body).divide(turns, np.ones((1, blades)))
    assert one_less.back[0, 0] > 0
    assert (one_less.out[0, 1:] > whole.out[0, 1:]).all()
    left = one_less.blades / whole.blades
    assert (left < 1.0).all()
    # Slots 1 and 3 stand on the side of fan 1.
    assert left[0, 0] < left[0, 1]
