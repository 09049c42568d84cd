"""Faults of boards, networks and controllers by what they show, and by what they leave as it was."""

from __future__ import annotations

import random
from itertools import pairwise
from typing import Any

import pytest

from simulators.digital import CORRECTABLE_A_DAY, Flap, Storm
from simulators.faults import CATALOGUE, FaultError
from simulators.faults.boards import older
from simulators.site import PartKind, Site, demo_site
from simulators.telemetry import Mode, SledTelemetry
from simulators.world import START, World
from tests.simulators.service_kit import Asker, asker

QUAD = "r02-e2-s1"
DUO = "r02-e1-s2"
DIGITAL = [
    "controller-hung",
    "controller-slow",
    "controller-rebooting",
    "clock-off",
    "network-adapter-dead",
    "switch-port-lost",
    "switch-lost",
    "management-switch-lost",
    "cable-half-seated",
    "memory-correctable",
    "memory-uncorrectable",
    "processor-failing",
    "drive-wearing",
    "drive-failure-predicted",
    "drive-dead",
    "wrong-board",
    "wrong-firmware",
    "lamp-stuck",
    "lamp-lying",
]


@pytest.fixture
def world() -> World:
    return World(demo_site(), step=5.0)


@pytest.fixture(scope="module")
def site() -> Site:
    return demo_site()


def unwell(report: SledTelemetry) -> dict[str, str]:
    return {path: point.health for path, point in report.parts.items() if point.health != "OK"}


def strange(report: SledTelemetry) -> dict[str, str]:
    return {path: point.state for path, point in report.parts.items() if point.state != "Enabled"}


def without_link(report: SledTelemetry) -> list[str]:
    return [path for path, port in report.ports.items() if not port.up]


@pytest.mark.parametrize("name", DIGITAL)
def test_a_drill_can_draw_it_switch_it_on_and_mend_it(name: str, site: Site) -> None:
    fault, chance = CATALOGUE[name], random.Random(7)
    targets = fault.targets(site)
    assert targets
    part = targets[int(chance.random() * len(targets))]
    world = World(site, step=30.0)
    before = {unit.name: (unwell(r := world.telemetry(unit.name)), r.ports, r.controller) for unit in site.equipment}
    active = world.inject(name, part.path, **fault.draw(chance))
    assert active.fru == part.path
    world.advance(60.0)
    assert world.clear(name, part.path)
    for unit in site.equipment:
        now = world.telemetry(unit.name)
        history = now.controller.restarted
        assert (unwell(now), now.ports) == before[unit.name][:2]
        assert now.controller.mode is Mode.SERVING
        assert (history is not None) == (name == "controller-rebooting" and unit.name == part.path.partition("/")[0])


def test_every_port_sees_the_port_that_its_cable_leads_to(site: Site) -> None:
    network = site.network
    seen: dict[tuple[str, str], str] = {}
    for unit in site.equipment:
        for end, neighbour in network.neighbours(unit.name).items():
            assert (neighbour.chassis, neighbour.port) not in seen, "a switch's port takes one plug"
            seen[neighbour.chassis, neighbour.port] = end
            number = neighbour.port.removeprefix("1/")
            assert network.parts[f"~{neighbour.system}/port{number}"].ends == (end,)
            assert network.cable(end).path == f"~{end}|{neighbour.system}/port{number}"
    adapters = sum(sled.design.adapter.ports for sled in site.sleds)
    assert len(seen) == adapters + len(site.equipment)
    switches = [part for part in network.parts.values() if part.kind is PartKind.SWITCH]
    assert len(switches) == 2 * len(site.racks)


def test_a_dead_data_switch_takes_every_link_of_its_rack_and_nothing_else(world: World) -> None:
    world.inject("switch-lost", "~r02-data")
    for unit in world.site.equipment:
        report = world.telemetry(unit.name)
        mine = [path for path in report.ports if "/adapter/" in path]
        assert without_link(report) == (mine if unit.name.startswith("r02") else [])
        assert not unwell(report)
        assert all(port.neighbour is None for port in report.ports.values() if not port.up)


def test_a_dead_port_takes_one_link(world: World) -> None:
    port = world.site.network.parts["~r02-data/port3"]
    world.inject("switch-port-lost", port.path)
    down = [path for sled in world.site.sleds for path in without_link(world.telemetry(sled.name))]
    assert down == list(port.ends)


def test_a_dead_adapter_tells_nothing_and_has_no_link(world: World) -> None:
    adapter = f"{QUAD}/adapter"
    world.inject("network-adapter-dead", adapter)
    report = world.telemetry(QUAD)
    point = report.parts[adapter]
    assert (point.state, point.health, point.firmware) == ("UnavailableOffline", "Critical", None)
    assert without_link(report) == [f"{adapter}/port1", f"{adapter}/port2"]
    assert report.sensors["Adapter"].value is None
    assert unwell(report) == {adapter: "Critical"}


def test_a_dead_management_switch_cuts_off_its_rack(world: World) -> None:
    world.inject("management-switch-lost", "~r02-mgmt")
    cut = {unit.name for unit in world.site.equipment if world.telemetry(unit.name).controller.cut_off}
    assert cut == {unit.name for unit in world.site.equipment if unit.name.startswith("r02")}


def test_network_faults_go_where_they_belong(world: World) -> None:
    for name, path in (("switch-lost", "~r02-mgmt"), ("management-switch-lost", "~r02-data"), ("switch-lost", "~r09")):
        with pytest.raises(FaultError):
            world.inject(name, path)
    with pytest.raises(FaultError):
        world.inject("cable-half-seated", world.site.network.cable(f"{QUAD}/controller").path)


@pytest.mark.parametrize("end", [f"{QUAD}/adapter/port2", f"{DUO}/blade1/drive2", f"{QUAD}/blade3"])
def test_a_half_seated_plug_comes_and_goes(world: World, end: str) -> None:
    unit = end.partition("/")[0]
    world.inject("cable-half-seated", world.site.network.cable(end).path, period=30.0, duty=0.5)
    course = []
    for _ in range(80):
        report = world.telemetry(unit)
        if end in report.ports:
            course.append(report.ports[end].up)
            assert without_link(report) in ([], [end])
        else:
            course.append(report.parts[end].state == "Enabled")
            assert set(strange(report).values()) <= {"Absent"}
            assert all(path == end or path.startswith(f"{end}/") for path in strange(report))
        assert not unwell(report)
        world.advance(15.0)
    assert not course[0], "it begins with a loss"
    changes = sum(one != two for one, two in pairwise(course))
    assert 8 <= changes <= 40
    assert 0.25 < sum(course) / len(course) < 0.75


def test_a_flap_is_the_same_whenever_it_is_asked_for() -> None:
    flap = Flap("x", 100.0, 20.0, 0.4)
    there = [flap.lost(100.0 + i) for i in range(2000)]
    assert there == [flap.lost(100.0 + i) for i in range(2000)]
    assert sum(there) / len(there) == pytest.approx(0.4, abs=0.15)


def test_corrected_errors_only_ever_grow_and_come_to_the_rate_told() -> None:
    storm = Storm(0.0, 600.0, 1800.0)
    counts = [storm.corrected(10.0 * i) for i in range(5000)]
    assert counts == sorted(counts)
    assert counts[0] == 0
    assert counts[4000] - counts[1000] == pytest.approx(600.0 * 30_000.0 / 3600.0, rel=0.03)


def test_a_storm_of_corrected_errors_is_counted_and_then_warned_of(world: World) -> None:
    path = f"{QUAD}/blade2/dimm5"
    world.inject("memory-correctable", path, per_hour=1200.0, over=600.0)
    begin = world.telemetry(QUAD).parts[path].metrics["corrected"] or 0.0
    seen = []
    for _ in range(60):
        world.advance(60.0)
        point = world.telemetry(QUAD).parts[path]
        more = (point.metrics["corrected"] or 0.0) - begin
        seen.append(more)
        assert point.health == ("Warning" if more > CORRECTABLE_A_DAY else "OK")
        assert point.metrics["uncorrected"] == 0.0
    assert seen == sorted(seen)
    assert seen[0] < CORRECTABLE_A_DAY < seen[-1]
    assert unwell(world.telemetry(QUAD)) == {path: "Warning"}


def test_healthy_modules_correct_an_error_now_and_then(site: Site) -> None:
    def corrected(world: World) -> list[float]:
        parts = [point for sled in site.sleds for point in world.telemetry(sled.name).parts.values()]
        return [point.metrics["corrected"] or 0.0 for point in parts if "corrected" in point.metrics]

    before, after = corrected(World(site)), corrected(World(site, start=START + 10 * 86_400.0))
    more = [late - early for early, late in zip(before, after, strict=True)]
    assert 0.05 < sum(count > 0 for count in before) / len(before) < 0.2
    assert min(more) == 0.0
    assert max(more) < 10 * CORRECTABLE_A_DAY / 24.0, "far from what is warned of"
    assert sum(more) > 0.0


@pytest.mark.parametrize("halt", [0.0, 1.0])
def test_an_error_that_cannot_be_corrected_may_stop_the_host(world: World, halt: float) -> None:
    blade = f"{QUAD}/blade2"
    world.advance(60.0)
    before = world.truth(QUAD).blade_power[1]
    world.inject("memory-uncorrectable", f"{blade}/dimm0", halt=halt)
    world.advance(60.0)
    report = world.telemetry(QUAD)
    assert report.parts[f"{blade}/dimm0"].metrics["uncorrected"] == 1.0
    stopped = {f"{blade}/host": "Critical"} if halt else {}
    assert unwell(report) == {f"{blade}/dimm0": "Critical", **stopped}
    assert (world.truth(QUAD).blade_power[1] < 0.7 * before) == bool(halt)


def test_a_failing_processor_warns_and_then_stops_its_host(world: World) -> None:
    blade = f"{DUO}/blade1"
    world.inject("processor-failing", f"{blade}/cpu1", over=300.0)
    world.advance(60.0)
    assert unwell(world.telemetry(DUO)) == {f"{blade}/cpu1": "Warning"}
    world.advance(300.0)
    assert unwell(world.telemetry(DUO)) == {f"{blade}/cpu1": "Critical", f"{blade}/host": "Critical"}


def test_a_wearing_drive_loses_life_and_is_warned_of_late(world: World) -> None:
    path = f"{DUO}/blade2/drive1"
    world.inject("drive-wearing", path, left=12.0, per_day=48.0)
    course = []
    for _ in range(6):
        point = world.telemetry(DUO).parts[path]
        course.append((point.metrics["life_percent"], point.health))
        world.advance(1200.0)
    assert [left for left, _ in course] == [12, 12, 11, 10, 10, 9]
    assert [health for _, health in course] == ["OK"] * 4 + ["Warning"] * 2


def test_a_dead_drive_is_told_as_failed_or_as_gone(world: World) -> None:
    path = f"{DUO}/blade2/drive1"
    world.inject("drive-dead", path)
    report = world.telemetry(DUO)
    assert (report.parts[path].state, report.parts[path].health) == ("UnavailableOffline", "Critical")
    assert report.sensors["Blade2Drive1"].value is None
    world.inject("drive-dead", path, gone=1.0)
    report = world.telemetry(DUO)
    assert (report.parts[path].state, report.parts[path].health) == ("Absent", "OK")


@pytest.mark.parametrize(
    ("version", "before"),
    [("3.8.14", "3.8.13"), ("2.4.0", "2.3.0"), ("u41.6", "u41.5"), ("D2.07", "D2.06"), ("1.0.0", "0.0.0")],
)
def test_the_version_before(version: str, before: str) -> None:
    assert older(version) == before


def test_nobody_warns_of_another_board_or_of_old_firmware(world: World) -> None:
    world.inject("wrong-board", f"{QUAD}/blade1")
    world.inject("wrong-firmware", f"{QUAD}/adapter")
    report = world.telemetry(QUAD)
    assert not unwell(report)
    design = world.site.sled(QUAD).design
    blade = report.parts[f"{QUAD}/blade1"]
    assert blade.board is not None
    assert (blade.board.make, blade.board.part_number != design.blade.part_number) == (design.blade.make, True)
    assert report.parts[f"{QUAD}/blade1/host"].board == blade.board
    assert blade.replacement == report.parts[f"{QUAD}/blade1/host"].replacement
    assert report.parts[f"{QUAD}/adapter"].firmware == older(design.adapter.firmware or "")


@pytest.mark.parametrize("lit", [0.0, 1.0])
@pytest.mark.parametrize("asked", [False, True])
def test_lamps_that_do_not_do_as_they_are_told(world: World, lit: float, asked: bool) -> None:
    blade = f"{QUAD}/blade1"
    world.set_locate(blade, asked)
    told = world.telemetry(QUAD).parts[blade].locate
    assert (told, world.lamps_seen(blade).located) == (asked, asked)
    world.inject("lamp-stuck", blade, lit=lit)
    assert (world.telemetry(QUAD).parts[blade].locate, world.lamps_seen(blade).located) == (bool(lit), bool(lit))
    world.clear("lamp-stuck", blade)
    world.inject("lamp-lying", blade, lit=lit)
    assert (world.telemetry(QUAD).parts[blade].locate, world.lamps_seen(blade).located) == (asked, bool(lit))


def test_what_a_person_sees_follows_the_panel_specification(world: World) -> None:
    """OCP Panel Indicator Specification 1.0, tables 6.1 and 6.2."""
    assert world.lamps_seen(f"{QUAD}/blade1") == ("on", "off")
    assert world.lamps_seen(f"{QUAD}/fan1") == ("on", "off")
    world.inject("fan-seized", f"{QUAD}/fan1")
    world.advance(60.0)
    assert world.lamps_seen(f"{QUAD}/fan1") == ("off", "on")
    with pytest.raises(ValueError, match="no lamps"):
        world.lamps_seen(f"{QUAD}/controller")


def modern() -> Asker:
    return asker("quad", "modern", own_world=True)


def test_the_newer_model_tells_ports_errors_life_and_restarts() -> None:
    one = modern()
    sled = one.sled.name
    ports = "/redfish/v1/Chassis/Sled/NetworkAdapters/Net/Ports"
    told = one.get(f"{ports}/1")
    seen = one.world.site.network.neighbours(sled)[f"{sled}/adapter/port1"]
    assert (told["LinkStatus"], told["CurrentSpeedGbps"]) == ("LinkUp", 100)
    heard = told["Ethernet"]["LLDPReceive"]
    port = bytes.fromhex(heard["PortId"].replace(":", "")).decode()
    switch = seen.system
    assert (heard["ChassisId"], port, heard["SystemName"]) == (seen.chassis, seen.port, switch)
    one.world.inject("switch-lost", f"~{switch}")
    told = one.get(f"{ports}/1")
    assert (told["LinkStatus"], "Ethernet" in told) == ("LinkDown", False)
    one.world.inject("memory-uncorrectable", f"{sled}/blade1/dimm3", per_hour=3600.0)
    one.world.advance(600.0)
    metrics = one.get("/redfish/v1/Systems/Blade1/Memory/Dimm3/MemoryMetrics")
    assert metrics["CurrentPeriod"]["CorrectableECCErrorCount"] > 300
    assert metrics["CurrentPeriod"]["UncorrectableECCErrorCount"] == 1
    assert metrics["HealthData"]["AlarmTrips"] == {"CorrectableECCError": True, "UncorrectableECCError": True}
    assert 0 < one.get("/redfish/v1/Chassis/Blade1/Drives/Drive0")["PredictedMediaLifeLeftPercent"] < 100


def test_the_older_model_tells_what_it_has_words_for() -> None:
    one = asker("duo", "classic", own_world=True)
    sled = one.sled.name
    port = "/redfish/v1/Chassis/Sled/NetworkAdapters/Net/NetworkPorts/2"
    assert one.get(port)["LinkStatus"] == "Up"
    one.world.inject("network-adapter-dead", f"{sled}/adapter")
    assert one.get(port)["LinkStatus"] == "Down"
    one.world.inject("wrong-board", f"{sled}/blade1/dimm0")
    assert one.get("/redfish/v1/Systems/Blade1/Memory/Dimm0")["PartNumber"] == "SV-4R16-32"


def test_a_clock_that_is_off_and_a_restart_are_told_by_the_controller() -> None:
    one = modern()
    manager = "/redfish/v1/Managers/Controller"

    def told() -> tuple[Any, Any]:
        body = one.get(manager)
        return body["DateTime"], body.get("LastResetTime")

    one.service.observe(one.now)
    right, began = told()
    one.world.inject("clock-off", f"{one.sled.name}/controller", offset=-3600.0)
    wrong, shifted = told()
    assert (right, wrong) == ("2027-01-15T08:00:00.000Z", "2027-01-15T07:00:00.000Z")
    assert began != shifted
    one.world.clear("clock-off", f"{one.sled.name}/controller")
    one.world.inject("controller-rebooting", f"{one.sled.name}/controller", seconds=60.0)
    one.world.advance(90.0)
    one.now += 90.0
    one.service.observe(one.now)
    assert told()[1] == "2027-01-15T08:01:00.000Z"
