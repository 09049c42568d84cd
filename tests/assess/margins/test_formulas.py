"""Heat in air, fan laws, power, energy, percentiles and ASHRAE limits against worked figures."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from collector.assess.margins import ashrae, energy, fan_laws, heat, moist_air, power
from collector.assess.margins.sketch import Sketch

CP = 1005.0


def cfm(watts: float, kelvin: float, density: float = 1.2) -> float:
    flow = heat.air_flow(watts, kelvin, density, CP)
    assert flow is not None
    return flow / heat.CFM


def test_flow_for_heat_in_round_figures() -> None:
    """CFM = 1.757 W / dT (K) = 3.162 W / dT (F) at 1.2 kg/m3; published rounding 1.76 and 3160 kW / F."""
    assert cfm(1.0, 1.0) == pytest.approx(1.757, rel=1e-3)
    assert cfm(1.0, 5.0 / 9.0) == pytest.approx(3.162, rel=1e-3)


def test_the_trap_of_dividing_watts_by_the_rule_for_british_units() -> None:
    """A public page has 500 W at 15 K need 500 / (1.08 * 15) = 30.9 CFM; right is 58.6."""
    assert cfm(500.0, 15.0) == pytest.approx(58.6, rel=2e-3)
    assert cfm(500.0, 15.0) != pytest.approx(500.0 / (1.08 * 15.0), rel=0.2)


def test_a_worked_example() -> None:
    """Fan-engineering note: 800 W, 3 K, 35 Cel, 98066 Pa: 0.265 kg/s; 1.109 kg/m3, 0.2393 m3/s, 507 CFM follow."""
    density = moist_air.density(35.0, 98_066.0)
    assert heat.mass_flow(800.0, 3.0, CP) == pytest.approx(0.265, abs=5e-4)
    assert density == pytest.approx(1.109, abs=1e-3)
    assert heat.air_flow(800.0, 3.0, density, CP) == pytest.approx(0.2393, rel=2e-3)
    assert cfm(800.0, 3.0, density) == pytest.approx(507.0, rel=2e-3)


@pytest.mark.parametrize(("altitude", "wanted"), [(0, 87.5), (1000, 98.7), (2000, 111.6), (3000, 126.5)])
def test_thin_air_needs_more_of_it(altitude: float, wanted: float) -> None:
    """500 W, 10 K at 20 Cel and standard pressure: 87.5 CFM at sea level; 0.5 %."""
    assert cfm(500.0, 10.0, moist_air.density(20.0, moist_air.pressure_at(altitude))) == pytest.approx(wanted, rel=5e-3)


@pytest.mark.parametrize(("watts", "kelvin"), [(-5.0, 3.0), (0.0, 3.0), (100.0, 0.0), (100.0, -1.0), (math.nan, 3.0)])
def test_no_flow_follows_from_impossible_readings(watts: float, kelvin: float) -> None:
    assert heat.mass_flow(watts, kelvin, CP) is None


def test_water() -> None:
    """Water at 30 Cel, 1 L/min and 1 K: 69.4 W (CoolProp)."""
    assert heat.coolant_power(1.0, 1.0) == pytest.approx(69.4, rel=1e-3)


def test_recirculated_air() -> None:
    assert heat.recirculated(25.0, 22.0, 37.0) == pytest.approx(0.2)
    assert heat.recirculated(25.0, 22.0, 21.0) is None


def test_fan_laws() -> None:
    """90 % speed: 90 %, 81 %, 72.9 %; half the speed: 12.5 % of the power."""
    assert fan_laws.flow_ratio(0.9) == pytest.approx(0.9)
    assert fan_laws.pressure_ratio(0.9) == pytest.approx(0.81)
    assert fan_laws.power_ratio(0.9) == pytest.approx(0.729)
    assert fan_laws.power_ratio(0.5) == pytest.approx(0.125)
    assert fan_laws.resistance_ratio(0.5) == pytest.approx(4.0)


def test_power_figures() -> None:
    """Balanced three-phase and busbar check values; OpenStax ex. 23.14 (power factor, from memory)."""
    assert power.three_phase(400.0, 32.0) == pytest.approx(22_170.0, rel=1e-3)
    assert power.three_phase(208.0, 24.0) == pytest.approx(8_646.0, rel=1e-3)
    assert power.busbar_current(12_000.0, 48.0) == 250.0
    assert power.busbar_current(12_000.0, 0.0) is None
    assert power.power_factor(2.04, 120.0 * 0.226) == pytest.approx(0.0753, rel=5e-3)
    assert power.reactive(3.0, 5.0) == 4.0
    assert power.reactive(5.01, 5.0) == 0.0
    assert power.imbalance([10.0, 10.0, 13.0]) == pytest.approx(2.0 / 11.0)
    assert power.imbalance([10.0]) is None


def test_sums_say_which_way_and_within_what_bounds() -> None:
    told = power.sums(1000.0, [450.0, 450.0])
    assert told is not None
    assert told.missing == 100.0
    assert 0.0 < told.least < 100.0 < told.most
    assert power.sums(1000.0, [-3.0, 450.0]) is None
    assert power.sums(1000.0, [math.nan, 450.0]) is None
    assert power.sums(1000.0, []) is None


def test_what_remains_after_the_loss_of_one() -> None:
    told = power.left([3000.0, 3000.0], [5000.0, 5000.0])
    assert told is not None
    assert (told.left, told.after_loss) == (4000.0, -1000.0)
    alone = power.left([3000.0], [5000.0])
    assert alone is not None
    assert alone.after_loss is None
    assert power.left([3000.0], []) is None


def test_energy_by_trapezium_over_real_times() -> None:
    """t 0, 10, 25, 40 s, P 100, 200, 200, 0 W: 6000 J."""
    assert energy.energy_of([(0, 100), (10, 200), (25, 200), (40, 0)]) == pytest.approx(6000.0)


def test_gaps_and_clocks_that_go_back_are_left_out() -> None:
    sum_ = energy.Trapezium(longest=60.0)
    for time, watts in ((0, 100), (60, 100), (1000, 100), (990, 100), (1000, math.nan), (1010, 100)):
        sum_.add(time, watts)
    assert (sum_.joules, sum_.gaps) == (8000.0, 2)


def test_a_counter_that_falls_was_reset() -> None:
    """Never a negative step: what it tells since is added."""
    counter = energy.Counter()
    assert [counter.add(value) for value in (100.0, 160.0, 20.0, 25.0, math.nan, -4.0)] == [0, 60, 20, 5, 0, 0]
    assert (counter.joules, counter.resets) == (85.0, 1)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95, 0.99])
def test_percentiles_within_the_promised_error(share: float) -> None:
    """Against numpy's; DDSketch's proposition: a relative error bounded whatever comes."""
    chance = random.Random(7)
    values = [chance.lognormvariate(6.0, 0.7) for _ in range(5000)]
    sketch = Sketch(accuracy=0.01)
    for time, value in enumerate([*values, -1.0, math.nan]):
        sketch.add(value, time)
    wanted = float(np.quantile(values, share, method="lower"))
    assert sketch.percentile(share) == pytest.approx(wanted, rel=0.0101)
    assert sketch.peak == max(values)
    assert sketch.peak_time == values.index(max(values))
    assert Sketch().percentile(0.5) is None


@pytest.mark.parametrize(
    ("name", "altitude", "limit"),
    [("A1", 900, 32.0), ("A1", 3050, 24.83), ("A2", 1800, 32.0), ("A3", 1775, 35.0), ("A4", 1400, 41.0)],
)
def test_derating_by_altitude(name: str, altitude: float, limit: float) -> None:
    """ASHRAE TC 9.9, 5th edition 2021."""
    assert ashrae.upper_limit(ashrae.CLASSES[name], altitude) == pytest.approx(limit, abs=0.01)


def test_above_the_ceiling_no_class_holds() -> None:
    assert ashrae.upper_limit(ashrae.CLASSES["A3"], 3100.0) is None
    assert ashrae.breaches(ashrae.CLASSES["A3"], 3100.0, 20.0)


def test_humid_and_dry_air_break_the_class() -> None:
    a1 = ashrae.CLASSES["A1"]
    assert ashrae.breaches(a1, 0.0, 24.0, 0.45) == []
    assert ashrae.breaches(a1, 0.0, 33.0)
    assert ashrae.breaches(a1, 0.0, 24.0, 0.85)
    assert ashrae.breaches(a1, 0.0, 24.0, 0.05)
    assert ashrae.breaches(a1, 0.0, 24.0, 0.0)


def test_rate_of_change_is_a_range_in_a_window_and_no_slope() -> None:
    """24.0, 26.0, 28.5, 29.5 Cel at 0, 5, 10, 15 min: 5.5 K in 15 min, which breaks 5 K."""
    rates = ashrae.Rates()
    told = [rates.add(60.0 * minute, value) for minute, value in ((0, 24.0), (5, 26.0), (10, 28.5), (15, 29.5))]
    assert told[:3] == [[], [], []]
    ((seconds, limit, change),) = told[3]
    assert (seconds, limit) == (900.0, 5.0)
    assert change == pytest.approx(5.5)


def test_the_sliding_window_is_that_of_all_readings_in_it() -> None:
    chance = random.Random(3)
    swing, kept = ashrae.Swing(900.0), []
    for step in range(400):
        time, value = 45.0 * step, chance.uniform(18.0, 30.0)
        kept.append((time, value))
        inside = [one for when, one in kept if when >= time - 900.0]
        assert swing.add(time, value) == pytest.approx(max(inside) - min(inside))
