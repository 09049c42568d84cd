"""The water of the cold plates against CoolProp and a published worked figure."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from simulators import coolant
from simulators.coolant import Loop, Plates

KELVIN, PASCAL = 273.15, 250e3


@pytest.mark.parametrize("temperature", [5.0, 15.0, 25.0, 32.0, 40.0, 55.0, 70.0, 90.0])
def test_water_against_coolprop(temperature: float) -> None:
    state = ("T", temperature + KELVIN, "P", PASCAL, "Water")
    assert coolant.density(temperature) == pytest.approx(PropsSI("D", *state), rel=2e-4)
    assert coolant.heat_capacity(temperature) == pytest.approx(PropsSI("C", *state), rel=2e-4)


def test_a_litre_a_minute_and_a_kelvin() -> None:
    """check-values.md, liquid loop: water at 30 Cel, 1 L/min and 1 K = 69.4 W."""
    watts = coolant.density(30.0) * coolant.LITRE_A_MINUTE * coolant.heat_capacity(30.0)
    assert watts == pytest.approx(69.4, abs=0.05)


def test_the_return_is_warmer_by_power_over_mass_flow_and_heat_capacity() -> None:
    """P = m cp dT over a wide rise, against the enthalpies of CoolProp's water."""
    plates = Plates(Loop(flow=3.0, drop=28.0), np.arange(4, dtype=np.uint64), 4)
    heat = np.asarray([0.0, 300.0, 1100.0, 4000.0])
    for _ in range(20):  # the heat capacity is that of the mean of supply and the return of the step before
        plates.warm(heat, plates.carried(), 1.0)
    assert plates.flow == pytest.approx(3.0, rel=0.03)
    for watts, supply, leaving, flow in zip(heat, plates.supply, plates.leaving, plates.flow, strict=True):
        cold, warm = ("T", supply + KELVIN, "P", PASCAL, "Water"), ("T", leaving + KELVIN, "P", PASCAL, "Water")
        mass = PropsSI("D", *cold) * flow / 60_000.0
        assert mass * (PropsSI("H", *warm) - PropsSI("H", *cold)) == pytest.approx(watts, rel=1e-3, abs=1e-6)
    assert plates.energy == pytest.approx(20.0 * heat)
