"""The fleet in time: repeatable, independent of how time is advanced, and quiet while nothing is wrong."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simulators.chance import Wander, key, uniform
from simulators.site import Site, demo_site, scaled_site
from simulators.telemetry import Mode, SledTelemetry, Thresholds
from simulators.workload import Workload
from simulators.world import World


@pytest.fixture(scope="module")
def site() -> Site:
    return demo_site()


def everything(world: World) -> dict[str, SledTelemetry]:
    return {sled.name: world.telemetry(sled.name) for sled in world.site.sleds}


def test_the_same_seed_gives_the_same_readings(site: Site) -> None:
    first, second, other = World(site, seed=7), World(site, seed=7), World(site, seed=8)
    for world in (first, second, other):
        world.advance(90.0)
    assert everything(first) == everything(second)
    assert everything(first) != everything(other)


@pytest.mark.parametrize("little", [0.1, 1.0 / 7.0])  # sums of these fall just short of, or beyond, whole seconds
def test_how_time_is_advanced_does_not_matter(site: Site, little: float) -> None:
    """Fast time and real time end in the same state, bit by bit, also with a fault that comes on the way."""
    leaps, steps = World(site, seed=7), World(site, seed=7)
    for seconds in (60.0, 61.0):
        leaps.advance(seconds)
        for _ in range(round(seconds / little)):
            steps.advance(little)
        assert everything(leaps) == everything(steps)
        for world in (leaps, steps):
            world.inject("fan-seized", "r02-e1-s2/fan3")
    assert steps.time == pytest.approx(leaps.time)
    assert all(leaps.truth(sled.name) == steps.truth(sled.name) for sled in site.sleds)


@pytest.mark.parametrize(("step", "kelvin", "speed"), [(2.0, 0.4, 0.015), (5.0, 1.0, 0.04)])
def test_a_coarser_grid_tells_nearly_the_same(site: Site, step: float, kelvin: float, speed: float) -> None:
    fine, coarse = World(site, seed=5), World(site, seed=5, step=step)
    for world in (fine, coarse):
        world.inject("fan-seized", "r01-e1-s2/fan1")
    for _ in range(8):
        for world in (fine, coarse):
            world.advance(60.0)
        for sled in site.sleds:
            a, b = fine.truth(sled.name), coarse.truth(sled.name)
            assert a.exhaust == pytest.approx(b.exhaust, abs=kelvin)
            assert a.fan_speed == pytest.approx(b.fan_speed, abs=speed)
            assert a.electrical_in == pytest.approx(b.electrical_in, rel=0.02)


def test_asking_changes_nothing(site: Site) -> None:
    asked, left = World(site, seed=3), World(site, seed=3)
    for _ in range(5):
        asked.advance(10.0)
        everything(asked)
    left.advance(50.0)
    assert everything(asked) == everything(left)
    assert asked.telemetry("r01-e1-s1") is asked.telemetry("r01-e1-s1")


def test_values_are_of_the_last_step(site: Site) -> None:
    world = World(site, start=1000.0)
    world.advance(2.4)
    assert (world.time, world.acquired) == (1002.4, 1002.0)
    assert world.telemetry("r01-e1-s1").time == 1002.0


@pytest.mark.parametrize("seconds", [-1.0, math.nan, math.inf])
def test_time_does_not_pass_backwards_or_for_ever(site: Site, seconds: float) -> None:
    with pytest.raises(ValueError, match="time does not pass"):
        World(site).advance(seconds)


@pytest.mark.parametrize("step", [0.0, -1.0, 3601.0, math.nan])
def test_a_step_must_make_sense(site: Site, step: float) -> None:
    with pytest.raises(ValueError, match="step"):
        World(site, step=step)


def test_the_fleet_starts_in_balance(site: Site) -> None:
    """No warm-up: in the first minutes nothing moves but by its load."""
    world = World(site, seed=2)
    before = {sled.name: world.truth(sled.name) for sled in site.sleds}
    for sled in site.sleds:
        given = before[sled.name].heat_to_air + before[sled.name].heat_to_coolant
        assert given == pytest.approx(before[sled.name].electrical_in, rel=0.01)
    world.advance(60.0)
    for sled in site.sleds:
        after = world.truth(sled.name)
        drawn = abs(after.electrical_in / before[sled.name].electrical_in - 1.0)
        assert after.exhaust == pytest.approx(before[sled.name].exhaust, abs=0.6 + 15.0 * drawn)


def quiet_day(world: World, minutes: float) -> tuple[int, dict[str, list[float]]]:
    """A day of reports: how many were looked at, and every fan speed; fails on anything that is not OK."""
    looked, speeds = 0, {sled.name: list[float]() for sled in world.site.sleds}
    for _ in range(round(1440.0 / minutes)):
        world.advance(60.0 * minutes)
        for name, report in everything(world).items():
            looked += 1
            speeds[name].append(world.truth(name).fan_speed)
            assert report.controller.mode is Mode.SERVING
            for id, sensor in report.sensors.items():
                assert (sensor.health, sensor.state) == ("OK", "Enabled"), (name, id, sensor.value)
                assert sensor.value is not None
                assert sensor.spec.low <= sensor.value <= sensor.spec.high
            for path, part in report.parts.items():
                assert (part.health, part.rollup, part.state) == ("OK", "OK", "Enabled"), path
                assert not part.reasons
                assert not part.failure_predicted
                assert part.power_state in (None, "On")
                assert not part.locate
    return looked, speeds


def test_a_healthy_day_raises_no_alarm(site: Site) -> None:
    """A whole day with its load swings, on a coarse grid; the fine one is below."""
    looked, speeds = quiet_day(World(site, seed=1, step=30.0), minutes=20.0)
    assert looked == 72 * len(site.sleds)
    # It was a day worth the name: loads moved the fans up and down, less where water carries most of the heat.
    for name, course in speeds.items():
        assert max(course) - min(course) > (0.03 if site.sled(name).design.connector else 0.1), name


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_healthy_days_raise_no_alarm_on_a_fine_grid(site: Site, seed: int) -> None:
    quiet_day(World(site, seed=seed, step=5.0), minutes=2.0)


def test_inlet_air_by_height_and_time(site: Site) -> None:
    """Warmer at the top, slow over time, within what ASHRAE TC 9.9 recommends (18 to 27 Cel)."""
    world = World(scaled_site(15), seed=4, step=30.0)
    low, high = "r001-e1-s1", "r001-e5-s3"
    last = None
    for _ in range(32):
        world.advance(900.0)
        bottom, top = world.truth(low).inlet, world.truth(high).inlet
        assert 18.0 <= bottom < top <= 27.0
        # Rate limit of the guidelines: 5 K in any 15 min (from memory), which a healthy room stays far below.
        assert last is None or abs(bottom - last) < 1.0
        last = bottom


def test_the_busbar_sags_with_its_load() -> None:
    """More current, less voltage, and power is their product: check-values.md, section 3 (I = P / V)."""
    world = World(scaled_site(3), seed=1, step=5.0)
    told = []
    for _ in range(100):
        world.advance(60.0)
        truths = [world.truth(f"r001-e1-s{n}") for n in (1, 2, 3)]
        volts = [world.telemetry(f"r001-e1-s{n}").sensors["FeedVoltage"].value for n in (1, 2, 3)]
        assert None not in volts
        told.append((sum(t.electrical_in for t in truths), np.mean([v for v in volts if v is not None])))
    watts, volts_mean = np.asarray(told).T
    assert np.corrcoef(watts, volts_mean)[0, 1] < -0.9
    assert volts_mean.max() < 50.6


def test_load_is_smooth_bounded_daily_and_shared_within_a_rack() -> None:
    racks = np.asarray([key("rack", i // 6) for i in range(48)], dtype=np.uint64)
    blades = np.asarray([[key(i, b) for b in range(4)] for i in range(48)], dtype=np.uint64)
    load = Workload(blades, racks)
    course = np.asarray([load.at(1.79e9 + 300.0 * i).processors.mean(axis=1) for i in range(288)])
    assert ((course >= 0.0) & (course <= 1.0)).all()
    related = np.corrcoef(course.T)
    same = np.asarray([[racks[i] == racks[j] and i != j for j in range(48)] for i in range(48)])
    other = racks[:, None] != racks[None, :]
    assert related[same].mean() > related[other].mean() + 0.1
    by_hour = course.mean(axis=1).reshape(24, 12).mean(axis=1)
    assert by_hour.max() - by_hour.min() > 0.2
    second = np.asarray([load.at(1.79e9 + i).processors for i in range(600)])
    assert np.abs(np.diff(second, axis=0)).max() < 0.06


def test_chance_is_splitmix64() -> None:
    """First numbers of SplitMix64 from seed 0, as published with that generator (from memory)."""
    told = uniform(np.zeros(1, dtype=np.uint64), 0)[0], uniform(np.zeros(1, dtype=np.uint64), 1)[0]
    published = 0xE220A8397B1DCDAF, 0x6E789E6AA1B965F4
    assert told == pytest.approx([number / 2**64 for number in published], abs=1e-15)


def test_wandering_is_smooth_and_does_not_depend_on_the_way() -> None:
    keys = np.arange(50, dtype=np.uint64) * np.uint64(977)
    walked, jumped = Wander(keys, 100.0), Wander(keys, 100.0)
    course = np.asarray([walked.at(1.79e9 + i) for i in range(1000)])
    assert (np.abs(course) <= 1.0).all()
    assert np.abs(np.diff(course, axis=0)).max() < 0.04
    assert course.std() > 0.3
    assert np.array_equal(jumped.at(1.79e9 + 999), course[-1])
    assert np.array_equal(jumped.at(1.79e9 + 500), course[500])


@pytest.mark.parametrize(
    ("value", "health"),
    [(75.0, "OK"), (75.1, "Warning"), (80.1, "Critical"), (86.0, "Critical"), (9.9, "Warning"), (4.9, "Critical")],
)
def test_thresholds_are_crossed_strictly(value: float, health: str) -> None:
    """Redfish Sensor.Thresholds: upper ones above, lower ones below (redfish-notes.md, section 3)."""
    limits = Thresholds(
        upper_caution=75.0, upper_critical=80.0, upper_fatal=85.0, lower_caution=10.0, lower_critical=5.0
    )
    assert limits.judge(value) == health
    assert limits.judge(None) == "OK"


def test_sensors_have_their_resolution_and_their_own_error(site: Site) -> None:
    world = World(site, seed=6, step=5.0)
    offsets = []
    for _ in range(20):
        world.advance(30.0)
        for name, report in everything(world).items():
            inlet = report.sensors["SledInlet"]
            assert inlet.value is not None
            assert inlet.value % 0.5 == 0.0
            offsets.append(inlet.value - world.truth(name).inlet)
            for sensor in report.sensors.values():
                assert sensor.value is not None
                steps = sensor.value / sensor.spec.resolution
                assert steps == pytest.approx(round(steps), abs=1e-6)
                # No digits beyond the resolution, as a shorter decimal.
                assert len(repr(sensor.value)) <= 8
    assert max(map(abs, offsets)) <= 0.15 + 0.3 + 0.25
    assert 0.1 < float(np.std(offsets)) < 0.35


def test_reported_health_follows_the_reported_value(site: Site) -> None:
    """The column-wise judgement of a report equals that of the thresholds, one sensor at a time."""
    world = World(site, seed=6, step=5.0)
    world.inject("inlet-blocked", "r01-e1-s2", fraction=0.9)
    world.inject("fan-seized", "r01-e1-s2/fan2")
    world.inject("blade-power-lost", "r01-e1-s2/blade4")
    world.advance(1500.0)
    sensors = world.telemetry("r01-e1-s2").sensors.values()
    assert {sensor.health for sensor in sensors} == {"OK", "Warning", "Critical"}
    for sensor in sensors:
        assert sensor.health == sensor.spec.thresholds.judge(sensor.value), sensor
