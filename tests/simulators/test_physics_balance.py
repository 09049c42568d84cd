"""Sleds as a whole: every watt that goes in comes out as warm air or stays as heat, by independent accounts."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI

from simulators import air
from simulators.bodies import BODIES, Body
from simulators.chance import Floats
from simulators.knobs import Knobs
from simulators.sensors import layout
from simulators.site import OLDER_MODEL, demo_site
from simulators.sleds import Around, Sleds
from simulators.telemetry import SledTelemetry
from simulators.workload import Load
from simulators.world import Truth, World

ALTITUDE = 240.0
PRESSURE = air.pressure(ALTITUDE)
DEW_POINT = 10.0
Hours = tuple[World, list[dict[str, Truth]], list[dict[str, SledTelemetry]]]
BODY = pytest.mark.parametrize("body", BODIES.values(), ids=list(BODIES))


class Bench:
    """Three sleds of a design on a bench, with load and inlet air held as the test wants them."""

    def __init__(self, body: Body) -> None:
        self.body = body
        blades = len(body.design.slots)
        self.knobs = Knobs(body.design, 3)
        self.sleds = Sleds(body, np.arange(3 * blades, dtype=np.uint64).reshape(3, blades), self.knobs)
        self.load = np.full((3, blades), 0.5)
        self.inlet = 24.0

    def run(self, seconds: float, step: float = 5.0) -> None:
        vapour = float(air.saturation_pressure(DEW_POINT))
        inlet = np.full(3, self.inlet)
        around = Around(
            inlet=inlet,
            density=air.density(inlet, PRESSURE, vapour),
            heat_capacity=air.heat_capacity(PRESSURE, vapour),
            dew_point=DEW_POINT,
            busbar=np.full(3, 50.0),
        )
        for _ in range(round(seconds / step)):
            self.sleds.step(step, Load(self.load, self.load), around)


def reference_air(inlet: float) -> tuple[float, float]:
    """Density (kg/m3) and heat capacity (J/kg K) of the bench's air by CoolProp's humid air."""
    state = ("T", inlet + 273.15, "P", PRESSURE, "D", DEW_POINT + 273.15)
    return 1.0 / HAPropsSI("Vha", *state), HAPropsSI("cp_ha", *state)


def by_water(sleds: Sleds) -> Floats:
    """What the cold plates' water carries off, W: mass flow times its gain of enthalpy, by CoolProp's water."""
    plates = sleds.plates
    if plates is None:
        return np.zeros(3)
    told = []
    for supply, leaving, flow in zip(plates.supply, plates.leaving, plates.flow, strict=True):
        cold, warm = ("T", supply + 273.15, "P", 250e3), ("T", leaving + 273.15, "P", 250e3)
        gained = PropsSI("H", *warm, "Water") - PropsSI("H", *cold, "Water")
        told.append(PropsSI("D", *cold, "Water") * flow / 60_000.0 * gained)
    return np.asarray(told)


@BODY
@pytest.mark.parametrize("load", [0.05, 0.5, 1.0])
@pytest.mark.parametrize("fault", ["none", "fan", "intake"])
def test_steady_sled_warms_its_air_by_what_it_draws(body: Body, load: float, fault: str) -> None:
    """Electrical input = rho cp Q dT of air, and of water, within 1 %, with rho and cp from CoolProp."""
    bench = Bench(body)
    bench.load[:] = load
    if fault == "fan":
        bench.knobs.fan_turns[:, 1] = 0.0
    elif fault == "intake":
        bench.knobs.intake_open[:] = 0.5
    bench.run(5400.0, step=15.0)
    sleds = bench.sleds
    density, capacity = reference_air(bench.inlet)
    carried = density * capacity * sleds.air_flow() * (sleds.exhaust - bench.inlet)
    water = by_water(sleds)
    assert carried == pytest.approx(sleds.feed_power - water, rel=0.01)
    # And by the simulator's own account to the last digits that a settled loop has.
    drowned = np.zeros(3) if sleds.plates is None else sleds.plates.heat
    assert sleds.heat_to_air + drowned == pytest.approx(sleds.feed_power, rel=1e-4)
    assert drowned == pytest.approx(water, rel=1e-3)


@BODY
def test_transient_heat_is_in_the_air_or_in_the_bodies(body: Body) -> None:
    """Cold start, full load, a fan lost, a blade lost, intake covered: input = air + stored, all along."""
    bench = Bench(body)
    sleds, stored = bench.sleds, bench.sleds.stored()
    bench.load[:] = 1.0
    for turn in range(5):
        if turn == 1:
            bench.knobs.fan_turns[0, 0] = 0.0
        elif turn == 2:
            bench.knobs.blade_on[1, 1] = 0.0
            bench.load[:] = 0.1
        elif turn == 3:
            bench.knobs.intake_open[2] = 0.3
            bench.inlet = 30.0
        bench.run(100.0, step=1.0)
        kept = sleds.stored() - stored
        drowned = 0.0 if sleds.plates is None else sleds.plates.energy
        assert sleds.air_energy + drowned + kept == pytest.approx(sleds.sled_energy, rel=1e-9)
        assert (np.abs(kept) > 1000.0).all()  # else nothing was tested


@BODY
def test_fan_power_by_the_cube_law(body: Body) -> None:
    """check-values.md, section 2: 90 % speed -> 72.9 % power, 50 % -> 12.5 %; flow 90 % and 50 %; power as density."""
    bench = Bench(body)
    sleds = bench.sleds
    found = {}
    for speed in (1.0, 0.9, 0.5):
        sleds.speed[:] = speed
        sleds._control.command[:] = speed
        bench.run(1e-6, step=1e-6)
        found[speed] = (sleds.air_flow().copy(), sleds.fan_power.copy())
    for speed, part in ((0.9, 0.729), (0.5, 0.125)):
        assert found[speed][0] == pytest.approx(speed * found[1.0][0], rel=1e-6)
        assert found[speed][1] == pytest.approx(part * found[1.0][1], rel=1e-6)
    rated = body.design.fan.max_power * reference_air(bench.inlet)[0] / 1.2
    assert found[1.0][1] == pytest.approx(np.full_like(found[1.0][1], rated), rel=0.05)


@BODY
def test_power_is_lost_only_where_it_should_be(body: Body) -> None:
    """Feed = blades + fans + shared parts + converters and wires; efficiency as such converters have."""
    bench = Bench(body)
    bench.load[:] = 0.8
    bench.run(1800.0)
    sleds = bench.sleds
    output = sleds.supply_output.sum(axis=0)
    consumers = sleds.blade_power.sum(axis=1) + sleds.fan_power.sum(axis=1)
    shared = body.controller + body.adapter[0] + 0.8 * body.adapter[1]
    wires = output - consumers - shared
    assert (wires > 0).all()
    assert (wires < 0.02 * output).all()
    efficiency = output / sleds.feed_power
    assert ((efficiency > 0.94) & (efficiency < 0.98)).all()  # 48 V to 12 V bricks: common practice, no source
    assert sleds.feed_current * sleds.feed_voltage == pytest.approx(sleds.feed_power, rel=1e-12)
    assert sleds.blade_current * sleds.blade_voltage == pytest.approx(sleds.blade_power, rel=1e-6)


@BODY
def test_full_load_in_the_warmest_recommended_air_crosses_nothing(body: Body) -> None:
    """ASHRAE TC 9.9 recommends 18 to 27 Cel; a sled must stand full load at both ends."""
    limits = layout(body.design.name, flow=True)
    for inlet in (18.0, 27.0):
        bench = Bench(body)
        bench.inlet = inlet
        for load in (1.0, 0.0, 1.0):
            bench.load[:] = load
            for _ in range(30):
                bench.run(60.0)
                sources = bench.sleds.sources()
                for spec, column in zip(limits.specs, limits.columns, strict=True):
                    for sled in range(3):
                        value = float(sources[column.source][column.place(sled)])
                        assert spec.thresholds.judge(value) == "OK", (spec.id, value, inlet, load)


@BODY
def test_air_is_warmer_further_along_its_path(body: Body) -> None:
    bench = Bench(body)
    bench.run(3600.0, step=10.0)
    sleds = bench.sleds
    assert (sleds.blade_outlet > bench.inlet + 5.0).all()
    assert (sleds.exhaust > sleds.blade_outlet.mean(axis=1)).all()
    if body.design.name == "duo":
        # The second processor stands in the air of the first; front drives stand in cold air.
        assert (sleds.junction[1] > sleds.junction[0] + 1.0).all()
        assert (sleds.of("drive") < sleds.of("dimm").min()).all()


@BODY
def test_more_heat_ends_hotter_and_faster(body: Body) -> None:
    bench = Bench(body)
    seen = []
    for load in (0.1, 0.5, 0.9):
        bench.load[:] = load
        bench.run(3600.0, step=10.0)
        seen.append((bench.sleds.speed.copy(), bench.sleds.junction.copy()))
    for (slow, cool), (fast, hot) in pairwise(seen):
        assert (fast > slow).all()
        assert (hot > cool).all()


@BODY
def test_fan_control_does_not_hunt(body: Body) -> None:
    bench = Bench(body)
    bench.load[:] = 0.7
    bench.run(3600.0)
    speeds = []
    for _ in range(100):
        bench.run(3.0, step=1.0)
        speeds.append(bench.sleds.speed.copy())
    assert np.ptp(np.asarray(speeds), axis=0) == pytest.approx(np.zeros(3), abs=0.002)


@BODY
def test_thinner_air_makes_sleds_run_faster_and_hotter(body: Body) -> None:
    """With altitude the same volume of air carries less heat: check-values.md, section 2 (500 W at 3000 m)."""
    low, high = Bench(body), Bench(body)
    vapour = float(air.saturation_pressure(DEW_POINT))
    for bench, altitude in ((low, 0.0), (high, 3000.0)):
        pressure, inlet = air.pressure(altitude), np.full(3, bench.inlet)
        around = Around(
            inlet=inlet,
            density=air.density(inlet, pressure, vapour),
            heat_capacity=air.heat_capacity(pressure, vapour),
            dew_point=DEW_POINT,
            busbar=np.full(3, 50.0),
        )
        for _ in range(500):
            bench.sleds.step(5.0, Load(bench.load, bench.load), around)
    assert (high.sleds.speed > low.sleds.speed).all()
    if body.loop is None:
        assert (high.sleds.junction > low.sleds.junction).all()
    else:  # water does not get thinner
        assert high.sleds.junction == pytest.approx(low.sleds.junction, abs=1e-6)
    assert (high.sleds.air_flow() > low.sleds.air_flow()).all()


@pytest.fixture(scope="module")
def hours() -> Hours:
    """An hour of the demo site: the truth and the reports, minute by minute."""
    world = World(demo_site(), seed=11, step=5.0)
    names = [sled.name for sled in world.site.sleds]
    truths, reports = [], []
    for _ in range(60):
        world.advance(60.0)
        truths.append({name: world.truth(name) for name in names})
        reports.append({name: world.telemetry(name) for name in names})
    return world, truths, reports


def test_the_living_fleet_balances(hours: Hours) -> None:
    """Over hours of changing load: energy in = air + stored exactly; rho cp Q dT = mean power within 1 %."""
    world, truths, _ = hours
    pressure = air.pressure(world.site.altitude)
    for name, last in truths[-1].items():
        first = truths[0][name]
        taken = last.energy_in - first.energy_in
        given = last.energy_to_air - first.energy_to_air + last.stored - first.stored
        given += last.energy_to_coolant - first.energy_to_coolant
        assert given == pytest.approx(taken, rel=1e-9)
        rows = [row[name] for row in truths]
        carried = 0.0
        for row in rows:
            # The site's dew point is about 10 Cel; its effect on density and heat capacity is below 0.2 %.
            state = ("T", row.inlet + 273.15, "P", pressure, "D", 283.15)
            carried += (
                HAPropsSI("cp_ha", *state) / HAPropsSI("Vha", *state) * row.volume_flow * (row.exhaust - row.inlet)
            )
        mean_power = sum(row.electrical_in - row.heat_to_coolant for row in rows) / len(rows)
        # What warmed the sled up did not reach the air; a liquid-cooled sled gives it so little that this shows.
        warming = (last.stored - first.stored) / (60.0 * (len(rows) - 1))
        assert carried / len(rows) == pytest.approx(mean_power - warming, rel=0.01)


def test_what_the_sensors_tell_balances_as_far_as_they_can(
    hours: Hours,
) -> None:
    """The same account from reported values alone: temperatures off by up to 0.3 K each, flow by 2 %."""
    world, _, reports = hours
    density, capacity = reference_air(24.0)
    for sled in world.site.sleds:
        if sled.dialect in OLDER_MODEL:
            continue
        rise, flow, power, parts = (np.asarray(column) for column in zip(*_told(reports, sled.name), strict=True))
        told = density * capacity * flow / 60.0 * rise
        slack = 0.02 + 0.005 + 2 * 0.3 / float(rise.mean()) + 0.01
        assert told.mean() == pytest.approx(power.mean(), rel=slack)
        # Blades and fans take less than the feed gives, by what shared parts and converters use: 2 to 10 %.
        assert 0.90 < float(parts.mean()) < 0.98


def _told(reports: list[dict[str, SledTelemetry]], name: str) -> Iterator[tuple[float, float, float, float]]:
    for report in reports:
        value = {id: point.value or 0.0 for id, point in report[name].sensors.items()}
        blades = sum(value[id] for id in value if id.startswith("Blade") and id.endswith("Power"))
        rise = value["SledExhaust"] - value["SledInlet"]
        by_air = value["FeedPower"] - 1000.0 * value.get("CoolantHeat", 0.0)
        yield rise, value["SledAirFlow"], by_air, (blades + value["FanPower"]) / value["FeedPower"]
