"""Faults of the physical kind against conservation laws and published relations, not against the code's own numbers.

Sources, named at each test: the fan laws and the affinity laws of pumps (AMCA 201, ISO 5801; any textbook), Ohm's and
Joule's laws, steady flow of heat P = rho cp V dT, thermal resistance (JEDEC JESD51: R = dT / P), mixing of streams.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import pytest

from simulators.site import Site, demo_site
from simulators.telemetry import SledTelemetry
from simulators.world import Truth, World

SLED = "r02-e2-s2"
WET = "r03-e3-s1"
SHELF = "r02-ps"


@pytest.fixture(scope="module")
def racks() -> Site:
    """One rack of the demo site with its shelf."""
    return rack_of(SLED)


def rack_of(sled: str) -> Site:
    site = demo_site()
    row, rack, _, _ = site.chain(sled)
    return replace(site, rows=(replace(row, racks=(rack,)),))


class Two:
    """The same rack twice, of which one has a fault; loads held still, so that balances are balances."""

    def __init__(self, sled: str, fault: str, part: str, **arguments: float | str) -> None:
        site = rack_of(sled)
        self.well, self.ill = World(site, seed=11, step=5.0), World(site, seed=11, step=5.0)
        for world in (self.well, self.ill):
            for each in site.sleds:
                world.set_load(each.name, 0.6)
        self.ill.inject(fault, part, **arguments)
        self.sled = sled

    def after(self, seconds: float) -> tuple[Truth, Truth]:
        self.well.advance(seconds)
        self.ill.advance(seconds)
        return self.well.truth(self.sled), self.ill.truth(self.sled)


def told(report: SledTelemetry, sensor: str) -> float:
    value = report.sensors[sensor].value
    assert value is not None
    return value


def balanced(truth: Truth) -> None:
    """P = rho cp V dT (steady flow of heat through the sled): what comes in as power leaves in air and water."""
    air = truth.density * truth.volume_flow * truth.heat_capacity * (truth.exhaust - truth.inlet)
    assert air == pytest.approx(truth.heat_to_air, rel=0.02)
    # What bodies still take up or give back is small after half an hour.
    assert air + truth.heat_to_coolant == pytest.approx(truth.electrical_in, rel=0.03)


def test_a_worn_fan_reaches_its_part_of_the_speed_and_draws_its_cube() -> None:
    """Fan laws (AMCA 201): power goes with the cube of the speed."""
    two = Two(SLED, "fan-slowing", f"{SLED}/fan2", fraction=0.5)
    _, ill = two.after(1800.0)
    sound = ill.fan_speeds[0]
    assert ill.fan_speeds[1] == pytest.approx(0.5 * sound, rel=0.03)
    report = two.ill.telemetry(SLED)
    watts = [report.parts[f"{SLED}/fan{n}"].metrics["power_watts"] or 0.0 for n in (1, 2)]
    speeds = ill.fan_speeds
    assert watts[1] / watts[0] == pytest.approx((speeds[1] / speeds[0]) ** 3, rel=0.15)
    assert report.parts[f"{SLED}/fan2"].health == "Critical", "firmware compares with what it asked for"
    balanced(ill)


def test_a_clogging_filter_grows_and_asks_for_more_speed_for_less_air() -> None:
    """Fan laws: at one system resistance flow goes with speed; more resistance gives less flow a turn."""
    two = Two(SLED, "filter-clogging", f"{SLED}/filter", resistance=4.0, over=7200.0)
    a_turn = []
    for _ in range(4):
        well, ill = two.after(1800.0)
        a_turn.append((ill.volume_flow / ill.fan_speed) / (well.volume_flow / well.fan_speed))
    assert a_turn == sorted(a_turn, reverse=True)
    # Fan curve and path are both squares: flow a turn goes with 1 / sqrt(fan + path) of the resistances, so n times the
    # path leaves more than 1 / sqrt(n) of it.
    for quarters, left in enumerate(a_turn, 1):
        assert 1.0 / math.sqrt(1.0 + quarters) < left < 1.0
    assert a_turn[0] - a_turn[-1] > 0.1, "it comes slowly"
    assert ill.fan_speed > well.fan_speed
    assert all(part.health == "OK" for part in two.ill.telemetry(SLED).parts.values()), "no controller sees dust"
    _, ill = two.after(1800.0)
    balanced(ill)


def test_a_loose_heat_sink_adds_its_resistance_times_the_power() -> None:
    """Thermal resistance (JEDEC JESD51-1): R = (junction - sink) / P; other processors keep theirs."""
    two = Two(SLED, "heat-sink-loose", f"{SLED}/blade2/cpu0", resistance=0.2)
    well, ill = two.after(1800.0)

    def joint(truth: Truth, blade: int) -> float:
        return (truth.junctions[blade][0] - truth.sinks[blade][0]) / truth.processor_power[blade][0]

    assert joint(ill, 1) - joint(well, 1) == pytest.approx(0.2, abs=0.005)
    for other in (0, 2, 3):
        assert joint(ill, other) == pytest.approx(joint(well, other), abs=0.002)
        assert ill.junctions[other][0] < well.junctions[other][0] + 0.1, "its neighbours get more air"


def test_what_throttles_settles() -> None:
    """However badly a heat sink sits, power and temperature end in one point and don't swing from step to step."""
    for step, resistance in itertools.product((5.0, 30.0), (0.25, 0.6)):
        world = World(rack_of(SLED), seed=11, step=step)
        world.set_load(SLED, 1.0)
        world.inject("heat-sink-loose", f"{SLED}/blade1/cpu0", resistance=resistance)
        world.advance(1800.0)
        found = []
        for _ in range(9):
            world.advance(step)
            found.append(world.truth(SLED).junctions[0][0])
        assert max(found) - min(found) < 0.5
        assert found[-1] > 96.0


def test_air_that_comes_round_mixes() -> None:
    """Mixing of two streams of one fluid: T = (1 - x) T1 + x T2."""
    two = Two(SLED, "recirculation", SLED, fraction=0.4)
    well, ill = two.after(3600.0)
    hot = (ill.inlet - 0.6 * well.inlet) / 0.4  # the second stream, by the mixing rule
    others = [two.ill.truth(sled.name).exhaust for sled in two.ill.site.sleds]
    assert min(others) - 2.0 < hot < max(others) + 4.0, "it is the air behind the rack"
    balanced(ill)
    # Moisture is neither added nor taken: a warmer inlet is drier, relatively (Magnus' form, Sonntag 1990).
    report, sound = two.ill.telemetry(SLED), two.well.telemetry(SLED)

    def saturation(cel: float) -> float:
        return 611.2 * math.exp(17.62 * cel / (243.12 + cel))

    ratio = told(report, "SledHumidity") / told(sound, "SledHumidity")
    assert ratio == pytest.approx(saturation(well.inlet) / saturation(ill.inlet), rel=0.05)


def test_a_burnt_joint_of_the_power_board_obeys_ohm_and_joule() -> None:
    """Ohm: U = R I. Joule: P = R I2. And the sled draws what its blades draw and its path loses."""
    two = Two(SLED, "power-board", SLED, share=1.0, ohm=0.05)
    well, ill = two.after(1800.0)
    amps = [watts / volts for watts, volts in zip(ill.blade_power, ill.blade_volts, strict=True)]
    for blade, current in enumerate(amps):
        sag = well.blade_volts[blade] - ill.blade_volts[blade]
        assert sag == pytest.approx(0.05 * current, rel=0.15)
        assert ill.blade_volts[blade] < 11.4
    more = ill.path_loss - well.path_loss
    assert more == pytest.approx(0.05 * sum(current**2 for current in amps), rel=0.1)
    assert ill.electrical_in - well.electrical_in == pytest.approx(more, rel=0.25)
    balanced(ill)


def test_a_dead_board_has_its_volts_and_draws_nothing() -> None:
    two = Two(SLED, "blade-dead", f"{SLED}/blade3")
    _, ill = two.after(1800.0)
    assert ill.blade_power[2] == 0.0
    assert ill.blade_volts[2] > 12.0
    report = two.ill.telemetry(SLED)
    assert (report.parts[f"{SLED}/blade3"].state, report.parts[f"{SLED}/blade3"].health) == (
        "UnavailableOffline",
        "Critical",
    )
    assert report.sensors["Blade3Cpu0"].value is None
    balanced(ill)


@pytest.mark.parametrize("supply", [f"{SLED}/psu1", f"{SHELF}/psu2"])
def test_the_other_supplies_carry_what_a_dead_one_did(supply: str) -> None:
    """Conservation of power: the sum of the outputs stays but for a little more loss."""
    unit, _, name = supply.partition("/")
    two = Two(SLED, "power-supply-dead", supply)
    two.after(900.0)
    well, ill = two.well.telemetry(unit), two.ill.telemetry(unit)
    outputs = [id for id in ill.sensors if id.startswith("Psu") and id.endswith("Output")]
    dead = f"P{name[1:]}Output"
    assert told(ill, dead) == 0.0
    assert sum(told(ill, id) for id in outputs) == pytest.approx(sum(told(well, id) for id in outputs), rel=0.02)
    assert ill.parts[supply].health == "Critical"
    assert {path for path, part in ill.parts.items() if part.health != "OK"} == {supply}


def test_half_the_rectifiers_carry_the_rack_when_a_feed_is_lost() -> None:
    two = Two(SLED, "feed-lost", f"{SHELF}/mainsa")
    well, ill = two.after(900.0)
    assert ill.electrical_in == pytest.approx(well.electrical_in, rel=0.02), "no sled feels it"
    before, after = two.well.telemetry(SHELF), two.ill.telemetry(SHELF)
    assert told(after, "MainsAPower") == told(after, "MainsAVoltage") == told(after, "MainsACurrent") == 0.0
    both = told(before, "MainsAPower") + told(before, "MainsBPower")
    assert told(after, "MainsBPower") == pytest.approx(both, rel=0.05)
    assert after.parts[f"{SHELF}/mainsa"].health == "Critical"


def test_an_overloaded_shelf_slows_its_rack_until_it_carries_it() -> None:
    """Three racks' worth of load on a single feed: voltage and load go down together, none without the other."""
    site = rack_of(WET)
    world = World(site, seed=11, step=5.0)
    for sled in site.sleds:
        world.set_load(sled.name, 1.0)
    world.advance(900.0)
    full = sum(world.truth(sled.name).electrical_in for sled in site.sleds)
    world.inject("feed-lost", "r03-ps/mainsb")
    world.inject("power-supply-dead", "r03-ps/psu1")
    world.advance(900.0)
    left = sum(world.truth(sled.name).electrical_in for sled in site.sleds)
    assert full > 2 * 3000.0 * 1.1
    assert left < 2 * 3000.0 * 1.1
    report = world.telemetry("r03-ps")
    assert sum(told(report, f"Psu{n}Output") for n in (1, 2, 3, 4, 5, 6)) < 2 * 3000.0 * 1.1
    assert told(report, "BusVoltage") > 45.0
    world.repair("r03-ps/mainsb")
    world.repair("r03-ps/psu1")
    world.advance(3600.0)
    again = sum(world.truth(sled.name).electrical_in for sled in site.sleds)
    assert again == pytest.approx(full, rel=0.02)


def test_without_both_feeds_the_rack_is_dark_and_comes_back() -> None:
    world = World(rack_of(SLED), seed=11, step=5.0)
    for feed in ("a", "b"):
        world.inject("feed-lost", f"{SHELF}/mains{feed}")
    world.advance(600.0)
    truth = world.truth(SLED)
    assert truth.electrical_in == 0.0
    assert max(truth.blade_power) == truth.fan_power == 0.0
    assert world.telemetry(SLED).controller.mode.value == "hung"
    assert world.telemetry(SHELF).controller.mode.value == "hung"
    for feed in ("a", "b"):
        world.repair(f"{SHELF}/mains{feed}")
    world.advance(1800.0)
    assert world.truth(SLED).electrical_in > 500.0
    assert all(part.health == "OK" for part in world.telemetry(SLED).parts.values())
    balanced(world.truth(SLED))


def test_a_sagging_feed_gives_the_same_power_with_more_current() -> None:
    """P = U I cos phi at constant power."""
    two = Two(SLED, "feed-sagging", f"{SHELF}/mainsa", fraction=0.2)
    two.after(600.0)
    before, after = two.well.telemetry(SHELF), two.ill.telemetry(SHELF)
    assert told(after, "MainsAVoltage") == pytest.approx(0.8 * told(before, "MainsAVoltage"), rel=0.005)
    assert told(after, "MainsACurrent") == pytest.approx(told(before, "MainsACurrent") / 0.8, rel=0.02)
    assert told(after, "MainsAPower") == pytest.approx(told(before, "MainsAPower"), rel=0.02)


def test_a_lossy_joint_shows_between_shelf_and_sleds_alone() -> None:
    """Joule: the joint's P = R I2 is in the outlet's reading and in no sled's."""
    two = Two(SLED, "feed-lossy", f"{SHELF}/outlet2", ohm=0.04)
    well, ill = two.after(900.0)
    sleds = [sled.name for sled in two.ill.site.sleds if sled.name.startswith("r02-e2")]

    def lost(world: World) -> tuple[float, float]:
        report = world.telemetry(SHELF)
        return told(report, "Outlet2Power") - sum(world.truth(s).electrical_in for s in sleds), told(
            report, "Outlet2Current"
        )

    (before, _), (after, amps) = lost(two.well), lost(two.ill)
    assert after - before == pytest.approx(0.04 * amps * amps, rel=0.25)
    sag = told(two.well.telemetry(SLED), "FeedVoltage") - told(two.ill.telemetry(SLED), "FeedVoltage")
    assert sag == pytest.approx(0.04 * amps, rel=0.15)
    assert ill.electrical_in == pytest.approx(well.electrical_in, rel=0.02)


def test_a_weak_pump_warms_its_water() -> None:
    """P = mass flow cp dT for water; pressure goes with the square of the flow (affinity laws)."""
    two = Two(WET, "pump-weak", f"{WET}/pump", fraction=0.5)
    well, ill = two.after(1800.0)
    assert ill.coolant_flow == pytest.approx(0.5 * well.coolant_flow, rel=0.01)
    rise = [truth.coolant_return - truth.coolant_supply for truth in (well, ill)]
    assert rise[1] / rise[0] == pytest.approx(2.0 * ill.heat_to_coolant / well.heat_to_coolant, rel=0.02)
    before, after = two.well.telemetry(WET), two.ill.telemetry(WET)
    assert told(after, "CoolantDrop") / told(before, "CoolantDrop") == pytest.approx(0.25, rel=0.05)
    balanced(ill)


def test_a_leak_loses_what_it_loses_and_wets_the_rope() -> None:
    """Continuity: litres lost are the leak's rate times the time; the plates get that much less."""
    two = Two(WET, "leak", f"{WET}/coolant", litres=0.3)
    well, ill = two.after(600.0)
    assert ill.coolant_lost == pytest.approx(0.3 * 10.0, rel=0.02)
    assert well.coolant_flow - ill.coolant_flow == pytest.approx(0.3, abs=0.01)
    assert two.ill.telemetry(WET).parts[f"{WET}/leak2"].health == "Critical"
    two.ill.repair(f"{WET}/coolant")
    _, ill = two.after(60.0)
    assert ill.coolant_lost == 0.0
    assert two.ill.telemetry(WET).parts[f"{WET}/leak2"].health == "OK"


@pytest.mark.parametrize("nothing", [0.0, 1.0])
def test_a_torn_tachometer_wire_changes_what_is_told_and_not_the_air_a_turn(nothing: float) -> None:
    two = Two(SLED, "fan-tachometer", f"{SLED}/fan1", nothing=nothing)
    well, ill = two.after(600.0)
    report = two.ill.telemetry(SLED)
    assert report.sensors["Fan1Tach"].value == (None if nothing else 0.0)
    assert report.parts[f"{SLED}/fan1"].health == "Critical"
    assert ill.fan_speeds[0] > 5000.0
    assert ill.volume_flow / ill.fan_speed == pytest.approx(well.volume_flow / well.fan_speed, rel=1e-6)


def test_a_drifting_sensor_goes_off_evenly_and_its_controller_believes_it() -> None:
    two = Two(SLED, "sensor-drifting", f"{SLED}/blade1/cpu0", size=1.5, way=1.0, over=3600.0)
    off = []
    for _ in range(4):
        two.after(900.0)
        off.append(told(two.ill.telemetry(SLED), "Blade1Cpu0") - two.ill.truth(SLED).junctions[0][0])
    steps = [later - sooner for sooner, later in itertools.pairwise(off)]
    assert steps == pytest.approx([3.75] * 3, abs=1.6)
    assert two.ill.truth(SLED).junctions[0][0] < two.well.truth(SLED).junctions[0][0], "fans cool what is not hot"


def test_a_noisy_sensor_is_right_on_the_whole() -> None:
    two = Two(SLED, "sensor-noisy", f"{SLED}/blade1", sensor="Blade1Inlet", size=1.0)
    off = []
    for _ in range(60):
        two.after(10.0)
        off.append(told(two.ill.telemetry(SLED), "Blade1Inlet") - two.ill.truth(SLED).inlet)
    assert max(off) > 5.0
    assert min(off) < -5.0
    # 60 draws, even from -10 to 10: standard error of the mean is 20 / sqrt(12 * 60) = 0.75 K.
    assert abs(sum(off) / len(off)) < 3.0


def test_fan_control_that_is_blind_goes_to_its_safe_speed() -> None:
    two = Two(SLED, "sensor-gone", f"{SLED}/blade1/cpu0")
    well, ill = two.after(600.0)
    assert two.ill.telemetry(SLED).sensors["Blade1Cpu0"].state == "UnavailableOffline"
    assert ill.fan_speed > well.fan_speed + 0.05


def test_a_hot_afternoon_is_felt_and_passes(racks: Site) -> None:
    warm, usual = World(racks, seed=11, step=60.0), World(racks, seed=11, step=60.0)
    warm.warm_room(6.0, 14_400.0)
    for world in (warm, usual):
        world.advance(7200.0)
    rise = warm.truth(SLED).inlet - usual.truth(SLED).inlet
    assert rise == pytest.approx(6.0, abs=0.3)
    assert all(part.health == "OK" for s in racks.sleds for part in warm.telemetry(s.name).parts.values())
    for world in (warm, usual):
        world.advance(9000.0)
    assert warm.truth(SLED).inlet == pytest.approx(usual.truth(SLED).inlet, abs=0.1)
    with pytest.raises(KeyError, match="no row"):
        warm.warm_room(6.0, 60.0, row="row-z")


def test_a_long_step_ends_where_short_ones_do(racks: Site) -> None:
    """What rounds five minutes apart see of a day, against steps of 5 s: within what a sensor could tell apart."""
    short, long = World(racks, seed=11, step=5.0), World(racks, seed=11, step=300.0)
    worst_cel, worst_speed = 0.0, 0.0
    for _ in range(36):
        short.advance(300.0)
        long.advance(300.0)
        a, b = short.truth(SLED), long.truth(SLED)
        pairs = zip(a.junctions + a.sinks, b.junctions + b.sinks, strict=True)
        worst_cel = max(worst_cel, *(abs(x[0] - y[0]) for x, y in pairs), abs(a.exhaust - b.exhaust))
        worst_speed = max(worst_speed, abs(a.fan_speed / b.fan_speed - 1.0))
    assert worst_cel < 1.5
    assert worst_speed < 0.05
    # The heat of every part of a step goes somewhere: energy is balanced whatever its length.
    truth = long.truth(SLED)
    assert truth.energy_in == pytest.approx(truth.energy_to_air, rel=0.02)


def test_an_exchanged_part_keeps_its_new_serial_number(racks: Site) -> None:
    world = World(racks, seed=11, step=30.0)
    fan = f"{SLED}/fan1"
    world.inject("fan-seized", fan)
    world.exchange(fan)
    assert world.active() == ()
    first = world.telemetry(SLED).parts[fan].replacement
    assert first
    world.inject("fan-slowing", f"{SLED}/fan2")
    world.clear("fan-slowing", f"{SLED}/fan2")
    assert world.telemetry(SLED).parts[fan].replacement == first
    world.exchange(fan)
    assert world.telemetry(SLED).parts[fan].replacement not in (None, first)
