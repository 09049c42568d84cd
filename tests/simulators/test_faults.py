"""Every fault by its signature, against the same fleet without it; and how faults are written down."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest

from simulators.faults import CATALOGUE, FaultError, Injection, check, describe, parse
from simulators.shelves import Shelves
from simulators.site import PartKind, Site, demo_site
from simulators.telemetry import Mode, SledTelemetry
from simulators.world import START, World

QUAD, DUO = "r01-e1-s2", "r01-e2-s2"
SLED = pytest.mark.parametrize("sled", [QUAD, DUO], ids=["quad", "duo"])


@pytest.fixture(scope="module")
def site() -> Site:
    return demo_site()


def enclosure_of(sled: str) -> Site:
    """The demo site with nothing on it but that sled's enclosure."""
    site = demo_site()
    row, rack, enclosure, _ = site.chain(sled)
    return replace(site, rows=(replace(row, racks=(replace(rack, enclosures=(enclosure,)),)),))


class Pair:
    """Two enclosures of one seed, of which one gets a fault."""

    def __init__(self, sled: str, seed: int = 3) -> None:
        site = enclosure_of(sled)
        self.well, self.ill = World(site, seed=seed, step=5.0), World(site, seed=seed, step=5.0)

    def advance(self, seconds: float) -> None:
        self.well.advance(seconds)
        self.ill.advance(seconds)

    def reports(self, sled: str) -> tuple[SledTelemetry, SledTelemetry]:
        return self.well.telemetry(sled), self.ill.telemetry(sled)


@pytest.fixture
def pair(request: pytest.FixtureRequest) -> Pair:
    return Pair(request.node.callspec.params["sled"] if hasattr(request.node, "callspec") else QUAD)


def value(report: SledTelemetry, sensor: str) -> float:
    told = report.sensors[sensor].value
    assert told is not None
    return told


def bad_parts(report: SledTelemetry) -> dict[str, str]:
    """Parts with trouble of their own."""
    return {path: part.health for path, part in report.parts.items() if part.health != "OK"}


def lit(report: SledTelemetry) -> list[str]:
    return [path for path, part in report.parts.items() if part.locate]


def others_are_well(pair: Pair, sled: str) -> None:
    for other in pair.ill.site.sleds:
        if other.name != sled:
            assert not bad_parts(pair.ill.telemetry(other.name))
            well, ill = pair.well.truth(other.name), pair.ill.truth(other.name)
            # Neighbours share no more than a little warm air and a little busbar voltage.
            assert ill.exhaust == pytest.approx(well.exhaust, abs=0.3)


@SLED
@pytest.mark.parametrize("fan", [1, 2, 4])
def test_fan_seized(pair: Pair, sled: str, fan: int) -> None:
    pair.ill.inject("fan-seized", f"{sled}/fan{fan}")
    pair.advance(30.0)
    assert value(pair.ill.telemetry(sled), f"Fan{fan}Tach") == 0.0
    pair.advance(900.0)
    well, ill = pair.reports(sled)
    design = pair.ill.site.sled(sled).design
    tach = ill.sensors[f"Fan{fan}Tach"]
    assert (tach.value, tach.health) == (0.0, "Critical")
    assert bad_parts(ill) == {f"{sled}/fan{fan}": "Critical"}
    assert "0 {rev}/min" in ill.parts[f"{sled}/fan{fan}"].reasons[0]
    assert ill.parts[sled].rollup == "Critical"
    assert ill.parts[f"{sled}/blade1"].rollup == "OK"
    assert ill.parts[f"{sled}/fan{fan}"].metrics["power_watts"] == 0.0
    assert not lit(ill)
    for other in range(1, design.fans + 1):
        if other != fan:
            assert value(ill, f"Fan{other}Tach") > 1.03 * value(well, f"Fan{other}Tach")
    before, after = pair.well.truth(sled), pair.ill.truth(sled)
    # The fan laws set free: more speed, less air.
    assert after.fan_speed > before.fan_speed
    starved = [b / a for a, b in zip(before.blade_flows, after.blade_flows, strict=True)]
    # Less air for the air's work at the same speed, and least for the blades before that fan.
    per_turn = [part * before.fan_speed / after.fan_speed for part in starved]
    assert max(per_turn) < 0.97
    near = 0 if fan <= design.fans // 2 else 1
    assert per_turn[near] < per_turn[1 - near]
    group, row = pair.ill._where[sled]
    healthy, _ = pair.well._where[sled]
    assert not isinstance(group, Shelves)
    assert not isinstance(healthy, Shelves)
    hotter = group.physics.junction[:, row] - healthy.physics.junction[:, row]
    assert (hotter > 0.1).all(), "every processor of the sled runs hotter"
    others_are_well(pair, sled)


def test_fan_turns_again_when_cleared(pair: Pair) -> None:
    pair.ill.inject("fan-seized", f"{QUAD}/fan2")
    pair.advance(400.0)
    assert pair.ill.clear("fan-seized", f"{QUAD}/fan2")
    assert not pair.ill.clear("fan-seized", f"{QUAD}/fan2")
    pair.advance(900.0)
    well, ill = pair.reports(QUAD)
    assert not bad_parts(ill)
    assert value(ill, "Fan2Tach") == pytest.approx(value(well, "Fan2Tach"), rel=0.02)
    assert pair.ill.truth(QUAD).exhaust == pytest.approx(pair.well.truth(QUAD).exhaust, abs=0.2)


@SLED
def test_inlet_blocked(pair: Pair, sled: str) -> None:
    pair.ill.inject("inlet-blocked", sled)
    pair.advance(900.0)
    well, ill = pair.reports(sled)
    before, after = pair.well.truth(sled), pair.ill.truth(sled)
    assert after.volume_flow < 0.7 * before.volume_flow
    assert after.exhaust - after.inlet > 1.5 * (before.exhaust - before.inlet)
    assert after.fan_speed > before.fan_speed + 0.15
    assert value(ill, "SledInlet") == pytest.approx(value(well, "SledInlet"), abs=0.5)
    for sensor, point in ill.sensors.items():
        if sensor.endswith(("Cpu0", "Regulator", "Outlet")):
            assert point.value is not None
            assert point.value > value(well, sensor) + 3.0
    assert not lit(ill)
    others_are_well(pair, sled)


def test_blocked_inlet_at_full_load_drives_fans_to_the_stop_and_slows_processors(pair: Pair) -> None:
    pair.ill.inject("inlet-blocked", QUAD, fraction=0.8)
    pair.advance(900.0)
    ill = pair.ill.telemetry(QUAD)
    assert pair.ill.truth(QUAD).fan_speed > 0.99
    assert {"Warning", "Critical"} >= set(bad_parts(ill).values()) != set()
    hottest = max(value(ill, f"Blade{n}Cpu0") for n in (1, 2, 3, 4))
    assert 91.0 < hottest < 105.0, "throttling holds it below the fatal threshold"
    assert sum(pair.ill.truth(QUAD).blade_power) < sum(pair.well.truth(QUAD).blade_power)


def test_one_blade_behind_a_blocked_inlet(pair: Pair) -> None:
    pair.ill.inject("inlet-blocked", f"{QUAD}/blade2", fraction=0.6)
    pair.advance(900.0)
    well, ill = pair.reports(QUAD)
    before, after = pair.well.truth(QUAD), pair.ill.truth(QUAD)
    assert after.blade_flows[1] < 0.7 * before.blade_flows[1]
    for n in (0, 2, 3):
        assert after.blade_flows[n] > before.blade_flows[n]
    assert value(ill, "Blade2Cpu0") > value(well, "Blade2Cpu0") + 5.0
    for n in (1, 3, 4):
        assert value(ill, f"Blade{n}Cpu0") <= value(well, f"Blade{n}Cpu0") + 1.0


@SLED
def test_blade_power_lost(pair: Pair, sled: str) -> None:
    blade = f"{sled}/blade2"
    pair.advance(60.0)
    pair.ill.inject("blade-power-lost", blade)
    at_once = pair.ill.telemetry(sled)
    assert at_once.parts[blade].power_state == "Off"
    pair.advance(10.0)
    soon = pair.ill.telemetry(sled)
    assert soon.sensors["Blade2Power"].value == 0.0
    assert soon.sensors["Blade2Current"].value == 0.0
    volts = soon.sensors["Blade2Volt12"]
    assert (volts.value, volts.health) == (0.0, "Critical")
    assert value(soon, "Blade2Outlet") > value(soon, "SledInlet") + 3.0, "what is warm stays warm for a while"
    pair.advance(1800.0)
    well, ill = pair.reports(sled)
    assert value(ill, "Blade2Outlet") == pytest.approx(value(ill, "Blade2Inlet"), abs=1.2)
    gone = {id for id, point in ill.sensors.items() if point.value is None}
    assert gone == {
        id
        for id in ill.sensors
        if id.startswith("Blade2") and id.removeprefix("Blade2").startswith(("Cpu", "Dimm", "Drive", "Regulator"))
    }
    assert all(ill.sensors[id].state == "UnavailableOffline" for id in gone)
    assert bad_parts(ill) == {blade: "Critical", f"{blade}/host": "Critical"}
    assert ill.parts[blade].power_state == ill.parts[f"{blade}/host"].power_state == "Off"
    assert ill.parts[f"{blade}/host"].metrics["processor_percent"] is None
    for path, part in ill.parts.items():
        if path.startswith(f"{blade}/"):
            assert (part.state, part.firmware) == ("UnavailableOffline", None) or part.path.endswith("/host")
        else:
            assert part.state == "Enabled"
    assert "12 V" in ill.parts[blade].reasons[0]
    assert not lit(ill)
    # The feed gives less by what the blade drew, and the air is warmed less.
    lost = pair.well.truth(sled).blade_power[1]
    assert value(well, "FeedPower") - value(ill, "FeedPower") == pytest.approx(lost, rel=0.2)
    others_are_well(pair, sled)


def test_blade_comes_back_when_cleared(pair: Pair) -> None:
    pair.ill.inject("blade-power-lost", f"{QUAD}/blade1")
    pair.advance(400.0)
    pair.ill.clear("blade-power-lost", f"{QUAD}/blade1")
    pair.advance(900.0)
    well, ill = pair.reports(QUAD)
    assert not bad_parts(ill)
    assert value(ill, "Blade1Cpu0") == pytest.approx(value(well, "Blade1Cpu0"), abs=1.0)
    # The energy that it did not use stays unused.
    assert (ill.parts[f"{QUAD}/blade1"].metrics["energy_joules"] or 0) < (
        well.parts[f"{QUAD}/blade1"].metrics["energy_joules"] or 0
    )


def test_controller_hung(pair: Pair) -> None:
    pair.ill.inject("controller-hung", f"{QUAD}/controller")
    assert pair.ill.telemetry(QUAD).controller.mode is Mode.HUNG
    pair.advance(400.0)
    assert pair.ill.telemetry(QUAD).controller.mode is Mode.HUNG
    # Nobody controls the fans: they take their fail-safe speed, hosts run on.
    assert pair.ill.truth(QUAD).fan_speed == pytest.approx(0.8, abs=0.01)
    assert pair.ill.truth(QUAD).blade_power == pytest.approx(pair.well.truth(QUAD).blade_power, rel=0.05)
    pair.ill.clear("controller-hung", f"{QUAD}/controller")
    assert pair.ill.telemetry(QUAD).controller.mode is Mode.SERVING
    others_are_well(pair, QUAD)


def test_controller_rebooting_ends_by_itself() -> None:
    pair = Pair(DUO)
    active = pair.ill.inject("controller-rebooting", f"{DUO}/controller", seconds=120.0)
    assert active.until == START + 120.0
    told = pair.ill.telemetry(DUO).controller
    assert (told.mode, told.until) == (Mode.REBOOTING, START + 120.0)
    pair.advance(115.0)
    assert pair.ill.telemetry(DUO).controller.mode is Mode.REBOOTING
    assert pair.ill.truth(DUO).fan_speed > pair.well.truth(DUO).fan_speed
    pair.advance(5.0)
    assert pair.ill.telemetry(DUO).controller.mode is Mode.SERVING
    assert pair.ill.active() == ()
    assert not bad_parts(pair.ill.telemetry(DUO))


def test_sensor_stuck_where_it_is(pair: Pair) -> None:
    pair.advance(60.0)
    frozen = value(pair.ill.telemetry(QUAD), "Blade1Inlet")
    pair.ill.inject("sensor-stuck", f"{QUAD}/blade1")
    cpu = pair.ill.inject("sensor-stuck", f"{QUAD}/blade3/cpu0")
    assert cpu.until is None
    at = value(pair.ill.telemetry(QUAD), "Blade3Cpu0")
    told = set()
    for _ in range(30):
        pair.advance(60.0)
        report = pair.ill.telemetry(QUAD)
        assert value(report, "Blade1Inlet") == frozen
        assert value(report, "Blade3Cpu0") == at
        told.add(value(pair.well.telemetry(QUAD), "Blade3Cpu0"))
    assert len(told) > 4, "the same sensor moves where it is not stuck"
    assert not bad_parts(pair.ill.telemetry(QUAD)), "a stuck sensor is not noticed by its controller"


def test_fan_control_believes_a_stuck_sensor(pair: Pair) -> None:
    pair.ill.inject("sensor-stuck", f"{QUAD}/blade1/cpu0", value=90.0)
    pair.advance(400.0)
    well, ill = pair.reports(QUAD)
    assert value(ill, "Blade1Cpu0") == 90.0
    assert pair.ill.truth(QUAD).fan_speed > pair.well.truth(QUAD).fan_speed + 0.1
    for n in (2, 3, 4):
        assert value(ill, f"Blade{n}Cpu0") < value(well, f"Blade{n}Cpu0"), "more air than needed"
    pair.ill.inject("sensor-stuck", f"{QUAD}/blade1/cpu0", value=98.0)
    assert bad_parts(pair.ill.telemetry(QUAD)) == {f"{QUAD}/blade1/cpu0": "Critical"}


def test_a_stuck_tachometer_looks_like_a_seized_fan_but_for_the_air() -> None:
    pair = Pair(DUO)
    pair.ill.inject("sensor-stuck", f"{DUO}/fan2", value=0.0)
    pair.advance(400.0)
    assert bad_parts(pair.ill.telemetry(DUO)) == {f"{DUO}/fan2": "Critical"}
    before, after = pair.well.truth(DUO), pair.ill.truth(DUO)
    assert after.volume_flow / after.fan_speed == pytest.approx(before.volume_flow / before.fan_speed, rel=1e-9)


def test_one_sensor_of_a_part_can_be_chosen(pair: Pair) -> None:
    pair.ill.inject("sensor-stuck", QUAD, sensor="FeedPower", value=100.0)
    pair.advance(30.0)
    assert value(pair.ill.telemetry(QUAD), "FeedPower") == 100.0
    assert value(pair.ill.telemetry(QUAD), "SledInlet") == value(pair.well.telemetry(QUAD), "SledInlet")


def test_drive_failure_predicted() -> None:
    pair = Pair(DUO)
    drive = f"{DUO}/blade1/drive2"
    pair.ill.inject("drive-failure-predicted", drive)
    pair.advance(400.0)
    well, ill = pair.reports(DUO)
    part = ill.parts[drive]
    assert (part.failure_predicted, part.health, part.state) == (True, "Warning", "Enabled")
    assert bad_parts(ill) == {drive: "Warning"}
    assert ill.parts[f"{DUO}/blade1"].rollup == ill.parts[DUO].rollup == "Warning"
    assert ill.parts[f"{DUO}/blade2"].rollup == "OK"
    assert ill.sensors == well.sensors, "it still works"
    assert not lit(ill)


def test_faults_add_up_and_go_one_by_one(pair: Pair) -> None:
    pair.ill.inject("inlet-blocked", QUAD, fraction=0.5)
    pair.ill.inject("inlet-blocked", f"{QUAD}/blade1", fraction=0.5)
    pair.ill.inject("fan-seized", f"{QUAD}/fan4")
    assert [fault.fault for fault in pair.ill.active()] == ["inlet-blocked", "inlet-blocked", "fan-seized"]
    pair.advance(300.0)
    flows = pair.ill.truth(QUAD).blade_flows
    assert flows[0] < 0.7 * flows[2], "blade 1 is covered twice, blade 3 beside it once"
    pair.ill.clear("inlet-blocked", QUAD)
    pair.advance(300.0)
    assert value(pair.ill.telemetry(QUAD), "Fan4Tach") == 0.0
    assert pair.ill.truth(QUAD).blade_flows[2] > 1.3 * flows[2]
    for fault in pair.ill.active():
        pair.ill.clear(fault.fault, fault.part)
    assert pair.ill.active() == ()


def test_injecting_again_takes_the_new_arguments(pair: Pair) -> None:
    pair.ill.inject("inlet-blocked", QUAD, fraction=0.9)
    pair.ill.inject("inlet-blocked", QUAD, fraction=0.1)
    pair.advance(300.0)
    assert len(pair.ill.active()) == 1
    assert pair.ill.truth(QUAD).volume_flow == pytest.approx(pair.well.truth(QUAD).volume_flow, rel=0.1)


def test_locate_lamps(site: Site) -> None:
    world = World(site)
    for path in (QUAD, f"{QUAD}/blade2", f"{DUO}/blade1/drive3", f"{QUAD}/fan1", f"{QUAD}/psu2"):
        sled = path.partition("/")[0]
        assert world.telemetry(sled).parts[path].locate is False
        world.set_locate(path, True)
        assert lit(world.telemetry(sled)) == [path]
        world.set_locate(path, False)
        assert lit(world.telemetry(sled)) == []
    # Drives of the quad sit on the board: nothing to light.
    for path in (f"{QUAD}/blade1/drive0", f"{QUAD}/blade1/dimm0"):
        assert world.telemetry(QUAD).parts[path].locate is None
        with pytest.raises(ValueError, match="no locate lamp"):
            world.set_locate(path, True)
    with pytest.raises(KeyError, match="no part"):
        world.set_locate(f"{QUAD}/fan9", True)


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_fault_can_be_drawn_switched_on_and_mended(site: Site, world: World, name: str) -> None:
    """On one part of each kind that it names: it turns something, and nothing of it is left when it was mended."""
    fault = CATALOGUE[name]
    assert fault.text.endswith(".")
    assert fault.kinds
    targets = fault.targets(site)
    assert {part.kind for part in targets} == set(fault.kinds)
    for kind in fault.kinds:
        part = next(part for part in targets if part.kind is kind)
        drawn = fault.draw(random.Random(7))
        assert drawn == fault.draw(random.Random(7))
        assert all(low <= float(drawn[word]) <= high for word, (low, high) in fault.draws.items())
        well = turned(world)
        active = world.inject(name, part.path, **drawn)
        assert active.fru == fault.fru(part, active.arguments)
        assert active.fru.startswith("~") or site.part(active.fru)
        world.advance(600.0)
        for unit in site.reached(part.path):
            world.telemetry(unit.name)
        if name not in TRANSIENT:
            assert turned(world) != well, "no knob moved"
        if name not in TRANSIENT:
            assert [ended.fault for ended in world.repair(active.fru)] == [name]
        assert turned(world) == well
        assert world.active() == ()


TRANSIENT = {name for name, fault in CATALOGUE.items() if fault.lasts is not None}
"""Over by themselves by then."""


@pytest.fixture(scope="module")
def world(site: Site) -> World:
    return World(site, seed=9, step=30.0)


def turned(world: World) -> list[tuple[str, str]]:
    """Every knob of every sled and shelf that faults turn, as text."""
    told = []
    for group in (*world._groups, world._shelves):
        for word, knob in vars(group.knobs).items():
            if word not in ("host_on", "restarted"):
                told.append((word, str(knob.tolist() if isinstance(knob, np.ndarray) else knob)))
    return told


@pytest.mark.parametrize(
    ("text", "injection"),
    [
        ("fan-seized@r01-e1-s2/fan1", Injection("fan-seized", "r01-e1-s2/fan1", {}, 0.0)),
        ("fan-seized@r01-e1-s2/fan1+5", Injection("fan-seized", "r01-e1-s2/fan1", {}, 5.0)),
        ("inlet-blocked@r01-e1-s2:fraction=0.5", Injection("inlet-blocked", "r01-e1-s2", {"fraction": 0.5}, 0.0)),
        (
            "sensor-stuck@r01-e1-s2:sensor=FeedPower:value=7+0.5",
            Injection("sensor-stuck", "r01-e1-s2", {"sensor": "FeedPower", "value": 7.0}, 0.5),
        ),
    ],
)
def test_parsing(site: Site, text: str, injection: Injection) -> None:
    assert parse(text, site) == injection


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("fan-siezed@r01-e1-s2/fan1", tuple(CATALOGUE)),
        ("", tuple(CATALOGUE)),
        ("fan-seized", ("names no part", "fan-seized@r01-e1-s1/fan1")),
        ("fan-seized@", ("names no part",)),
        ("fan-seized@r09-e1-s2/fan1", ("no sled named 'r09-e1-s2'", "r01-e1-s1/fan1")),
        ("fan-seized@r01-e1-s2/fan7", ("has no part 'r01-e1-s2/fan7'",)),
        ("fan-seized@r01-e1-s2/blade1", ("cannot befall", "a blade", "fan")),
        ("fan-seized@r01-e1-s2/fan1+soon", ("'soon'", "seconds")),
        ("fan-seized@r01-e1-s2/fan1+-3", ("'-3'", "seconds")),
        ("fan-seized@r01-e1-s2/fan1+inf", ("seconds",)),
        ("fan-seized@r01-e1-s2/fan1:fraction=0.5", ("takes no argument 'fraction'", "none")),
        ("inlet-blocked@r01-e1-s2:fraction", ("no argument", "NAME=VALUE")),
        ("inlet-blocked@r01-e1-s2:fraction=1", ("fraction", "0.05", "0.95")),
        ("inlet-blocked@r01-e1-s2:fraction=much", ("fraction", "'much'")),
        ("inlet-blocked@r01-e1-s2:fraction=nan", ("fraction", "nan")),
    ],
)
def test_parsing_says_what_is_wrong_and_what_would_be_right(site: Site, text: str, said: Iterable[str]) -> None:
    with pytest.raises(FaultError) as caught:
        parse(text, site)
    for words in said:
        assert words in str(caught.value)


@pytest.mark.parametrize(
    ("path", "arguments", "said"),
    [
        (QUAD, {"sensor": "Blade1Cpu0"}, "has no sensor 'Blade1Cpu0'; it has: SledInlet"),
        (QUAD, {"value": "hot"}, "must be a number"),
        (QUAD, {"value": float("nan")}, "must be a number"),
        (QUAD, {"fraction": 0.5}, "takes no argument"),
    ],
)
def test_a_sensor_that_cannot_stick_is_refused(
    site: Site, path: str, arguments: dict[str, float | str], said: str
) -> None:
    with pytest.raises(FaultError, match=said):
        World(site).inject("sensor-stuck", path, **arguments)


def test_a_sensor_without_power_cannot_stick_at_what_it_tells(site: Site) -> None:
    world = World(site)
    world.inject("blade-power-lost", f"{QUAD}/blade1")
    with pytest.raises(FaultError, match="tells nothing"):
        world.inject("sensor-stuck", f"{QUAD}/blade1/cpu0")
    assert [fault.fault for fault in world.active()] == ["blade-power-lost"]


def test_the_catalogue_can_be_shown(site: Site) -> None:
    lines = list(describe())
    assert len(lines) == len(CATALOGUE)
    assert all(line.startswith(name) for line, name in zip(lines, CATALOGUE, strict=True))
    assert check("fan-seized", "r01-e1-s2/fan1", site).kind is PartKind.FAN
